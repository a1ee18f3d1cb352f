"""The sound rows of a delimited text to columns, in bulk: numbers at once, and as text only what is none."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from parsers.dialect import Layout
from parsers.numbers import EXACT_FLOAT, floats_of
from parsers.records import Records
from parsers.table import ArrayColumn, Column, TextColumn
from telemetry.log import BoolArray, FloatArray

if TYPE_CHECKING:
    import polars as pl

__all__ = ["BulkError", "read_columns"]

Rows = NDArray[np.intp]

_CHUNK_BYTES = 1 << 25
_SAMPLE_ROWS = 256
# Our choice: a column with more cells than this that are no numbers is judged by its text (`parsers.cells`).
_MOST_ODD = 0.05


class BulkError(Exception):
    """The bulk parser found other rows than were counted."""


@dataclass(frozen=True, eq=False)
class _Part:
    """One column of one chunk: numbers with null where a cell is none, and the cells that are odd."""

    numbers: pl.Series | None
    odd: Rows
    texts: tuple[str, ...]
    strings: pl.Series | None = None


def read_columns(records: Records, kept: Rows, layout: Layout) -> tuple[Column, ...]:
    """The columns of the kept records, which must all have the layout's width.

    Raises BulkError where the parser disagrees about their number or width.
    """
    return _Bulk(records, kept, layout).columns()


@dataclass(eq=False)
class _Filling:
    """One column of so many `rows` as its chunks come in.

    Numbers go straight to their places in `values`: joined at the end, all columns would stand there twice.
    """

    rows: int
    values: NDArray[Any] | None = None
    present: BoolArray | None = None
    odd: list[Rows] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    strings: list[pl.Series] = field(default_factory=list)

    def add(self, part: _Part, first: int) -> None:
        """Takes the chunk that begins at row `first`."""
        if part.strings is not None:
            self.strings.append(part.strings)
        if part.numbers is not None:
            self._place(part.numbers, first)
        self.odd.append(part.odd + first)
        self.texts += part.texts

    def _place(self, numbers: pl.Series, first: int) -> None:
        dtype = np.int64 if numbers.dtype.is_integer() else np.float64
        if self.values is None:
            self.values = np.empty(self.rows, dtype=dtype)
        elif dtype == np.float64:
            self.values = self.values.astype(np.float64, copy=False)
        if numbers.null_count():
            if self.present is None:
                self.present = np.ones(self.rows, dtype=bool)
            self.present[first : first + len(numbers)] = numbers.is_not_null().to_numpy()
            numbers = numbers.fill_null(0 if dtype == np.int64 else float("nan"))
        for chunk in numbers.get_chunks():
            self.values[first : first + len(chunk)] = chunk.to_numpy()
            first += len(chunk)


class _Bulk:
    def __init__(self, records: Records, kept: Rows, layout: Layout) -> None:
        self._records, self._layout = records, layout
        self._chunks = list(_chunks(records, kept))
        self._whole: pl.DataFrame | None = None
        self._schema = self._sniffed(kept)

    def columns(self) -> tuple[Column, ...]:
        rows = sum(len(chunk) for chunk in self._chunks)
        fillings = [_Filling(rows) for _ in self._layout.names]
        first = 0
        for chunk in self._chunks:
            for filling, part in zip(fillings, self._read(chunk), strict=False):
                filling.add(part, first)
            first += len(chunk)
        return tuple(self._column(index, filling) for index, filling in enumerate(fillings))

    def _sniffed(self, kept: Rows) -> list[Any]:
        """The type of each column by some rows from everywhere; text where a wrong type could be read."""
        import polars as pl

        step = max(len(kept) // _SAMPLE_ROWS, 1)
        sample = self._records.joined(kept[::step])
        numeric = (pl.Int64, pl.Float64)
        try:
            frame = self._parsed(sample, infer_schema_length=None)
            dtypes = frame.dtypes
            if step == 1 and self._layout.decimal == "." and {*dtypes} <= {*numeric, pl.String}:
                self._whole = frame
        except pl.exceptions.ComputeError:
            dtypes = [_numeric_type(column) for column in self._parsed(sample, infer_schema=False)]
        return [dtype if dtype in numeric else pl.String for dtype in dtypes]

    def _read(self, chunk: Rows) -> list[_Part]:
        import polars as pl

        if self._whole is not None and len(self._chunks) == 1:
            return self._typed_parts(self._whole, chunk)
        text = self._records.joined(chunk)
        if self._layout.decimal == "." or (self._layout.delimiter != "," and b"." not in text):
            names = [f"column_{i}" for i in range(1, len(self._schema) + 1)]
            try:
                frame = self._parsed(text, schema=dict(zip(names, self._schema, strict=True)))
            except pl.exceptions.ComputeError:
                pass
            else:
                return self._typed_parts(frame, chunk)
        frame = self._parsed(text, infer_schema=False)
        self._check(frame, chunk)
        return [self._sorted(column, dtype) for column, dtype in zip(frame, self._schema, strict=True)]

    def _typed_parts(self, frame: pl.DataFrame, chunk: Rows) -> list[_Part]:
        """Columns that were read as numbers or text at once."""
        import polars as pl

        self._check(frame, chunk)
        nothing = np.zeros(0, dtype=np.intp)
        return [
            _Part(None, nothing, (), column) if column.dtype == pl.String else _Part(column, nothing, ())
            for column in frame.get_columns()
        ]

    def _sorted(self, strings: pl.Series, dtype: Any) -> _Part:
        """Numbers and odd cells apart."""
        import polars as pl

        nothing = np.zeros(0, dtype=np.intp)
        if dtype == pl.String:
            return _Part(None, nothing, (), strings)
        numbers = strings.cast(pl.Int64, strict=False) if dtype == pl.Int64 else None
        if numbers is None or numbers.null_count() > strings.null_count():
            numbers = self._floats(strings, numbers)
        odd = numbers.is_null() & strings.is_not_null() & (strings != "")
        rows = odd.arg_true()
        return _Part(numbers, rows.to_numpy().astype(np.intp), tuple(strings.gather(rows).to_list()))

    def _floats(self, strings: pl.Series, whole: pl.Series | None) -> pl.Series:
        """Float64; or the whole numbers, where no cell is another number."""
        floats = floats_of(strings, self._layout.decimal)
        if whole is not None and floats.null_count() == whole.null_count():
            return whole
        return floats

    def _parsed(self, text: bytes, **schema: Any) -> pl.DataFrame:
        import polars as pl

        return pl.read_csv(
            text,
            has_header=False,
            separator=self._layout.delimiter,
            quote_char='"' if self._records.quoted else None,
            decimal_comma=self._layout.decimal == "," and self._layout.delimiter != ",",
            **schema,
        )

    def _check(self, frame: pl.DataFrame, chunk: Rows) -> None:
        if (frame.height, frame.width) != (len(chunk), self._layout.width):
            raise BulkError(f"{frame.height:,} of {frame.width}")

    def _column(self, index: int, filling: _Filling) -> Column:
        import polars as pl

        if filling.values is None:
            return TextColumn(pl.concat(filling.strings), self._layout.decimal)
        odd = np.concatenate(filling.odd)
        wordy = bool(filling.strings) or (len(odd) > 0 and _is_told_by_spelling(filling, len(odd)))
        if wordy or (filling.values.dtype == np.float64 and _beyond_float(filling.values)):
            return TextColumn(self._strings(index), self._layout.decimal)
        return ArrayColumn(
            filling.values,
            filling.present,
            False,
            odd,
            tuple(filling.texts),
            self._layout.decimal,
            lambda: self._strings(index),
        )

    def _strings(self, index: int) -> pl.Series:
        """One column again, as it is spelled."""
        import polars as pl

        frames = [
            self._parsed(self._records.joined(chunk), infer_schema=False, columns=[index])
            for chunk in self._chunks
        ]
        return pl.concat([frame.to_series(0) for frame in frames])


def _is_told_by_spelling(filling: _Filling, odd: int) -> bool:
    """Whether a column is many words, or holds zeros and ones only: then its text tells what it is."""
    assert filling.values is not None  # noqa: S101 - only columns with numbers are asked
    there = np.isfinite(filling.values)
    if filling.present is not None:
        there &= filling.present
    numbers = filling.values[there]
    return odd > _MOST_ODD * (len(numbers) + odd) or bool(np.all((numbers == 0) | (numbers == 1)))


def _numeric_type(strings: pl.Series) -> Any:
    """The first type that reads every cell."""
    import polars as pl

    types = (pl.Int64, pl.Float64)
    fits = (t for t in types if strings.cast(t, strict=False).null_count() == strings.null_count())
    return next(fits, pl.String)


def _beyond_float(values: FloatArray) -> bool:
    """Whether some finite value is too large for float64 to hold every digit of a whole number."""
    if max(-np.fmin.reduce(values), np.fmax.reduce(values)) <= EXACT_FLOAT:
        return False
    return bool((np.abs(values[np.isfinite(values)]) > EXACT_FLOAT).any())


def _chunks(records: Records, kept: Rows) -> Iterator[Rows]:
    """Runs of kept records of some megabytes each."""
    start = records.start[kept]
    at = 0
    while at < len(kept):
        past = int(np.searchsorted(start, start[at] + _CHUNK_BYTES))
        yield kept[at : max(past, at + 1)]
        at = max(past, at + 1)

"""A file as a table, before it is known what its columns mean."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from parsers.cells import Typed, type_booleans, type_numbers, type_odd_numbers, type_text
from parsers.records import IntArray
from telemetry.dataclass import dataclass
from telemetry.log import BoolArray

if TYPE_CHECKING:
    import polars as pl

__all__ = ["ArrayColumn", "Column", "Table", "TextColumn"]


@dataclass(frozen=True, eq=False)
class TextColumn:
    """Cells as text, null or empty where there are none."""

    strings: pl.Series
    decimal: str = "."

    def __len__(self) -> int:
        return len(self.strings)

    def take(self, rows: NDArray[np.integer]) -> TextColumn:
        """The cells of these rows, in this order."""
        return TextColumn(self.strings.gather(rows.astype(np.uint32)), self.decimal)

    def part(self, rows: slice) -> TextColumn:
        """The cells of a run of rows."""
        return TextColumn(self.strings.slice(rows.start, rows.stop - rows.start), self.decimal)

    def typed(self, *, has_unit: bool) -> Typed:
        """The cells as values."""
        return type_text(self.strings, decimal=self.decimal, has_unit=has_unit)

    def spelled(self) -> Column:
        """The column itself."""
        return self

    def shown(self, rows: NDArray[np.integer]) -> list[str]:
        """The cells of these rows, blanks around them taken off."""
        return self.take(rows).strings.fill_null("").str.strip_chars().to_list()


def _nothing_odd() -> NDArray[np.intp]:
    return np.zeros(0, dtype=np.intp)


@dataclass(frozen=True, eq=False)
class ArrayColumn:
    """Cells that are numbers or booleans, and which are present (None: all).

    Attributes:
        timestamps: the numbers are nanoseconds of Unix time.
        odd: shape (k,), rising: rows not present whose cell holds something else, which `texts` spells.
        decimal: of the texts.
        strings: all cells of the column as they are spelled, read again, where that may be needed.
    """

    values: NDArray[Any]
    present: BoolArray | None = None
    timestamps: bool = False
    odd: NDArray[np.intp] = field(default_factory=_nothing_odd)
    texts: tuple[str, ...] = ()
    decimal: str = "."
    strings: Callable[[], pl.Series] | None = None

    def __len__(self) -> int:
        return len(self.values)

    def take(self, rows: NDArray[np.integer]) -> ArrayColumn:
        """The cells of these rows, in this order."""
        present = None if self.present is None else self.present[rows]
        odd, texts = self._odd_among(rows)
        return ArrayColumn(self.values[rows], present, self.timestamps, odd, texts, self.decimal)

    def part(self, rows: slice) -> ArrayColumn:
        """The cells of a run of rows."""
        present = None if self.present is None else self.present[rows]
        first, past = np.searchsorted(self.odd, (rows.start, rows.stop)).tolist()
        odd, texts = self.odd[first:past] - rows.start, self.texts[first:past]
        return ArrayColumn(self.values[rows], present, self.timestamps, odd, texts, self.decimal)

    def _odd_among(self, rows: NDArray[np.integer]) -> tuple[NDArray[np.intp], tuple[str, ...]]:
        if not len(self.odd):
            return self.odd, ()
        place = np.minimum(np.searchsorted(self.odd, rows), len(self.odd) - 1)
        odd = np.flatnonzero(self.odd[place] == rows)
        return odd, tuple(self.texts[index] for index in place[odd].tolist())

    def all_present(self) -> BoolArray:
        """Shape (n,), True where there is a cell."""
        return np.ones(len(self), dtype=bool) if self.present is None else self.present

    def typed(self, *, has_unit: bool) -> Typed:
        """The cells as values."""
        if self.values.dtype == bool:
            return type_booleans(self.values, self.present)
        numbers = type_numbers(self.values, self.present, has_unit=has_unit)
        if not len(self.odd):
            return numbers
        return type_odd_numbers(numbers, self.odd, self.texts, decimal=self.decimal, has_unit=has_unit)

    def spelled(self) -> Column:
        """The same column as text, where its cells are at hand and not all are plain numbers."""
        if self.strings is None or not len(self.odd):
            return self
        return TextColumn(self.strings(), self.decimal)

    def shown(self, rows: NDArray[np.integer]) -> list[str]:
        """The cells of these rows as text; numbers as they are written most shortly."""
        own = self.take(rows)
        cells = [
            f"{value}" if there else ""
            for value, there in zip(own.values.tolist(), own.all_present().tolist(), strict=True)
        ]
        for row, text in zip(own.odd.tolist(), own.texts, strict=True):
            cells[row] = text.strip()
        return cells


Column = TextColumn | ArrayColumn


@dataclass(frozen=True, eq=False)
class Table:
    """Columns of equal length.

    Attributes:
        names: of the columns, in the file's order, not yet unique.
        units: unit by column where the file says it apart from the name, else None.
        lines: shape (n,), the line of each row, or None where the file has no lines.
        cells_in_file: cells of all rows, of those too that already went into repairs.
        header: the header's cells as they would stand in a repeated one, or None.
        header_line: number of the header's line, or None.
        repeated: lines further down that say the header again.
        why, runner_up: the evidence for the dialect, and for the next best, in words; empty without one.
    """

    names: tuple[str, ...]
    columns: tuple[Column, ...]
    units: tuple[str | None, ...]
    lines: IntArray | None
    cells_in_file: int
    encoding: str
    delimiter: str
    decimal: str
    header: tuple[str, ...] | None = None
    header_line: int | None = None
    repeated: tuple[int, ...] = ()
    why: str = ""
    runner_up: str = ""

    @property
    def rows(self) -> int:
        """Rows in the table."""
        return len(self.columns[0])

    def take(self, rows: NDArray[np.integer]) -> Table:
        """The same table with these rows, in this order."""
        return replace(
            self,
            columns=tuple(column.take(rows) for column in self.columns),
            lines=None if self.lines is None else self.lines[rows],
        )

    def row_texts(self, rows: NDArray[np.integer]) -> list[tuple[str, ...]]:
        """The cells of these rows as text, blanks around them taken off."""
        return list(zip(*(column.shown(rows) for column in self.columns), strict=True))

    def rows_below_headers(self) -> NDArray[np.intp]:
        """The rows before which the file says its header again, in the file's order."""
        if self.lines is None:
            return np.zeros(0, dtype=np.intp)
        below = np.unique(np.searchsorted(self.lines, self.repeated))
        return below[(below > 0) & (below < self.rows)]

    def first_line(self, rows: NDArray[np.integer]) -> int | None:
        """The first line among these rows."""
        return None if self.lines is None or not len(rows) else int(self.lines[rows].min())

"""A file as a table, before it is known what its columns mean."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from parsers.cells import Typed, floats_of, type_booleans, type_numbers, type_text
from parsers.records import IntArray
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
        floats = floats_of(self.strings, self.decimal)
        return type_text(self.strings, floats, decimal=self.decimal, has_unit=has_unit)


@dataclass(frozen=True, eq=False)
class ArrayColumn:
    """Cells of a typed file: numbers or booleans, and which are present (None: all).

    `timestamps` says that the numbers are nanoseconds of Unix time.
    """

    values: NDArray[Any]
    present: BoolArray | None = None
    timestamps: bool = False

    def __len__(self) -> int:
        return len(self.values)

    def take(self, rows: NDArray[np.integer]) -> ArrayColumn:
        """The cells of these rows, in this order."""
        present = None if self.present is None else self.present[rows]
        return ArrayColumn(self.values[rows], present, self.timestamps)

    def part(self, rows: slice) -> ArrayColumn:
        """The cells of a run of rows."""
        present = None if self.present is None else self.present[rows]
        return ArrayColumn(self.values[rows], present, self.timestamps)

    def all_present(self) -> BoolArray:
        """Shape (n,), True where there is a cell."""
        return np.ones(len(self), dtype=bool) if self.present is None else self.present

    def typed(self, *, has_unit: bool) -> Typed:
        """The cells as values."""
        if self.values.dtype == bool:
            return type_booleans(self.values, self.present)
        return type_numbers(self.values, self.present, has_unit=has_unit)


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
        clock: the time column as far as the reader knows it.
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
    clock: int | None = None

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
        """The cells of these rows as text, blanks around them taken off; empty for typed columns."""
        columns = [
            column.take(rows).strings.fill_null("").str.strip_chars().to_list()
            if isinstance(column, TextColumn)
            else [""] * len(rows)
            for column in self.columns
        ]
        return list(zip(*columns, strict=True))

    def first_line(self, rows: NDArray[np.integer]) -> int | None:
        """The first line among these rows."""
        return None if self.lines is None or not len(rows) else int(self.lines[rows].min())

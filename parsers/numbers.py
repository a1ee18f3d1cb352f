"""Spellings of numbers and of nothing: what a cell of text says."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from telemetry.log import BoolArray, FloatArray

if TYPE_CHECKING:
    import polars as pl

__all__ = ["EXACT_FLOAT", "MISSING", "NO_NUMBER", "floats_of", "is_number", "is_one_group", "numbers_in"]

MISSING = frozenset({"", "nan", "null", "na", "-"})
# Said by spreadsheets and languages where a number is missing; in a column of words they may be words.
NO_NUMBER = MISSING | {
    "n/a", "#n/a", "none", "nil", "-nan", "nan(ind)", "-nan(ind)", "+nan", "#value!", "#div/0!", "--", "?",
}  # fmt: skip
# Whole numbers beyond this are not all to be had in float64.
EXACT_FLOAT = 2**53
_GROUPED_PATTERN = re.compile(r"^[+-]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d*)?$")
_LEAST_GROUPED = 1000.0
_SWAPPED = str.maketrans(",.", ".,")


def is_number(cell: str, decimal: str) -> bool:
    """Whether one cell is a number, perhaps with digits in groups; for the choice of dialect.

    One group alone (`1,234`) does not count: in other lands that is a number with three decimals.
    """
    if decimal == ",":
        cell = cell.translate(_SWAPPED)
    try:
        float(cell)
    except ValueError:
        return cell.count(",") + cell.count(".") > 1 and bool(_GROUPED_PATTERN.match(cell))
    return "_" not in cell


def is_one_group(cell: str, decimal: str) -> bool:
    """Whether a cell is one group of thousands, or a number with three decimals behind the other sign."""
    if decimal == ",":
        cell = cell.translate(_SWAPPED)
    return cell.count(",") == 1 and "." not in cell and bool(_GROUPED_PATTERN.match(cell))


def floats_of(strings: pl.Series, decimal: str) -> pl.Series:
    """Float64, null where the cell is no number. In a decimal-comma column a point is no decimal sign.

    Digits in groups of three (`1,234.5`, or `1.234,5` beside decimal commas) are read where the column
    leaves no doubt that they are groups: see `_are_groups`.
    """
    import polars as pl

    if decimal == ",":
        signed = strings.str.contains(r",|\..*\.")
        if not signed.any():
            return strings.cast(pl.Float64, strict=False)
        swapped = strings.str.replace_all(".", "\0", literal=True).str.replace_all(",", ".", literal=True)
        strings = swapped.str.replace_all("\0", ",", literal=True)
    floats = strings.cast(pl.Float64, strict=False)
    if not floats.null_count():
        return floats
    signed = strings.str.contains(",", literal=True).fill_null(value=False) & floats.is_null()
    if not signed.any() or not _are_groups(strings.filter(signed).to_list(), floats.drop_nulls().to_numpy()):
        return floats
    ungrouped = strings.str.replace_all(",", "", literal=True).cast(pl.Float64, strict=False)
    return floats.fill_null(ungrouped.set(~signed, None))


def _are_groups(cells: Sequence[str], others: FloatArray) -> bool:
    """Whether commas part groups of three digits, and are not decimal signs from elsewhere.

    All cells with one must be grouped so; one of them has two signs, or all other numbers are whole.
    """
    bare = [cell.strip() for cell in cells]
    if not all(_GROUPED_PATTERN.match(cell) for cell in bare):
        return False
    certain = any(cell.count(",") + cell.count(".") > 1 for cell in bare)
    small = bool(np.all(np.abs(others) < _LEAST_GROUPED))
    return certain or (small and bool(np.all(others % 1 == 0)))


def numbers_in(cells: Sequence[str], others: FloatArray, decimal: str) -> tuple[FloatArray, BoolArray]:
    """The few odd cells of a column of numbers: values, and which of them say that there is none.

    `others` are the finite numbers of the column. Shape (n,) both; NaN where a cell is neither a finite
    number nor one of `NO_NUMBER`.
    """
    bare = [cell.strip() for cell in cells]
    if decimal == ",":
        bare = [cell.translate(_SWAPPED) for cell in bare]
    void = np.array([cell.lower() in NO_NUMBER for cell in bare], dtype=bool)
    signed = [cell for cell in bare if "," in cell]
    if signed and _are_groups(signed, others):
        bare = [cell.replace(",", "") for cell in bare]
    plain = [cell if "," not in cell and is_number(cell, ".") else "nan" for cell in bare]
    values = np.array(plain, dtype=np.float64)
    values[void | ~np.isfinite(values)] = np.nan
    return values, void

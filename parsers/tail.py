"""Whether a line that nothing ends, as a power cut leaves it, is whole."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from parsers.dialect import Layout
from parsers.numbers import MISSING, is_number, is_one_group
from parsers.records import Records, split_line
from parsers.stamps import rough_stamp
from telemetry.log import BoolArray

__all__ = ["is_whole"]

# Spellings of nothing that no number begins with, and no longer one.
_WHOLE_WORDS = frozenset({"nan", "null"})
_ROWS_COMPARED, _ROWS_SEARCHED = 200, 4_000
# Where numbers drop their last zeros, fifty in a row with like decimals come once in two hundred times.
_FEWEST_FOR_FIXED = 50
_FEWEST_FOR_SIGN = 8


def is_whole(records: Records, index: int, fits: BoolArray, layout: Layout) -> bool | None:
    """Whether a record of full width is whole: False where its last cell breaks off, None if in doubt.

    It does when the cell is empty or no number where all before it are full or numbers, when it has
    other decimals than the fixed number of them, or when it is the beginning of a word seen before.
    Numbers without fixed decimals do not betray a lost digit.
    """
    above = np.flatnonzero(fits[:index])[-_ROWS_SEARCHED:]
    compared = above[-_ROWS_COMPARED:]
    if not len(compared):
        return None
    if _has_open_quote(records, index, compared, layout):
        return False
    place = len(layout.names) - 1
    cells = _cells(records, index, layout)
    own = cells[place]
    words = {p: c for p, c in enumerate(cells[:-1]) if not _is_nothing_or_number(c, layout.decimal)}
    rows = [_cells(records, other, layout) for other in compared.tolist()]
    alike = _sharing(words, rows)
    if words and not alike:
        alike = _sharing(words, [_cells(records, other, layout) for other in above.tolist()])
    others = [row[place] for row in (alike or rows)[-_ROWS_COMPARED:]]
    if place == layout.clock and _falls_below(own, [row[place] for row in rows], layout.decimal):
        return False
    if own.lower() in _WHOLE_WORDS:
        return None
    if own.lower() in MISSING:
        some = len(others) < _FEWEST_FOR_SIGN or any(cell.lower() in MISSING for cell in others)
        return None if some else False
    if own in others and not is_number(own, layout.decimal) and not _goes_on(own, others):
        return True
    numbers = [cell for cell in others if is_number(cell, layout.decimal) and cell.lower() not in MISSING]
    if len(numbers) > 0.5 * len(others):
        return _is_whole_number(own, numbers, layout.decimal)
    if _goes_on(own, others):
        return None if own in others else False
    return None


def _falls_below(own: str, others: list[str], decimal: str) -> bool:
    """Whether a time lies before all others, as one does whose last digits are missing."""
    stamp, stamps = rough_stamp(own, decimal), [rough_stamp(cell, decimal) for cell in others]
    known = [other for other in stamps if other is not None]
    return stamp is not None and bool(known) and stamp < min(known)


def _goes_on(own: str, others: list[str]) -> bool:
    return any(cell.startswith(own) and cell != own for cell in others)


def _has_open_quote(records: Records, index: int, others: NDArray[np.intp], layout: Layout) -> bool:
    """Whether a quote in the record never closes, or all other records end in one."""
    if not records.quoted:
        return False
    own = records.raw(index).rstrip()
    ends = all(records.raw(other).rstrip().endswith(b'"') for other in others.tolist())
    return own.count(b'"') % 2 == 1 or (ends and not layout.trailing and not own.endswith(b'"'))


def _cells(records: Records, index: int, layout: Layout) -> list[str]:
    cells = [cell.strip() for cell in split_line(records.record(index), layout.delimiter)]
    return cells + [""] * (len(layout.names) - len(cells))


def _is_nothing_or_number(cell: str, decimal: str) -> bool:
    return cell.lower() in MISSING or is_number(cell, decimal)


def _sharing(words: dict[int, str], rows: list[list[str]]) -> list[list[str]]:
    """The rows that share a word with a row, in its place, as those of one channel of a long log do."""
    shared = ([row for row in rows if row[place] == word] for place, word in words.items())
    return next((found for found in shared if found), [])


def _is_whole_number(own: str, others: list[str], decimal: str) -> bool | None:
    if not is_number(own, decimal):
        parts_groups = "," if decimal == "." else "."
        in_groups = is_one_group(own, decimal) and any(parts_groups in cell for cell in others)
        return None if in_groups else False
    if len(others) >= _FEWEST_FOR_SIGN and len({len(cell) for cell in others}) == 1 and own in others:
        return True
    decimals = {_decimals(cell, decimal) for cell in others}
    if len(others) >= _FEWEST_FOR_SIGN and 0 not in decimals and not _decimals(own, decimal):
        return False
    fixed = len(decimals) == 1 and decimals != {0}
    if not fixed or len(others) < _FEWEST_FOR_SIGN:
        return None
    if len(others) >= _FEWEST_FOR_FIXED or _keeps_zeros(others):
        return _decimals(own, decimal) in decimals
    return None


def _keeps_zeros(cells: list[str]) -> bool:
    """Whether some number ends in a zero behind two or more decimals: so it is written to fixed ones."""
    return any(cell.endswith("0") and re.search(r"[.,]\d\d+$", cell) for cell in cells)


def _decimals(cell: str, decimal: str) -> int:
    found = re.search(re.escape(decimal) + r"(\d+)$", cell)
    return len(found.group(1)) if found else 0

"""Whether the last line of a file that lost power is whole."""

from __future__ import annotations

import re

import numpy as np

from parsers.cells import MISSING, is_number
from parsers.dialect import Layout
from parsers.records import Records, split_line
from telemetry.log import BoolArray

__all__ = ["is_half_written"]

_ROWS_COMPARED = 200
# Where numbers drop their last zeros, fifty in a row with like decimals come once in two hundred times.
_FEWEST_FOR_FIXED = 50


def is_half_written(records: Records, fits: BoolArray, layout: Layout) -> bool:
    """Whether the last record, of full width and without a line end, breaks off in its last cell.

    It does when the cell is empty or no number where all before it are full or numbers, when it has
    other decimals than the fixed number of them, or when it is the beginning of a word seen before.
    Numbers without fixed decimals do not betray a lost digit.
    """
    last = len(records) - 1
    compared = np.flatnonzero(fits[:last])[-_ROWS_COMPARED:]
    if not len(compared):
        return False
    place = len(layout.names) - 1
    own = _cell(records, last, place, layout)
    others = [_cell(records, index, place, layout) for index in compared.tolist()]
    if own in others:
        return False
    if own.lower() in MISSING:
        return not any(cell.lower() in MISSING for cell in others)
    return _breaks_off(own, others, layout.decimal)


def _cell(records: Records, index: int, place: int, layout: Layout) -> str:
    cells = split_line(records.record(index), layout.delimiter)
    return cells[place].strip() if place < len(cells) else ""


def _breaks_off(own: str, others: list[str], decimal: str) -> bool:
    numbers = [cell for cell in others if is_number(cell, decimal) and cell.lower() not in MISSING]
    if len(numbers) > 0.5 * len(others):
        decimals = {_decimals(cell, decimal) for cell in numbers}
        fixed = len(decimals) == 1 and len(numbers) >= _FEWEST_FOR_FIXED and decimals != {0}
        return not is_number(own, decimal) or (fixed and _decimals(own, decimal) not in decimals)
    return any(cell.startswith(own) for cell in others)


def _decimals(cell: str, decimal: str) -> int:
    found = re.search(re.escape(decimal) + r"(\d+)$", cell)
    return len(found.group(1)) if found else 0

"""Rows that stand in a file twice over, as when a logger writes its buffer a second time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from parsers.table import Table
from telemetry.log import FloatArray

__all__ = ["rows_written_twice"]

# Our choice: where the times fall oftener, that is how the logger writes.
_MOST_FALLS = 100
_SAME_STEP_S = 1e-9


def rows_written_twice(table: Table, t: FloatArray) -> NDArray[np.intp]:
    """The rows of blocks that say again, cell for cell, what the rows right above them say.

    The clock must go on behind such a block from where it was before it, and the rows repeated must not be
    all of a run: a clock that starts over says its first rows again too, where nothing moves. Where nothing
    but the clock changes in a block, and that in even steps, that it comes again tells nothing.
    """
    falls = np.flatnonzero(np.diff(t) < 0) + 1
    if len(falls) > _MOST_FALLS:
        return np.zeros(0, dtype=np.intp)
    blocks = [_repeated_from(table, t, fall) for fall in falls.tolist()]
    return np.concatenate([np.zeros(0, dtype=np.intp), *blocks])


def _repeated_from(table: Table, t: FloatArray, fall: int) -> NDArray[np.intp]:
    """The rows from a fall of the clock on that repeat as many right above it."""
    for first in np.flatnonzero(t[1:fall] == t[fall]) + 1:
        past = 2 * fall - int(first)
        goes_on = past < len(t) and t[past] >= t[fall - 1] and t[first - 1] <= t[first]
        if goes_on and np.array_equal(t[first:fall], t[fall:past]):
            again = np.arange(fall, past)
            said = table.row_texts(np.arange(first, fall))
            uneven = float(np.ptp(np.diff(t[first:fall]))) > _SAME_STEP_S if fall - first > 2 else False
            if (uneven or _changes_beside_clock(said)) and said == table.row_texts(again):
                return again
    return np.zeros(0, dtype=np.intp)


def _changes_beside_clock(rows: Sequence[tuple[str, ...]]) -> bool:
    return sum(len(set(column)) > 1 for column in zip(*rows, strict=True)) > 1

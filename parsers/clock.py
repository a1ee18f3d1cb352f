"""Repair of a log's clock: rows out of order, a clock that started over, a clock that leapt."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from parsers.order import displaced_rows
from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray

__all__ = [
    "FILLING_SHARE",
    "MendedClock",
    "Sorting",
    "UnorderedClockError",
    "in_hole",
    "in_parts",
    "lay_out",
    "mend_clock",
    "sort_rows",
    "steady_tick",
]

JUMP_S = 600.0
SEAM_S = 1.0
_SLOW_S = 60.0
_LEAP_STEPS = 100.0
_FEWEST_STEPS = 8
# In ticks, the median step between rows. Our choice: a hole is a gap with room for another row; one time
# that lies ten ticks off its neighbours, which follow each other within five, is spoiled.
_HOLE_TICKS = 1.5
_SPIKE_TICKS = 10.0
_NEIGHBOUR_TICKS = 5.0
FILLING_SHARE = 0.9
_MOST_RESTARTS = 20
_START_ROWS = 3
_FEWEST_SHUFFLED = 3
_SHUFFLED_SHARE = 0.02
_EVEN_SHARE = 0.95
_EVEN_TICKS = 0.75

Rows = NDArray[np.intp]
_NONE: Rows = np.zeros(0, dtype=np.intp)


class UnorderedClockError(Exception):
    """The times step back so often that no order can be told."""


@dataclass(frozen=True, eq=False)
class MendedClock:
    """What became of the rows.

    Attributes:
        order: shape (k,), the rows kept, in time order; None where all rows stay as they are.
        t_s: shape (k,), non-decreasing, 0 at the first.
        spoiled: rows whose time lies far off that of both neighbours.
        late: rows out of order, the fewest that explain it, sorted in.
        resets, jumps: first rows after a clock that started over, or leapt.
        seams_s: `t_s` at which each piece after the first begins.
    """

    order: Rows | None
    t_s: FloatArray
    spoiled: Rows
    late: Rows
    resets: Rows
    jumps: Rows
    seams_s: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Sorting:
    """To which run of the clock each row belongs.

    Attributes:
        piece: shape (n,), by row in file order, 0 for the first run.
        spoiled, late: as in `MendedClock`.
    """

    piece: Rows
    spoiled: Rows
    late: Rows


def mend_clock(t: FloatArray, again: Rows = _NONE) -> MendedClock:
    """Times in file order, shape (n,), n ≥ 1, to an even flow of time.

    Rows that step back are sorted in where they fill holes that others left. Where they fill none the
    clock started over: what follows is laid `SEAM_S` behind. So is what follows a leap of more than ten
    minutes. `again` are the rows before which the file says its header again: where the clock falls there,
    it started over. Raises UnorderedClockError after more than twenty restarts.
    """
    steps = np.diff(t)
    if not np.any(steps < 0) and not np.any(steps > JUMP_S):
        return MendedClock(None, np.round(t - t[0], 9), _NONE, _NONE, _NONE, _NONE, ())
    cuts = again[steps[again - 1] < 0]
    return lay_out(t, in_parts(len(t), cuts, lambda part: sort_rows(t[part])))


def in_parts(count: int, cuts: Rows, sort: Callable[[slice], Sorting]) -> Sorting:
    """The rows between the cuts each sorted for themselves; at a cut a new run begins."""
    pieces, spoiled, late, runs = [], [_NONE], [_NONE], 0
    for start, past in pairwise([0, *cuts.tolist(), count]):
        part = sort(slice(start, past))
        pieces.append(part.piece + runs)
        spoiled.append(part.spoiled + start)
        late.append(part.late + start)
        runs = int(pieces[-1].max()) + 1
    return Sorting(np.concatenate(pieces), np.concatenate(spoiled), np.concatenate(late))


def sort_rows(t: FloatArray) -> Sorting:
    """The runs of the clock in times in file order, shape (n,), told by the times alone."""
    if _is_shuffled(t):
        return Sorting(np.zeros(len(t), dtype=np.intp), _NONE, displaced_rows(t))
    rises = _rises(t)
    tick = float(np.median(rises)) if len(rises) else 0.0
    spoiled = _spikes(t, tick)
    rows = np.delete(np.arange(len(t)), spoiled)
    starts, late = _pieces(t[rows], tick)
    begins = np.zeros(len(t), dtype=np.intp)
    begins[rows[starts]] = 1
    return Sorting(np.cumsum(begins), spoiled, rows[late])


def _is_shuffled(t: FloatArray) -> bool:
    """Many steps back, and yet the clock ticks evenly once the rows are sorted."""
    if np.sum(np.diff(t) < 0) < max(_FEWEST_SHUFFLED, _SHUFFLED_SHARE * len(t)):
        return False
    steps = np.diff(np.sort(t))
    near = np.abs(steps - np.median(steps)) <= 0.5 * np.median(steps)
    return bool(near.mean() >= _EVEN_SHARE)


def _spikes(t: FloatArray, tick: float) -> Rows:
    """Single rows whose time is off, and that fill no hole elsewhere.

    Off is more than ten ticks from both neighbours, which follow each other closely, or a tenth as far
    apart; where the clock ticks evenly, more than one and a half.
    """
    if len(t) < 3 or tick == 0.0:
        return _NONE
    even = _ticks_evenly(t, tick)
    least = (_HOLE_TICKS if even else _SPIKE_TICKS) * tick
    before, own, after = t[:-2], t[1:-1], t[2:]
    gap, beyond = after - before, np.maximum(own - after, before - own)
    joined = (gap >= 0) & ((gap <= _NEIGHBOUR_TICKS * tick) | (beyond > _SPIKE_TICKS * gap))
    off = beyond > least
    suspects = np.flatnonzero(joined & off) + 1
    if even and len(t) > _FEWEST_STEPS:
        suspects = np.concatenate((suspects, _wild_ends(t, tick)))
    others = np.sort(np.delete(t, suspects))
    return np.sort(suspects[~in_hole(t[suspects], others, tick)])


def _wild_ends(t: FloatArray, tick: float) -> Rows:
    """The first and the last row, where only that one is off: no restart runs on from a single row."""
    leap, back = _least_leap_s(np.diff(t)), _HOLE_TICKS * tick
    near = _NEIGHBOUR_TICKS * tick
    ends = []
    if 0 <= t[2] - t[1] <= near and (t[0] > t[1] + back or t[1] - t[0] > leap):
        ends.append(0)
    if 0 <= t[-2] - t[-3] <= near and (t[-1] < t[-2] - back or t[-1] - t[-2] > leap):
        ends.append(len(t) - 1)
    return np.array(ends, dtype=np.intp)


def steady_tick(t: FloatArray) -> float:
    """The median step of a clock that ticks evenly, else 0."""
    rises = _rises(t)
    tick = float(np.median(rises)) if len(rises) else 0.0
    return tick if tick and _ticks_evenly(t, tick) else 0.0


def _rises(t: FloatArray) -> FloatArray:
    steps: FloatArray = np.diff(t)
    return steps[steps > 0]


def _ticks_evenly(t: FloatArray, tick: float) -> bool:
    rises = _rises(t)
    return bool(np.mean(np.abs(rises - tick) <= 0.5 * tick) >= _EVEN_TICKS)


def in_hole(times: FloatArray, others: FloatArray, tick: float) -> BoolArray:
    """Which times fall between two of `others` (sorted) that lie far enough apart to have lost a row."""
    if len(others) < 2:
        return np.zeros(len(times), dtype=bool)
    after = np.searchsorted(others, times, side="left")
    inside = (after > 0) & (after < len(others))
    after = np.clip(after, 1, len(others) - 1)
    return inside & (others[after] - others[after - 1] >= _HOLE_TICKS * tick)


def _pieces(t: FloatArray, tick: float) -> tuple[list[int], Rows]:
    """Where the clock starts over, and the rows that are merely late."""
    starts: list[int] = []
    late: list[Rows] = []
    at = 0
    while at < len(t):
        piece = t[at:]
        back = np.flatnonzero(piece < np.maximum.accumulate(piece))
        restart = _first_restart(piece, back, tick)
        past = len(piece) if restart is None else restart
        late.append(displaced_rows(piece[:past]) + at)
        at += past
        if restart is not None:
            starts.append(at)
        if len(starts) > _MOST_RESTARTS:
            raise UnorderedClockError
    return starts, np.concatenate(late)


def _first_restart(t: FloatArray, back: Rows, tick: float) -> int | None:
    """The first run of rows behind the clock's front that does not fill the holes in it."""
    if not len(back):
        return None
    front = np.delete(t, back)
    filling = in_hole(t[back], front, tick)
    if filling.mean() >= FILLING_SHARE and not _runs_on(t, back, filling):
        return None
    cuts = np.flatnonzero(np.diff(back) > 1) + 1
    for run, fills in zip(np.split(back, cuts), np.split(filling, cuts), strict=True):
        if fills.mean() < FILLING_SHARE and not _is_jitter(t, run, tick):
            return int(run[0])
    return None


def _runs_on(t: FloatArray, back: Rows, filling: BoolArray) -> bool:
    """Some long stretch behind the front fills no hole: too long to be chance."""
    unfilled = back[~filling]
    return bool(len(unfilled) > _START_ROWS and np.all(np.diff(unfilled[: _START_ROWS + 1]) == 1))


def _is_jitter(t: FloatArray, run: Rows, tick: float) -> bool:
    """A few rows that are less than a tick late, or that were swapped at the very start."""
    if len(run) > _START_ROWS or run[-1] + 1 >= len(t):
        return False
    drop = float(t[: run[0]].max() - t[run].min())
    return drop < _HOLE_TICKS * tick or run[0] <= _START_ROWS


def _least_leap_s(steps: FloatArray) -> float:
    """Ten minutes; where rows come by the minute or slower, a hundred of their steps (our choice)."""
    rises = steps[steps > 0]
    typical = float(np.median(rises)) if len(rises) > _FEWEST_STEPS else 0.0
    return max(JUMP_S, _LEAP_STEPS * typical) if typical > _SLOW_S else JUMP_S


def lay_out(t: FloatArray, sorting: Sorting) -> MendedClock:
    """The rows in order of their run, and of time within it, the runs laid end to end."""
    rows = np.delete(np.arange(len(t)), sorting.spoiled)
    piece = sorting.piece[rows]
    moved = np.any(np.diff(piece) < 0) or np.any(np.diff(t[rows])[np.diff(piece) == 0] < 0)
    order = np.lexsort((t[rows], piece)) if moved else np.arange(len(rows))
    sorted_t, sorted_piece = t[rows[order]], piece[order]
    steps = np.diff(sorted_t)
    turns = np.diff(sorted_piece) > 0
    leaps = ~turns & (steps > _least_leap_s(steps))
    seams = np.flatnonzero(turns | leaps)
    steps[seams] = SEAM_S
    t_s = sorted_t - sorted_t[0] if not len(seams) else np.concatenate(([0.0], np.cumsum(steps)))
    return MendedClock(
        order=rows[order] if moved or len(sorting.spoiled) else None,
        t_s=np.round(t_s, 9),
        spoiled=sorting.spoiled,
        late=sorting.late,
        resets=rows[order][np.flatnonzero(turns) + 1],
        jumps=rows[order][np.flatnonzero(leaps) + 1],
        seams_s=tuple(np.round(t_s[seams + 1], 9).tolist()),
    )

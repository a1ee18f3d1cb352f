"""The clock of a long log, whose rows may lie in order of time, channel by channel, or in batches."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from parsers.channels import Groups
from parsers.clock import MendedClock, Rows, UnorderedClockError, lay_out, mend_clock
from parsers.order import displaced_rows, is_habit_of_few
from telemetry.log import BoolArray, FloatArray

__all__ = ["mend_long_clock"]

# Our choice: more rows than this out of order are the logger's habit, no fault.
_HABIT_SHARE = 0.1
_FEW_FALLS = 20
_NONE: Rows = np.zeros(0, dtype=np.intp)


def mend_long_clock(t: FloatArray, groups: Groups) -> MendedClock:
    """Times in file order, shape (n,), of rows that belong to channels, to an even flow of time.

    What counts is the order within each channel. Where all channels' own times rise, the rows are sorted;
    those out of order among other channels are late ones only where they are few and of any channel,
    since a logger that writes in batches does so again and again. Where no channel alone started over,
    none did; where they start over at one place of the file, that parts it. Where the file goes back far
    oftener than any channel does, each channel is mended alone, and the pieces are laid end to end.
    Raises UnorderedClockError when channels disagree about how often the clock started over.
    """
    if not np.any(np.diff(t) < 0):
        return mend_clock(t)
    most = _most_steps_back(t, groups)
    if most == 0:
        late = _NONE if _in_blocks(groups) else displaced_rows(t)
        return _one_piece(t, _NONE, _NONE if _is_habit(late, t, groups) else late)
    alone = _mended_alone(t, groups)
    falls = np.flatnonzero(np.diff(t) < 0) + 1
    if not any(len(mended.resets) for mended in alone.values()):
        if len(falls) <= _FEW_FALLS and any(_turns_back(t, groups, fall) for fall in falls.tolist()):
            return mend_clock(t)
        return _sorted_in(t, groups, alone)
    cuts = [] if _in_blocks(groups) else _common_restarts(t, groups, alone)
    if cuts:
        return _part_by_part(t, groups, cuts)
    if _in_blocks(groups) or len(falls) > 3 * most + 3:
        return _by_channel(t, groups)
    return mend_clock(t)


def _is_habit(late: Rows, t: FloatArray, groups: Groups) -> bool:
    """Whether rows out of order are how the logger writes."""
    if len(late) > _HABIT_SHARE * len(groups.rows):
        return True
    return len(late) > 0 and is_habit_of_few(t, _channel_of(groups))


def _channel_of(groups: Groups) -> NDArray[np.intp]:
    channel = np.empty(len(groups.rows), dtype=np.intp)
    channel[groups.rows] = np.repeat(np.arange(len(groups.names)), np.diff(groups.bounds))
    return channel


def _one_piece(t: FloatArray, spoiled: Rows, late: Rows) -> MendedClock:
    kept = np.setdiff1d(np.arange(len(t)), spoiled) if len(spoiled) else np.arange(len(t))
    return lay_out(t, kept, np.zeros_like(kept), spoiled=spoiled, late=late)


def _mended_alone(t: FloatArray, groups: Groups) -> dict[int, MendedClock]:
    """The clocks of the channels whose own times step back somewhere."""
    return {
        int(index): mend_clock(t[_rows_of(groups, index)])
        for index in np.flatnonzero(_steps_back(t, groups)).tolist()
    }


def _rows_of(groups: Groups, index: int) -> Rows:
    return groups.rows[groups.bounds[index] : groups.bounds[index + 1]]


def _sorted_in(t: FloatArray, groups: Groups, alone: dict[int, MendedClock]) -> MendedClock:
    """Rows sorted in where no channel started over; where others lie late by habit, only the channels' own
    disorder counts."""
    spoiled = np.sort(np.concatenate([_rows_of(groups, i)[m.spoiled] for i, m in alone.items()]))
    own = np.sort(np.concatenate([_rows_of(groups, i)[m.late] for i, m in alone.items()]))
    kept = np.setdiff1d(np.arange(len(t)), spoiled)
    late = kept[displaced_rows(t[kept])]
    return _one_piece(t, spoiled, own if _is_habit(late, t, groups) else late)


def _common_restarts(t: FloatArray, groups: Groups, alone: dict[int, MendedClock]) -> list[int]:
    """The rows from which on all channels start over, in a file that was written from then to now."""
    restarting = [(_rows_of(groups, index), mended.resets) for index, mended in alone.items()]
    most = max(len(resets) for _, resets in restarting)
    cuts: list[int] = []
    for number in range(most):
        turns = np.array(
            [(r[at[number] - 1], r[at[number]]) for r, at in restarting if len(at) == most], dtype=np.intp
        )
        if most == 1 and len(everyone := _turns_at_one_place(t, groups)):
            turns = everyone
        last, first = int(turns[:, 0].max()), int(turns[:, 1].min())
        if last >= first:
            return []
        middle_s = (t[turns[:, 0]].max() + t[turns[:, 1]].min()) / 2
        cut = last + 1 + int(np.argmax(t[last + 1 : first + 1] < middle_s))
        if not _turns_back(t, groups, cut):
            return []
        cuts.append(cut)
    return cuts


def _turns_at_one_place(t: FloatArray, groups: Groups) -> NDArray[np.intp]:
    """The rows before and after each step back of a channel's own times, shape (k, 2), where one place of
    the file parts all of them; else none. A channel of few rows may not show alone that it started over.
    """
    steps = np.flatnonzero(_own_steps_back(t, groups))
    turns = np.stack((groups.rows[steps], groups.rows[steps + 1]), axis=1)
    return turns if turns[:, 0].max() < turns[:, 1].min() else turns[:0]


def _turns_back(t: FloatArray, groups: Groups, cut: int) -> bool:
    """Whether the channels of most rows, among those on both sides of a row, go back there and stay back."""
    back = rows_across = 0
    for index in range(len(groups.names)):
        rows = _rows_of(groups, index)
        place = int(np.searchsorted(rows, cut))
        if 0 < place < len(rows):
            before, after = t[rows[max(place - 2, 0) : place]], t[rows[place : place + 2]]
            stays = after[0] < before[-1] and after[0] <= before[0] and after[-1] <= before[-1]
            rows_across += len(rows)
            back += len(rows) * int(stays)
    return 2 * back > rows_across


def _part_by_part(t: FloatArray, groups: Groups, cuts: list[int]) -> MendedClock:
    channel = _channel_of(groups)
    piece = np.searchsorted(cuts, np.arange(len(t)), side="right")
    spoiled, late = [], []
    for start, past in pairwise([0, *cuts, len(t)]):
        _, codes = np.unique(channel[start:past], return_inverse=True)
        bounds = np.concatenate(([0], np.cumsum(np.bincount(codes))))
        names = [""] * (len(bounds) - 1)
        mended = mend_long_clock(t[start:past], Groups(names, np.argsort(codes, kind="stable"), bounds))
        if len(mended.resets):
            raise UnorderedClockError
        spoiled.append(mended.spoiled + start)
        late.append(mended.late + start)
    left_out = np.concatenate(spoiled)
    kept = np.setdiff1d(np.arange(len(t)), left_out)
    return lay_out(t, kept, piece[kept], spoiled=left_out, late=np.concatenate(late))


def _steps_back(t: FloatArray, groups: Groups) -> NDArray[np.intp]:
    """How often each channel's own times step back."""
    channel = np.searchsorted(groups.bounds, np.flatnonzero(_own_steps_back(t, groups)), side="right") - 1
    return np.bincount(channel, minlength=len(groups.names))


def _own_steps_back(t: FloatArray, groups: Groups) -> BoolArray:
    """Between which rows of one channel its times step back, in the order of `groups.rows`."""
    back: BoolArray = np.diff(t[groups.rows]) < 0
    back[groups.bounds[1:-1] - 1] = False
    return back


def _most_steps_back(t: FloatArray, groups: Groups) -> int:
    """The most steps back among one channel's own rows."""
    return int(_steps_back(t, groups).max())


def _in_blocks(groups: Groups) -> bool:
    """Whether each channel has its own run of rows in the file, one channel behind the other."""
    return len(groups.names) > 1 and not np.any(np.diff(groups.rows) != 1)


def _by_channel(t: FloatArray, groups: Groups) -> MendedClock:
    piece = np.zeros(len(t), dtype=np.intp)
    spoiled, late, restarts = [], [], set()
    for index in range(len(groups.names)):
        rows = _rows_of(groups, index)
        mended = mend_clock(t[rows])
        piece[rows] = np.searchsorted(mended.resets, np.arange(len(rows)), side="right")
        spoiled.append(rows[mended.spoiled])
        late.append(rows[mended.late])
        restarts.add(len(mended.resets))
    if len(restarts) > 1:
        raise UnorderedClockError
    left_out = np.sort(np.concatenate(spoiled))
    kept = np.setdiff1d(np.arange(len(t)), left_out)
    return lay_out(t, kept, piece[kept], spoiled=left_out, late=np.sort(np.concatenate(late)))

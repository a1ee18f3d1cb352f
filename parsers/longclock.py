"""The clock of a long log, whose rows may lie in order of time, channel by channel, or in batches."""

from __future__ import annotations

import numpy as np

from parsers.channels import Groups
from parsers.clock import MendedClock, Rows, UnorderedClockError, lay_out, mend_clock, rows_behind
from telemetry.log import FloatArray

__all__ = ["mend_long_clock"]

# Our choice: more rows than this behind the clock's front are the logger's habit, no fault.
_HABIT_SHARE = 0.1
_NONE: Rows = np.zeros(0, dtype=np.intp)


def mend_long_clock(t: FloatArray, groups: Groups) -> MendedClock:
    """Times in file order, shape (n,), of rows that belong to channels, to an even flow of time.

    Where each channel's own times rise, the order of channels in the file means nothing: rows are sorted,
    as late ones where they are few. Where the file goes back far oftener than any channel does, each
    channel is mended alone, and the pieces are laid end to end. Raises UnorderedClockError when channels
    disagree about how often the clock started over.
    """
    if not np.any(np.diff(t) < 0):
        return mend_clock(t)
    most = _most_steps_back(t, groups)
    in_blocks = _in_blocks(groups)
    if most == 0:
        behind = rows_behind(t)
        habit = in_blocks or len(behind) > _HABIT_SHARE * len(t)
        every = np.arange(len(t))
        return lay_out(t, every, np.zeros_like(every), spoiled=_NONE, late=_NONE if habit else behind)
    if in_blocks or int(np.sum(np.diff(t) < 0)) > 3 * most + 3:
        return _by_channel(t, groups)
    return mend_clock(t)


def _most_steps_back(t: FloatArray, groups: Groups) -> int:
    """The most steps back among one channel's own rows."""
    back = np.diff(t[groups.rows]) < 0
    back[groups.bounds[1:-1] - 1] = False
    if not back.any():
        return 0
    channel = np.searchsorted(groups.bounds, np.flatnonzero(back), side="right")
    return int(np.bincount(channel).max())


def _in_blocks(groups: Groups) -> bool:
    """Whether each channel has its own run of rows in the file, one channel behind the other."""
    return len(groups.names) > 1 and not np.any(np.diff(groups.rows) != 1)


def _by_channel(t: FloatArray, groups: Groups) -> MendedClock:
    piece = np.zeros(len(t), dtype=np.intp)
    spoiled, late, restarts = [], [], set()
    for first, past in zip(groups.bounds[:-1].tolist(), groups.bounds[1:].tolist(), strict=True):
        rows = groups.rows[first:past]
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

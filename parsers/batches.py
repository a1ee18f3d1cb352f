"""Long logs written window after window, channel after channel: what their steps back in time tell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from telemetry.log import BoolArray, FloatArray

__all__ = ["are_batches", "are_too_few_to_tell", "cut_between_runs"]

Rows = NDArray[np.intp]
Channels = NDArray[np.integer]

_CHANCE = 1e-2
# Our choice: so many steps back tell batches, where they are one in so many of the places between batches.
_FEWEST_FALLS, _MOST_CHANNELS = 4, 500
_BORDERS_A_FALL = 8
# Our choice: the share of neighbours, late by no more than others are, that batches turn round at least.
_TURNED_SHARE = 1 / 4
# Our choice: a window is at most so many times as long as the latest row in sight is late.
_WINDOWS_A_DELAY = 4.0


def are_batches(t: FloatArray, channel: Channels) -> bool:
    """Whether all steps back are those of a logger that writes, window after window, channel after channel.

    `channel` is that of each row, shape (n,), each in order of time. A step back then goes from one channel
    to another that always comes later; where one comes again behind a later one a window has ended, and
    between two such ends lies at least the longest way back. Rows moved by accident step back either way,
    and seldom beside the many places where channels take turns.
    """
    back = np.flatnonzero(np.diff(t) < 0)
    count = int(channel.max()) + 1
    if len(back) < _FEWEST_FALLS or count > _MOST_CHANNELS:
        return False
    earlier = _closure(channel[back], channel[back + 1], count)
    if np.any(earlier & earlier.T):
        return False
    ends = np.flatnonzero(earlier[channel[1:], channel[:-1]])
    window_s = float(np.max(np.maximum.accumulate(t)[back] - t[back + 1]))
    begun_s = np.arange(len(ends)) * window_s
    spaced = np.all(np.maximum.accumulate(t[ends] - begun_s) <= t[ends + 1] - begun_s)
    return bool(spaced) and len(ends) <= _BORDERS_A_FALL * len(back)


def are_too_few_to_tell(t: FloatArray, channel: Channels) -> bool:
    """Whether short batches may have left so few rows out of order.

    Whoever writes in batches turns round many of the neighbours in time, of two channels, that lie no
    further apart than the latest row comes late. Rows moved by accident lie among such neighbours in order:
    they must be so many that batches would leave them so once in a hundred logs (binomial).
    """
    from scipy.special import bdtr

    order = np.argsort(t, kind="stable")
    gaps_s, lateness_s = np.diff(t[order]), np.max(np.maximum.accumulate(t) - t)
    close = (gaps_s > 0) & (gaps_s <= lateness_s) & (np.diff(channel[order]) != 0)
    turned = int(np.sum(np.diff(order)[close] < 0))
    return bool(bdtr(turned, int(close.sum()), _TURNED_SHARE) >= _CHANCE)


def cut_between_runs(t: FloatArray, channel: Channels, last: int, first: int) -> tuple[int, Rows]:
    """Where, behind row `last` of one run of the clock and up to row `first` of the next, the new one begins.

    `t` and `channel`, shape (n,), are those of the rows of both runs. The rows between are of channels that
    say too little to tell; they are of the run in whose window they lie, unless what came before what
    elsewhere forbids it. Else the new run begins with the channel that leads the file, since a logger of
    changes begins with the state of every channel, or where the times fall. Also the rows, shape (k,), that
    may be of either run.
    """
    rows = np.arange(last + 1, first)
    old, new = slice(0, last + 1), slice(first, len(t))
    window_s = _WINDOWS_A_DELAY * max(_longest_delay_s(t[old]), _longest_delay_s(t[new]))
    may_be_old = t[rows] >= t[old].max() - window_s
    may_be_new = t[rows] <= t[last + 1 :].min() + window_s
    before = _known_order(t, channel, (old, new))
    may_be_old &= ~(before[channel[rows], channel[last]] & (t[rows] <= t[last]))
    may_be_new &= ~(before[channel[first], channel[rows]] & (t[first] <= t[rows]))
    past_old = int(np.max(np.flatnonzero(~may_be_new) + 1, initial=0))
    from_new = int(np.min(np.flatnonzero(~may_be_old), initial=len(rows)))
    cuts = np.arange(min(past_old, from_new), max(past_old, from_new) + 1) + last + 1
    leads = cuts[channel[cuts] == channel[0]]
    if len(leads) and past_old <= from_new:
        return int(leads[0]), rows[:0]
    falls = cuts[t[cuts] < t[cuts - 1]]
    cuts = falls if len(falls) else cuts
    return int(cuts[-1]), np.arange(cuts[0], cuts[-1])


def _longest_delay_s(t: FloatArray) -> float:
    return float(np.max(np.maximum.accumulate(t) - t))


def _known_order(t: FloatArray, channel: Channels, parts: tuple[slice, ...]) -> BoolArray:
    """Which channel comes before which in a window, by the steps back in these parts of a file."""
    count = int(channel.max()) + 1
    if count > _MOST_CHANNELS:
        return np.zeros((count, count), dtype=np.bool_)
    back = [np.flatnonzero(np.diff(t[part]) < 0) + part.start for part in parts]
    falls = np.concatenate(back)
    return _closure(channel[falls], channel[falls + 1], count)


def _closure(first: Channels, second: Channels, count: int) -> BoolArray:
    """Which of `count` things come before which, shape (count, count), by pairs in order.

    Warshall 1962, Journal of the ACM 9, 11-12, from memory.
    """
    before = np.zeros((count, count), dtype=np.bool_)
    before[first, second] = True
    for between in np.unique(second).tolist():
        before |= np.outer(before[:, between], before[between])
    return before

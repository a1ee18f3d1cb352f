"""Which rows of a log lie out of order, and whether that is how its logger writes."""

from __future__ import annotations

from bisect import bisect_right

import numpy as np
from numpy.typing import NDArray

from telemetry.log import BoolArray, FloatArray

__all__ = ["are_batches", "displaced_rows", "is_habit_of_few", "rows_in_disorder"]

Rows = NDArray[np.intp]

# Of more rows than this in disorder it is not worth finding the very fewest.
_MOST_SEARCHED = 100_000
_CHANCE = 1e-2
# Our choice: so many steps back tell batches, where they are one in so many of the places between batches.
_FEWEST_FALLS, _MOST_CHANNELS = 4, 500
_BORDERS_A_FALL = 8


def rows_in_disorder(t: FloatArray) -> Rows:
    """The rows whose time lies before that of one above them, or after that of one below."""
    behind = t < np.maximum.accumulate(t)
    ahead = t > np.minimum.accumulate(t[::-1])[::-1]
    return np.flatnonzero(behind | ahead)


def displaced_rows(t: FloatArray) -> Rows:
    """The fewest rows without which the times, shape (n,), never fall; of two swapped ones the second.

    What remains is a longest non-decreasing subsequence (Fredman 1975, Discrete Mathematics 11, 29-35),
    from memory. A loop goes over the rows in disorder alone.
    """
    rows = rows_in_disorder(t)
    if len(rows) > _MOST_SEARCHED:
        return np.flatnonzero(t < np.maximum.accumulate(t))
    kept = np.ones(len(rows), dtype=bool)
    kept[_longest_fall(t[rows][::-1].tolist())] = False
    return rows[kept[::-1]]


def _longest_fall(times: list[float]) -> list[int]:
    """Places of a longest non-increasing subsequence, the last ones where there is a choice."""
    least: list[float] = []
    ends: list[int] = []
    before: list[int] = []
    for place, time in enumerate(times):
        length = bisect_right(least, -time)
        before.append(ends[length - 1] if length else -1)
        least[length : length + 1] = [-time]
        ends[length : length + 1] = [place]
    chain = []
    at = ends[-1] if ends else -1
    while at >= 0:
        chain.append(at)
        at = before[at]
    return chain


def is_habit_of_few(t: FloatArray, channel: NDArray[np.integer]) -> bool:
    """Whether the disorder comes of channels whose rows lie in it far oftener than chance would have them.

    `channel` is that of each row, shape (n,). Rows moved about by accident are of any channel, as these
    have rows; what is written late as a habit is so again and again. A channel counts where so many of its
    rows come up by chance once in a hundred logs (binomial, shared among the channels); without such
    channels at most half as many rows are out of order.
    """
    late = displaced_rows(t)
    habitual = _oftener_than_chance(late, channel) | _oftener_than_chance(rows_in_disorder(t), channel)
    return bool(habitual.any()) and 2 * len(displaced_rows(t[~habitual[channel]])) <= len(late)


def _oftener_than_chance(rows: Rows, channel: NDArray[np.integer]) -> BoolArray:
    from scipy.special import bdtrc

    of_channel = np.bincount(channel)
    found = np.bincount(channel[rows], minlength=len(of_channel))
    chance = bdtrc(np.maximum(found - 1, 0), of_channel, len(rows) / len(channel))
    often: BoolArray = (found > 1) & (chance < _CHANCE / len(of_channel))
    return often


def are_batches(t: FloatArray, channel: NDArray[np.integer]) -> bool:
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


def _closure(first: NDArray[np.integer], second: NDArray[np.integer], count: int) -> BoolArray:
    """Which of `count` things come before which, shape (count, count), by pairs in order.

    Warshall 1962, Journal of the ACM 9, 11-12, from memory.
    """
    before = np.zeros((count, count), dtype=np.bool_)
    before[first, second] = True
    for between in np.unique(second).tolist():
        before |= np.outer(before[:, between], before[between])
    return before

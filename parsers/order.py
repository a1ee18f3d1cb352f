"""Which rows of a log lie out of order, and whether always the same channels do."""

from __future__ import annotations

from bisect import bisect_right

import numpy as np
from numpy.typing import NDArray

from telemetry.log import BoolArray, FloatArray

__all__ = ["displaced_rows", "is_habit_of_few", "rows_in_disorder"]

Rows = NDArray[np.intp]

# Of more rows than this in disorder it is not worth finding the very fewest.
_MOST_SEARCHED = 100_000
_CHANCE = 1e-2


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

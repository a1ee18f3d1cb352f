"""A trend in counts: does something happen more often from match to match?

Few counts, with many ties, tell a test by ranks little. So the counts themselves are looked at, and a rise
is one where three questions agree. Would chance alone have spread so many faults so late over the order
(exactly, by Poisson)? Would it, if faults come in clusters as these seem to? And does the rise rest on more
than one match? The same three are asked of a fall. Counts that rise far more evenly than chance spreads them
(1 1 2 2 2 3 3 3) show it by their order alone: there the test by ranks serves, at an eighth of the level.

An event is asked first whether things get worse: four fifths of the level are spent on a rise, one fifth on a
fall (a directed test; Rice and Gaines, Trends in Ecology & Evolution 9 (1994), 235-237, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.rank_statistics import mann_kendall

__all__ = ["CountTrend", "clustering", "count_trend", "poisson_rise_p"]

_RANKS_COUNT = 8.0
"""What the p by ranks counts beside that of the counts: it passes at an eighth of their level (our choice).
Ranked is how many faults more than usual a match had, to whole faults: less is no order."""
_Counts = NDArray[np.int64]

_SHARE_OF_RISE, _SHARE_OF_FALL = 0.8, 0.2
_EXACT_UP_TO_EVENTS = 100
_LEAST_SHARE_OF_MEAN = 0.1
"""The least that a straight line through counts may expect of a match, against the mean (our choice)."""
_REST_COUNTS = 0.25
"""How much the p without the match that speaks most for a rise counts: 0.2 passes at 0.05 (our choice)."""


@dataclass(frozen=True)
class CountTrend:
    """One-sided p of a rise and of a fall in counts."""

    rising_p: float
    falling_p: float

    @property
    def p(self) -> float:
        """Both together at one level: the smaller p over its share of the level (Bonferroni, weighed)."""
        return min(1.0, self.rising_p / _SHARE_OF_RISE, self.falling_p / _SHARE_OF_FALL)

    @property
    def rises(self) -> bool:
        """Whether the counts rather rise than fall."""
        return self.rising_p <= self.falling_p


def count_trend(counts: Sequence[int], exposures: Sequence[float], places: Sequence[int]) -> CountTrend:
    """The trend of counts over their exposures (time, or chances to happen), at these places in order."""
    seen, exposure = np.asarray(counts, dtype=np.int64), np.asarray(exposures, dtype=np.float64)
    at = np.asarray(places, dtype=np.int64)
    more = np.rint(seen - seen.sum() * exposure / exposure.sum())
    rising, falling = (_RANKS_COUNT * mann_kendall(sign * more).rising_p for sign in (1, -1))
    return CountTrend(
        min(_rise_p(seen, exposure, at - at.min()), rising),
        min(_rise_p(seen, exposure, at.max() - at), falling),
    )


def _rise_p(counts: _Counts, exposures: FloatArray, at: _Counts) -> float:
    """The largest p of the three questions."""
    spread = math.sqrt(clustering(counts, exposures, at))
    clustered = _normal_tail(_lateness(counts, exposures, at) / spread)
    kept = ~np.eye(len(at), dtype=bool)
    rest = max(_normal_tail(_lateness(counts[k], exposures[k], at[k])) for k in kept)
    return max(poisson_rise_p(counts, exposures, at), clustered, _REST_COUNTS * rest)


def poisson_rise_p(
    counts: Sequence[int] | _Counts, exposures: Sequence[float] | FloatArray, places: Sequence[int] | _Counts
) -> float:
    """Exact one-sided p that events of one rate fall so late, given how many there are.

    Given their number, each event falls into a match with the chance of its share of the exposure; the
    statistic is the sum of the events' places. Source: Cox and Lewis, The Statistical Analysis of Series of
    Events (1966), section 3.3, here for grouped events; by the normal curve for more than a hundred.
    """
    seen, at = np.asarray(counts), np.asarray(places) - np.min(places)
    exposure = np.asarray(exposures, dtype=np.float64)
    events = int(seen.sum())
    if events > _EXACT_UP_TO_EVENTS:
        return _normal_tail(_lateness(seen, exposure, at))
    share = np.zeros(int(at.max()) + 1)
    share[at] = exposure / exposure.sum()
    chance = np.ones(1)
    for _ in range(events):
        chance = np.convolve(chance, share)
    return min(1.0, float(chance[int(at @ seen) :].sum()))


def clustering(counts: _Counts, exposures: FloatArray, at: _Counts) -> float:
    """How far counts scatter about a straight line, as a multiple of what Poisson's would; 1 at least.

    Pearson's statistic over its degrees of freedom. Source: McCullagh and Nelder, Generalized Linear Models,
    2nd ed. (1989), section 4.5 (from memory). About a line: a true rise must not pass for clusters.
    """
    if len(counts) < 3 or counts.sum() == 0:
        return 1.0
    mean = counts.sum() / exposures.sum()
    middle = exposures @ at / exposures.sum()
    weighed = exposures * (at - middle)
    line = mean + (weighed @ (counts / exposures)) / (weighed @ (at - middle)) * (at - middle)
    expected = exposures * np.maximum(line, _LEAST_SHARE_OF_MEAN * mean)
    expected *= counts.sum() / expected.sum()
    return max(1.0, float(((counts - expected) ** 2 / expected).sum()) / (len(counts) - 2))


def _lateness(counts: _Counts, exposures: FloatArray, at: _Counts) -> float:
    """How much later events fall than at one rate, in standard deviations of Poisson's; 0 without events."""
    share = exposures / exposures.sum()
    usual = float(share @ at)
    events, variance = int(counts.sum()), float(share @ (at - usual) ** 2)
    return (
        (float(at @ counts) - events * usual) / math.sqrt(events * variance) if events and variance else 0.0
    )


def _normal_tail(z: float) -> float:
    return math.erfc(z / math.sqrt(2)) / 2

"""Trends, shifts and waiting times by order alone: no shape of a distribution is assumed.

Methods: Mann–Kendall and Theil–Sen for a trend, Pettitt for the place of a step, Hodges–Lehmann for a shift
between two groups, Kaplan–Meier for times some of which were still running when they were last seen.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from telemetry.dataclass import dataclass
from telemetry.log import FloatArray

__all__ = [
    "MannKendall", "Shift", "Slope", "StepPlace", "Survival", "hodges_lehmann", "kaplan_meier", "log_rank",
    "mann_kendall", "pettitt", "theil_sen", "walsh_shift",
]  # fmt: skip

_EXACT_UP_TO = 30
_Z = 1.959963984540054


@dataclass(frozen=True)
class MannKendall:
    """A test for a monotone trend: S, its variance and normal score, and p on both sides.

    `rising_p` is one-sided: the chance of an S at least as high without a trend. `exact` tells whether p
    counts arrangements or takes the normal curve.
    """

    s: int
    variance: float
    z: float
    p: float
    rising_p: float
    exact: bool


@dataclass(frozen=True)
class Slope:
    """A slope with its interval; None where there are too few points for one."""

    slope: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class StepPlace:
    """The likeliest place of one step: after how many values, with Pettitt's K and its approximate p."""

    after: int
    k: float
    p: float


@dataclass(frozen=True)
class Shift:
    """By how much one group lies above another; interval None where the values are too few for one."""

    shift: float
    low: float | None
    high: float | None
    p: float


@dataclass(frozen=True, eq=False)
class Survival:
    """The share still running after each time at which something ended; arrays have shape (k,)."""

    t: FloatArray
    share: FloatArray
    standard_error: FloatArray

    @property
    def median(self) -> float | None:
        """The first time at which half or fewer are still running; None where it never comes to that."""
        reached = np.flatnonzero(self.share <= 0.5)
        return float(self.t[reached[0]]) if len(reached) else None

    def restricted_mean(self, until: float) -> float:
        """The mean time, counting at most `until`: the area under the curve up to there."""
        inside = self.t < until
        edges = np.concatenate(([0.0], self.t[inside], [until]))
        return float(np.diff(edges) @ np.concatenate(([1.0], self.share[inside])))


def mann_kendall(values: ArrayLike, *, method: Literal["auto", "exact", "normal"] = "auto") -> MannKendall:
    """Mann–Kendall test of values in order, shape (n,).

    Exact p, ties included, for up to 30 values, else by the normal curve with continuity and tie correction.
    Source: Mann, Econometrica 13 (1945); Kendall, Rank Correlation Methods (1975), ch. 4 for ties. The exact
    distribution is that of the inversions of the arrangements of the values as they are.
    """
    x = np.asarray(values, dtype=np.float64)
    n = len(x)
    s = round(float(np.sign(x[None, :] - x[:, None])[np.triu_indices(n, 1)].sum()))
    ties = np.unique(x, return_counts=True)[1]
    variance = (n * (n - 1) * (2 * n + 5) - float((ties * (ties - 1) * (2 * ties + 5)).sum())) / 18
    z = (s - math.copysign(min(abs(s), 1), s)) / math.sqrt(variance) if variance > 0 else 0.0
    if method == "normal" or (method == "auto" and n > _EXACT_UP_TO):
        rising_p = 0.5 * math.erfc((s - 1) / math.sqrt(2 * variance)) if variance > 0 else 1.0
        return MannKendall(s, variance, z, math.erfc(abs(z) / math.sqrt(2)), min(1.0, rising_p), False)
    scores, chance = _kendall_distribution(ties.tolist())
    p = float(chance[np.abs(scores) >= abs(s)].sum())
    return MannKendall(s, variance, z, min(1.0, p), min(1.0, float(chance[scores >= s].sum())), True)


def theil_sen(x: ArrayLike, y: ArrayLike) -> Slope:
    """The median of the slopes between all pairs of points, with its 95 % interval.

    Source: Sen, JASA 63 (1968); the interval between two of the ordered slopes by the exact distribution of
    Kendall's S (Hollander and Wolfe, Nonparametric Statistical Methods, section 9.3), for more than 30 points
    by its normal approximation. At least two different x are needed.
    """
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    first, second = np.triu_indices(len(xs), 1)
    apart = xs[second] - xs[first]
    differ = apart != 0
    slopes = np.sort((ys[second] - ys[first])[differ] / apart[differ])
    if not len(slopes):
        raise ValueError("no two points differ in x")
    place = _slopes_left_out(len(xs), len(slopes))
    if place < 1:
        return Slope(float(np.median(slopes)), None, None)
    return Slope(float(np.median(slopes)), float(slopes[place - 1]), float(slopes[len(slopes) - place]))


def pettitt(values: ArrayLike) -> StepPlace:
    """Where a single step in the values lies likeliest: Pettitt, Applied Statistics 28 (1979).

    p = 2·exp(−6K² / (n³ + n²)) is approximate.
    """
    x = np.asarray(values, dtype=np.float64)
    n = len(x)
    if n < 2:
        raise ValueError("a step needs at least two values")
    above = np.sign(x[:, None] - x[None, :])
    u = np.abs([above[:k, k:].sum() for k in range(1, n)])
    after = int(np.argmax(u)) + 1
    k = float(u[after - 1])
    return StepPlace(after, k, min(1.0, 2 * math.exp(-6 * k * k / (n**3 + n**2))))


def hodges_lehmann(x: ArrayLike, y: ArrayLike) -> Shift:
    """By how much x lies above y: the median of all differences, with 95 % interval and two-sided exact p.

    Source: Hodges and Lehmann, Annals of Mathematical Statistics 34 (1963); p and limits by the exact
    distribution of the rank-sum statistic (Mann and Whitney 1947), ties counted half in the statistic.
    """
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if not (len(xs) and len(ys)):
        raise ValueError("both groups need a value")
    differences = np.sort((xs[:, None] - ys[None, :]).ravel())
    chance = _rank_sum_distribution(len(xs), len(ys))
    u = float((differences > 0).sum() + 0.5 * (differences == 0).sum())
    centre = len(differences) / 2
    far = np.abs(np.arange(len(chance)) - centre) >= abs(u - centre) - 1e-9
    low, high = _ordered_limits(differences, chance)
    return Shift(float(np.median(differences)), low, high, min(1.0, float(chance[far].sum())))


def walsh_shift(differences: ArrayLike) -> Shift:
    """By how much paired values shifted: the median of the Walsh averages, 95 % interval, exact p.

    Source: Hollander and Wolfe, Nonparametric Statistical Methods, ch. 3 (signed-rank test of Wilcoxon).
    """
    d = np.asarray(differences, dtype=np.float64)
    if not len(d):
        raise ValueError("no values")
    first, second = np.triu_indices(len(d))
    walsh = np.sort((d[first] + d[second]) / 2)
    chance = np.ones(1)
    for rank in range(1, len(d) + 1):
        chance = (np.append(chance, np.zeros(rank)) + np.append(np.zeros(rank), chance)) / 2
    v = float((walsh > 0).sum() + 0.5 * (walsh == 0).sum())
    far = np.abs(np.arange(len(chance)) - len(walsh) / 2) >= abs(v - len(walsh) / 2) - 1e-9
    low, high = _ordered_limits(walsh, chance)
    return Shift(float(np.median(walsh)), low, high, min(1.0, float(chance[far].sum())))


def kaplan_meier(times: ArrayLike, ended: ArrayLike) -> Survival:
    """The share still running as time goes on; what had not ended when last seen counts as long as seen.

    Args:
        times: shape (n,), how long each ran.
        ended: shape (n,), whether it had ended by then; False for one cut short.

    Source: Kaplan and Meier, JASA 53 (1958); standard error by Greenwood (1926). What is cut short at the
    very time of an end still counts as running there.
    """
    t, event = np.asarray(times, dtype=np.float64), np.asarray(ended, dtype=bool)
    at, deaths = np.unique(t[event], return_counts=True)
    running = len(t) - np.searchsorted(np.sort(t), at, side="left")
    share = np.asarray(np.cumprod(1.0 - deaths / running), dtype=np.float64)
    spread = np.zeros(len(at))
    np.divide(deaths, running * (running - deaths), out=spread, where=running > deaths)
    error = np.where(running > deaths, share * np.sqrt(np.cumsum(spread)), np.nan)
    return Survival(at, share, np.asarray(error, dtype=np.float64))


def log_rank(
    times: ArrayLike, ended: ArrayLike, other_times: ArrayLike, other_ended: ArrayLike
) -> tuple[float, float]:
    """Whether two groups of running times differ: chi-squared with one degree of freedom, and p.

    Source: Mantel, Cancer Chemotherapy Reports 50 (1966), hypergeometric variance.
    """
    t, event = np.asarray(times, dtype=np.float64), np.asarray(ended, dtype=bool)
    u, other_event = np.asarray(other_times, dtype=np.float64), np.asarray(other_ended, dtype=bool)
    at = np.unique(np.concatenate((t[event], u[other_event])))
    own = (t[None, :] >= at[:, None]).sum(axis=1)
    both = own + (u[None, :] >= at[:, None]).sum(axis=1)
    own_ends = ((t[None, :] == at[:, None]) & event).sum(axis=1)
    ends = own_ends + ((u[None, :] == at[:, None]) & other_event).sum(axis=1)
    surplus = float((own_ends - ends * own / both).sum())
    share = own / both
    variance = float((ends * share * (1 - share) * (both - ends) / np.maximum(both - 1, 1)).sum())
    statistic = surplus**2 / variance if variance > 0 else 0.0
    return statistic, math.erfc(math.sqrt(statistic / 2))


def _kendall_distribution(ties: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    """Every value that S can take for groups of so many equal values, and its chance; shapes (k,).

    The inversions of the arrangements of a multiset have the q-multinomial coefficient as their generating
    function: for each group, times (1 − q^(m+i)) over (1 − q^i). Whole numbers throughout.
    """
    n, pairs = sum(ties), sum(ties) * (sum(ties) - 1) // 2 - sum(t * (t - 1) // 2 for t in ties)
    ways = [0] * (pairs + 1)
    ways[0] = 1
    before = 0
    for size in ties:
        for i in range(1, size + 1):
            for place in range(pairs, before + i - 1, -1):
                ways[place] -= ways[place - before - i]
            for place in range(i, pairs + 1):
                ways[place] += ways[place - i]
        before += size
    total = math.factorial(n) // math.prod(math.factorial(t) for t in ties)
    chance = np.array([way / total for way in ways])
    return pairs - 2 * np.arange(pairs + 1, dtype=np.float64), chance


def _slopes_left_out(n: int, slopes: int) -> int:
    """How many of the ordered slopes from either end the 95 % limit stands at; 0 where it would be beyond."""
    if n > _EXACT_UP_TO:
        return max(0, int((slopes - _Z * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)) // 2))
    scores, chance = _kendall_distribution([1] * n)
    upper = np.cumsum(chance)
    beyond = scores[upper <= 0.025]
    return int((slopes - float(beyond.min())) // 2 + 1) if len(beyond) else 0


def _rank_sum_distribution(m: int, n: int) -> FloatArray:
    """Chance of U = 0 … m·n without ties, shape (m·n + 1,); of the normal curve where that is long."""
    size = m * n
    if size > 5000:
        centre, spread = size / 2, math.sqrt(size * (m + n + 1) / 12)
        density = np.exp(-0.5 * ((np.arange(size + 1) - centre) / spread) ** 2)
        return np.asarray(density / density.sum())
    return _kendall_distribution([m, n])[1]


def _ordered_limits(ordered: FloatArray, chance: FloatArray) -> tuple[float | None, float | None]:
    """The k-th from either end, where at most 2.5 % of the distribution lie below k."""
    k = int(np.count_nonzero(np.cumsum(chance) <= 0.025))
    if k < 1:
        return None, None
    return float(ordered[k - 1]), float(ordered[len(ordered) - k])

"""Exact tests and intervals for the few events of a match; descriptive numbers that do not round away."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.quantiles import gamma_quantile, log_choose, share_limit

__all__ = [
    "Chance", "MedianInterval", "Moments", "RateComparison", "adjusted_p", "chance_of_any", "clusters_in",
    "compare_rates", "e_test", "fisher_exact", "median_interval", "moments", "poisson_limits",
    "proportion_limits", "scatter_of",
]  # fmt: skip

_RELATIVE_ERROR = 1e-7
_PRIOR_MATCHES = 4
"""How many matches' worth the belief weighs that faults come one by one (our choice)."""


@dataclass(frozen=True)
class RateComparison:
    """A rate over another. `rate_ratio` and `high` are None where they are infinite or cannot be told."""

    rate_ratio: float | None
    low: float | None
    high: float | None
    p: float


@dataclass(frozen=True)
class Chance:
    """A probability with its interval."""

    probability: float
    low: float
    high: float


@dataclass(frozen=True)
class MedianInterval:
    """A median and the interval between two order statistics; None where the values are too few for one."""

    median: float
    low: float | None
    high: float | None
    level: float
    """The confidence the interval truly has, at least the one asked for; 0.0 where there is none."""


@dataclass(frozen=True)
class Moments:
    """Mean, standard deviation with n − 1, and lag-1 autocorrelation; None where they are not defined."""

    mean: float
    sd: float | None
    autocorrelation: float | None


def poisson_limits(count: int, *, level: float = 0.95) -> tuple[float, float]:
    """Exact limits of a Poisson mean for a count (Garwood, Biometrika 28, 1936); over time, of a rate."""
    tail = (1 - level) / 2
    low = gamma_quantile(count, tail) if count > 0 else 0.0
    return low, gamma_quantile(count + 1, 1 - tail)


def proportion_limits(successes: int, trials: int, *, level: float = 0.95) -> tuple[float, float]:
    """Exact limits for a proportion (Clopper and Pearson, Biometrika 26, 1934); (0, 1) without trials."""
    tail = (1 - level) / 2
    low = share_limit(successes, trials, tail) if successes > 0 else 0.0
    high = 1.0 - share_limit(trials - successes, trials, tail) if successes < trials else 1.0
    return low, high


def compare_rates(
    count: int, exposure_s: float, other_count: int, other_exposure_s: float, *, level: float = 0.95
) -> RateComparison:
    """The rate count / exposure over other_count / other_exposure, with exact limits and two-sided p.

    Given the sum of both, the first count is binomial with the first's share of the exposure; p sums every
    outcome not likelier than the observed one. Source: Przyborowski and Wilenski, Biometrika 31 (1940);
    limits by Clopper and Pearson. Any unit of exposure serves, the same for both.
    """
    if count < 0 or other_count < 0:
        raise ValueError("counts must be 0 or more")
    both = count + other_count
    if not (exposure_s > 0 and other_exposure_s > 0) or both == 0:
        return RateComparison(None, None, None, 1.0)
    scale = other_exposure_s / exposure_s
    low, high = proportion_limits(count, both, level=level)
    return RateComparison(
        rate_ratio=count / other_count * scale if other_count else None,
        low=low / (1 - low) * scale,
        high=high / (1 - high) * scale if high < 1.0 else None,
        p=_binomial_p(count, both, exposure_s / (exposure_s + other_exposure_s)),
    )


def e_test(count: int, exposure: float, other_count: int, other_exposure: float) -> tuple[float, float]:
    """Whether two Poisson rates differ, without holding their sum fixed: statistic and two-sided p.

    Source: Krishnamoorthy and Thomson, Journal of Statistical Planning and Inference 119 (2004): p by the
    common rate as estimated. Less cautious than `compare_rates` with few counts.
    """
    statistic = _scaled_difference(np.array(count), np.array(other_count), exposure, other_exposure)
    common = (count + other_count) / (exposure + other_exposure)
    first, chance = _poisson_pmf(common * exposure)
    second, other_chance = _poisson_pmf(common * other_exposure)
    all_statistics = _scaled_difference(first[:, None], second[None, :], exposure, other_exposure)
    far = np.abs(all_statistics) >= abs(float(statistic)) - 1e-12
    return float(statistic), min(1.0, float((chance[:, None] * other_chance[None, :])[far].sum()))


def fisher_exact(table: Sequence[Sequence[int]]) -> tuple[float, float]:
    """Whether two shares differ, for a table of two rows and two columns: p on both sides, and one-sided.

    Given all margins, the first cell is hypergeometric; the two-sided p sums every table not likelier than
    the one seen, the one-sided those with a first cell at least as large. Source: Fisher, The Design of
    Experiments (1935), ch. II.
    """
    (a, b), (c, d) = table
    row, column, total = a + b, a + c, a + b + c + d
    cells = np.arange(max(0, row + column - total), min(row, column) + 1)
    logs = log_choose(column)[cells] + log_choose(total - column)[row - cells]
    chance = np.exp(logs - log_choose(total)[row])
    seen = float(chance[cells == a][0])
    both = float(chance[chance <= seen * (1 + _RELATIVE_ERROR)].sum())
    return min(1.0, both), min(1.0, float(chance[cells >= a].sum()))


def chance_of_any(count: int, exposure: float, next_exposure: float, *, level: float = 0.9) -> Chance:
    """The chance of at least one event in the next exposure, after `count` events in an exposure above 0.

    Gamma–Poisson with the prior of Jeffreys, Gamma(1/2, 0): 1 − (T / (T + t))^(count + 1/2). The interval is
    that of the rate. Source: Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), section 2.6.
    """
    shape = count + 0.5
    share = next_exposure / exposure
    low, high = (
        -math.expm1(-share * gamma_quantile(shape, reached)) for reached in ((1 - level) / 2, (1 + level) / 2)
    )
    return Chance(-math.expm1(-shape * math.log1p(share)), low, high)


def scatter_of(*groups: Sequence[int]) -> float:
    """How far counts scatter about their group's mean, as a multiple of what Poisson's would; 1 at least.

    Pearson's statistic over its degrees of freedom, drawn towards 1 since few counts tell it badly; a group
    without any count above 0 tells nothing. Source: McCullagh and Nelder, Generalized Linear Models, 2nd ed.
    (1989), section 4.5 (from memory); how far it is drawn is our choice.
    """
    squares, freedom = float(_PRIOR_MATCHES), _PRIOR_MATCHES
    for counts in groups:
        usual = sum(counts) / max(len(counts), 1)
        if usual > 0:
            squares += sum((count - usual) ** 2 for count in counts) / usual
            freedom += len(counts) - 1
    return max(1.0, squares / freedom)


def clusters_in(counts: Sequence[int], scatter: float | None = None) -> int:
    """How many clusters faults by match are, by how far they scatter; at least 1 where there are any."""
    total = sum(counts)
    return max(1, round(total / (scatter or scatter_of(counts)))) if total else 0


def adjusted_p(p_values: ArrayLike, weights: ArrayLike | None = None) -> FloatArray:
    """P-values adjusted for the false discovery rate, in the order given, shape (n,).

    Source: Benjamini and Hochberg, JRSS B 57 (1995): the least m·p(j)/j over ranks j from its own up. With
    weights (above 0, chosen without looking at the p-values) each p is first divided by its weight over their
    mean: Genovese, Roeder and Wasserman, Biometrika 93 (2006).
    """
    values = np.asarray(p_values, dtype=np.float64)
    if weights is not None:
        share = np.asarray(weights, dtype=np.float64)
        values = values / share * share.mean() if len(values) else values
    order = np.argsort(values, kind="stable")
    scaled = values[order] * len(values) / np.arange(1, len(values) + 1)
    adjusted = np.empty_like(values)
    adjusted[order] = np.minimum(np.minimum.accumulate(scaled[::-1])[::-1], 1.0)
    return adjusted


def moments(values: ArrayLike) -> Moments:
    """Mean, standard deviation and lag-1 autocorrelation of at least one value, by two passes.

    The second pass takes deviations from the mean, so that large values that differ little keep their digits.
    r1 = Σ(x[i] − m)(x[i+1] − m) / Σ(x[i] − m)².
    """
    x = np.asarray(values, dtype=np.float64)
    if len(x) == 0:
        raise ValueError("no values")
    mean = float(x.mean())
    deviation = x - mean
    squares = float(deviation @ deviation)
    return Moments(
        mean=mean,
        sd=math.sqrt(squares / (len(x) - 1)) if len(x) > 1 else None,
        autocorrelation=float(deviation[:-1] @ deviation[1:]) / squares if squares > 0 else None,
    )


def median_interval(values: Sequence[float] | FloatArray, *, level: float = 0.95) -> MedianInterval:
    """The median with an interval between the k-th value from below and the k-th from above.

    k is the largest that keeps the confidence at `level`, by the binomial of a fair coin; no shape of the
    distribution is assumed. Source: David and Nagaraja, Order Statistics, 3rd ed. (2003), section 7.1. Fewer
    than six values give no interval at 95 %.
    """
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    n = len(ordered)
    if n == 0:
        raise ValueError("no values")
    below = np.cumsum(_binomial_pmf(n, 0.5))
    k = int(np.count_nonzero(1 - 2 * below[: (n + 1) // 2] >= level))
    if k == 0:
        return MedianInterval(float(np.median(ordered)), None, None, 0.0)
    true_level = float(1 - 2 * below[k - 1])
    return MedianInterval(float(np.median(ordered)), float(ordered[k - 1]), float(ordered[n - k]), true_level)


def _binomial_p(successes: int, trials: int, chance: float) -> float:
    """Two-sided exact p: every outcome not likelier than the observed one (within rounding)."""
    pmf = _binomial_pmf(trials, chance)
    unlikely = pmf <= pmf[successes] * (1 + _RELATIVE_ERROR)
    return min(1.0, math.fsum(pmf[unlikely].tolist()))


def _scaled_difference(
    count: FloatArray, other_count: FloatArray, exposure: float, other_exposure: float
) -> FloatArray:
    """The difference of two rates over its standard error; 0 where both counts are 0."""
    difference = count / exposure - other_count / other_exposure
    spread = np.sqrt(count / exposure**2 + other_count / other_exposure**2)
    return np.divide(difference, spread, out=np.zeros_like(difference + spread), where=spread > 0)


def _poisson_pmf(mean: float) -> tuple[FloatArray, FloatArray]:
    """Counts that hold all but 1e-12 of a Poisson distribution, and their chances."""
    reach = 8 * math.sqrt(mean) + 30
    counts = np.arange(max(0, math.floor(mean - reach)), math.ceil(mean + reach) + 1, dtype=np.float64)
    log_factorials = np.array([math.lgamma(k + 1) for k in counts.tolist()])
    return counts, np.exp(counts * math.log(mean) - mean - log_factorials) if mean > 0 else 1.0 * (
        counts == 0
    )


def _binomial_pmf(trials: int, chance: float) -> FloatArray:
    """Probability of 0 … trials successes, shape (trials + 1,), for 0 < chance < 1."""
    k = np.arange(trials + 1)
    logs = log_choose(trials) + k * math.log(chance) + (trials - k) * math.log1p(-chance)
    pmf: FloatArray = np.exp(logs)
    return pmf

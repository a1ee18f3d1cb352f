"""Quantiles of the gamma distribution and limits of a binomial share, from their own definitions.

Each is the point at which an exact sum of chances comes to the level asked for, found by halving. A few
hundred terms at most are summed, so that no match need wait for `scipy.special` to load, which takes as long
as numpy and polars together. Tests hold them against it.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from telemetry.log import FloatArray

__all__ = ["gamma_quantile", "log_choose", "share_limit"]


def gamma_quantile(shape: float, level: float) -> float:
    """The x below which a gamma variable of this shape (above 0) and scale 1 lies with the chance `level`.

    Its distribution function is the sum of x^(shape + n)·e^−x / Γ(shape + n + 1) over n = 0, 1, …, of which
    no term is negative. Source: NIST Digital Library of Mathematical Functions, 8.11.4.
    """
    highest = shape + 10.0 * math.sqrt(shape + 1.0) + 60.0
    steps = np.log(shape + np.arange(1.0, 2.0 * highest + 100.0))
    logs = np.cumsum(np.concatenate(([-math.lgamma(shape + 1.0)], -steps)))
    powers = shape + np.arange(len(logs))

    def below(x: float) -> float:
        return float(np.exp(logs + powers * math.log(x) - x).sum())

    return _point(below, level, highest)


def share_limit(successes: int, trials: int, tail: float) -> float:
    """The share at which so many successes or more, 1 at least, have the chance `tail` in so many trials.

    The sum of the binomial chances from `successes` up; the quantile of a beta distribution by another name.
    """
    counts = np.arange(successes, trials + 1, dtype=np.float64)
    logs = log_choose(trials)[successes:]

    def at_least(share: float) -> float:
        return float(np.exp(logs + counts * math.log(share) + (trials - counts) * math.log1p(-share)).sum())

    return _point(at_least, tail, 1.0)


def log_choose(trials: int) -> FloatArray:
    """Logarithms of the binomial coefficients 0 … trials out of `trials`, shape (trials + 1,)."""
    log_factorial = np.concatenate(([0.0], np.cumsum(np.log(np.arange(1, trials + 1)))))
    coefficients: FloatArray = log_factorial[-1] - log_factorial - log_factorial[::-1]
    return coefficients


def _point(rising: Callable[[float], float], level: float, high: float) -> float:
    """Where a function that rises from 0 past `level` reaches it below `high`, to the last digit."""
    low = 0.0
    while low < (middle := (low + high) / 2) < high:
        low, high = (middle, high) if rising(middle) < level else (low, middle)
    return middle

"""The thermal replica of a motor: how near its winding is to what it can bear.

A first-order replica as in IEC 60255-149:2013 (formerly IEC 60255-8): under a current I the level moves
towards (I / continuous current)² with one time constant. Level 1.0 is the limit; the continuous current just
reaches it in infinite time. The level is a share of the permitted temperature rise, not a temperature.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from telemetry.log import BoolArray, FloatArray

__all__ = [
    "cooled_level", "cooling_time_s", "operate_time_s", "safe_current_a", "thermal_level", "time_constant_s",
]  # fmt: skip

_BLOCK = 4.0
_COARSE = 64
_FORGOTTEN = 37.0
_TOLERANCE = 1e-13


def thermal_level(
    t_s: ArrayLike,
    current_a: ArrayLike,
    *,
    continuous_a: float,
    heating_s: float,
    cooling_s: float,
    initial: float = 0.0,
) -> FloatArray:
    """The level at each sample, shape (n,), exact for a current that holds from each sample to the next.

    Args:
        t_s: shape (n,), finite, non-decreasing seconds; steps may be uneven. Over a hole in the log the
            current before it holds: where it is known to have been off, put in a sample of 0 A.
        current_a: shape (n,), amperes, sign ignored. NaN holds the current before it (0 A at the start).
        continuous_a: what the motor carries for ever without overheating, above 0.
        heating_s: time constant while the level rises, above 0.
        cooling_s: time constant while it falls, above 0.
        initial: the level at the first sample, 0 or more.

    Source: IEC 60255-149:2013, first-order replica: H' = H·e + (I/Ib)²·(1 − e), e = exp(−dt / time constant).
    Which time constant a step takes depends on the level itself: a step is the greater (or lesser) of two
    straight lines in the level. So the whole is solved by policy iteration (Howard 1960): choose, solve the
    linear recurrence, choose again. The levels move one way from round to round, and settle after a few.
    """
    times = np.asarray(t_s, dtype=np.float64)
    current = np.asarray(current_a, dtype=np.float64)
    _refuse_bad_settings(times, current, continuous_a, heating_s, cooling_s, initial)
    if len(times) == 0:
        return np.empty(0)
    target = np.square(_held(current)[:-1] / continuous_a)
    return _settled(np.diff(times), target, (heating_s, cooling_s), initial)


def operate_time_s(ratio: ArrayLike, time_constant_s: float, *, level: ArrayLike = 0.0) -> FloatArray:
    """Seconds until the level reaches 1.0 at a steady current; infinite where it never does.

    Args:
        ratio: current / continuous current, any shape.
        time_constant_s: the heating time constant.
        level: where it starts; for a steady load before, that is (load / continuous current)².

    Source: IEC 60255-149:2013, hot curve: t = τ·ln((I² − Ip²) / (I² − Ib²)); cold with Ip = 0.
    """
    target, start = np.broadcast_arrays(
        np.square(np.asarray(ratio, dtype=np.float64)), np.asarray(level, dtype=np.float64)
    )
    wait = np.full(target.shape, np.inf)
    reaches = (target > 1.0) & (start < 1.0)
    wait[reaches] = time_constant_s * np.log((target[reaches] - start[reaches]) / (target[reaches] - 1.0))
    wait[start >= 1.0] = 0.0
    return wait


def cooling_time_s(
    level: ArrayLike, to_level: float, time_constant_s: float, *, ratio: float = 0.0
) -> FloatArray:
    """Seconds until the level has fallen to `to_level`, same shape as `level`; infinite where it never does.

    `ratio` is the current still flowing / continuous current, u its square. First-order decay:
    t = τ·ln((H0 − u) / (H1 − u)).
    """
    start = np.asarray(level, dtype=np.float64)
    rest = ratio**2
    if to_level <= rest:
        return np.where(start <= to_level, 0.0, np.inf)
    above = np.maximum(start, to_level) - rest
    return np.asarray(time_constant_s * np.log(above / (to_level - rest)))


def cooled_level(level: float, pause_s: float, cooling_s: float) -> float:
    """The level after a pause without current: what a motor carries from one match into the next."""
    return float(level * np.exp(-pause_s / cooling_s))


def time_constant_s(bears_s: float, ratio: float, *, level: float = 0.0) -> float:
    """The heating time constant of a motor that bears a multiple of its continuous current for so long.

    `level` is where it starts. The operate time solved for τ: t / ln((x² − H) / (x² − 1)). `ratio` above 1.
    """
    return bears_s / float(np.log((ratio**2 - level) / (ratio**2 - 1.0)))


def safe_current_a(level: float, rest_s: float, *, continuous_a: float, heating_s: float) -> float:
    """The steady current that brings the level from `level` to just 1.0 within `rest_s`; 0 above the limit.

    The heating equation solved for the current: I = Ib·√((1 − H·e) / (1 − e)), e = exp(−rest / τ). Source:
    IEC 60255-149:2013, first-order replica. `rest_s` must be above 0.
    """
    if level >= 1.0:
        return 0.0
    gained = -float(np.expm1(-rest_s / heating_s))
    return continuous_a * float(np.sqrt((1.0 - level * (1.0 - gained)) / gained))


def _refuse_bad_settings(
    times: FloatArray,
    current: FloatArray,
    continuous_a: float,
    heating_s: float,
    cooling_s: float,
    initial: float,
) -> None:
    if times.ndim != 1 or times.shape != current.shape:
        raise ValueError(f"t_s and current_a must have one shape (n,), not {times.shape} and {current.shape}")
    if not (continuous_a > 0 and heating_s > 0 and cooling_s > 0 and initial >= 0):
        raise ValueError("continuous_a, heating_s and cooling_s must be above 0, initial at least 0")


def _held(current: FloatArray) -> FloatArray:
    """NaN replaced by the last value before it, 0 where there is none."""
    known = np.isfinite(current)
    if known.all():
        return current
    last = np.maximum.accumulate(np.where(known, np.arange(len(current)), -1))
    return np.where(last >= 0, current[last], 0.0)


def _settled(
    step_s: FloatArray, target: FloatArray, constants_s: tuple[float, float], initial: float
) -> FloatArray:
    """The level at each edge of steps that heat or cool, shape (n + 1,).

    A step makes no difference between two levels greater, so what the wrong choices of a round changed, all
    added up, is the most by which its levels can be off.
    """
    heating_s, cooling_s = constants_s
    rising = _rising_at_first(step_s, target, constants_s, initial)
    while True:
        passed = np.minimum(step_s / np.where(rising, heating_s, cooling_s), _FORGOTTEN)
        level = _solve(passed, target, initial)
        before, rising = rising, target > level[:-1]
        wrong = np.flatnonzero(rising != before)
        if not len(wrong) or heating_s == cooling_s:
            return level
        other = np.exp(-step_s[wrong] / np.where(rising[wrong], heating_s, cooling_s))
        off = (target[wrong] - level[wrong]) * (np.exp(-passed[wrong]) - other)
        if float(np.abs(off).sum()) <= _TOLERANCE * max(1.0, float(level.max())):
            return level


def _rising_at_first(
    step_s: FloatArray, target: FloatArray, constants_s: tuple[float, float], initial: float
) -> BoolArray:
    """A first guess of where the level rises, shape (n,): by the same replica in much longer steps."""
    if len(step_s) < _COARSE**2:
        return np.asarray(target > initial)
    start = np.arange(0, len(step_s), _COARSE)
    together_s = np.add.reduceat(step_s, start)
    mean = np.add.reduceat(step_s * target, start) / np.maximum(together_s, np.finfo(float).tiny)
    level = _settled(together_s, mean, constants_s, initial)
    between = np.linspace(level[:-1], level[1:], _COARSE, endpoint=False, axis=1)
    return np.asarray(target > between.ravel()[: len(target)])


def _solve(passed: FloatArray, target: FloatArray, initial: float) -> FloatArray:
    """H[n+1] = target[n] + (H[n] − target[n])·exp(−passed[n]) from `initial`, shape (n + 1,).

    `passed` (n,) is each step in time constants. With G the exponential of their sum so far, H·G grows by
    target · (growth of G): no term is negative, so nothing cancels. Blocks of few time constants keep G
    within the range of a float.
    """
    level = np.empty(len(passed) + 1)
    level[0] = initial
    grown = np.ones(len(level))
    for start, end in _blocks(passed):
        grown[start] = 1.0
        np.exp(np.cumsum(passed[start:end]), out=grown[start + 1 : end + 1])
        gained = np.cumsum(np.diff(grown[start : end + 1]) * target[start:end])
        level[start + 1 : end + 1] = (level[start] + gained) / grown[start + 1 : end + 1]
    return level


def _blocks(passed: FloatArray) -> list[tuple[int, int]]:
    """Slices that cover all steps, each of about `_BLOCK` time constants."""
    if passed.sum() <= _BLOCK:
        return [(0, len(passed))]
    until = np.cumsum(passed)
    ends = np.searchsorted(until, np.arange(_BLOCK, until[-1], _BLOCK))
    return list(pairwise(np.unique(np.concatenate(([0], ends, [len(passed)]))).tolist()))

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
    step_s = np.diff(times)
    rising = target > initial
    heating, cooling = _steps(step_s, target, heating_s), _steps(step_s, target, cooling_s)
    level = _solve(np.where(rising, heating, cooling), initial)
    while heating_s != cooling_s:
        before, rising_before = level, rising
        rising = target > level[:-1]
        if np.array_equal(rising, rising_before):
            break
        level = _solve(np.where(rising, heating, cooling), initial)
        if np.max(np.abs(level - before)) <= _TOLERANCE * max(1.0, float(level.max())):
            break
    return level


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


def _steps(step_s: FloatArray, target: FloatArray, constant_s: float) -> FloatArray:
    """Of each step what it takes in time constants, and target · (1 − e) with e = exp(−that), (2, n)."""
    decrement = np.minimum(step_s / constant_s, _FORGOTTEN)
    return np.stack((decrement, -np.expm1(-decrement) * target))


def _solve(steps: FloatArray, initial: float) -> FloatArray:
    """H[n+1] = H[n]·e[n] + gain[n] with e = exp(−decrement), shape (n + 1,); `steps` (2, n) are these.

    Within a block of few time constants, H = decay · (start + cumulative sum of inputs / decay). No term is
    negative, so nothing cancels; blocks keep 1 / decay within the range of a float.
    """
    decrement, gain = steps
    level = np.empty(len(decrement) + 1)
    level[0] = initial
    for start, end in _blocks(decrement):
        growth = np.exp(np.cumsum(decrement[start:end]))
        level[start + 1 : end + 1] = (level[start] + np.cumsum(gain[start:end] * growth)) / growth
    return level


def _blocks(decrement: FloatArray) -> list[tuple[int, int]]:
    """Slices that cover all steps, each of about `_BLOCK` time constants."""
    number = np.floor(np.cumsum(decrement) / _BLOCK)
    changes: BoolArray = np.diff(number) > 0
    edges = [0, *(np.flatnonzero(changes) + 1).tolist(), len(decrement)]
    return [(start, end) for start, end in pairwise(edges) if end > start]

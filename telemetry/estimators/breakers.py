"""How far each breaker got along its time-current curve."""

from __future__ import annotations

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.motors import supply_current_a
from telemetry.log import FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor
from telemetry.signals import filled, hold_s, runs

__all__ = ["GENERAL_CURVE", "BreakerLoad", "breaker_load", "curve_of", "trip_time_s"]

GENERAL_CURVE = ((1.35, 60.0), (2.0, 4.0), (6.0, 0.5))
"""Multiples of the rating and least seconds to trip where the robot file gives no curve: the lower edge of a
resetting thermal breaker (common practice, no source; within the limits of IEC 60898-1, Table 7)."""


@dataclass(frozen=True, eq=False)
class BreakerLoad:
    """Multiple of the rating and fraction of the curve used up at each sample, shape (n,)."""

    t_s: FloatArray
    multiple: FloatArray
    fraction: FloatArray


def curve_of(motor: Motor) -> tuple[tuple[float, float], ...]:
    """The motor's own curve in the order of current, or the general one."""
    return tuple(sorted(motor.breaker_curve)) if motor.breaker_curve else GENERAL_CURVE


def trip_time_s(multiple: FloatArray, curve: tuple[tuple[float, float], ...]) -> FloatArray:
    """Least seconds to trip at a steady multiple of the rating, same shape.

    Straight between the points of the curve on double-logarithmic paper, as such curves are drawn; infinite
    below its first point; beyond its last, heat without loss (I²t constant).
    """
    at = np.log(np.array([point[0] for point in curve]))
    log_s = np.log(np.array([point[1] for point in curve]))
    log_multiple = np.log(np.maximum(multiple, 1e-9))
    inside = np.exp(np.interp(log_multiple, at, log_s) - 2 * np.maximum(log_multiple - at[-1], 0.0))
    return np.where(multiple >= curve[0][0], inside, np.inf)


def breaker_load(trace: MotorTrace, motor: Motor) -> BreakerLoad | None:
    """The load of a motor's breaker, or None where its rating or its supply-side current is not known.

    The fraction grows by dt / trip time while the current is on the curve, and dies away with the longest
    time of the curve while it is not: what a breaker has taken it gives off about as slowly as it took it
    (our choice; a curve tells nothing of recovery). Over a gap it dies away.
    """
    drawn_a = np.maximum(filled(supply_current_a(trace)), 0.0)
    if motor.breaker_a is None or not np.isfinite(supply_current_a(trace)).any():
        return None
    curve = curve_of(motor)
    multiple = drawn_a / motor.breaker_a
    apart_s = np.diff(trace.t_s)
    on = np.flatnonzero(multiple >= curve[0][0])
    per_s = np.zeros(len(multiple))
    per_s[on] = 1.0 / trip_time_s(multiple[on], curve)
    rate = np.where(apart_s <= hold_s(trace.t_s), (per_s[1:] + per_s[:-1]) / 2, 0.0)
    return BreakerLoad(trace.t_s, multiple, _accumulated(rate * apart_s, trace.t_s / curve[0][1]))


def _accumulated(gain: FloatArray, passed: FloatArray) -> FloatArray:
    """From 0 up by `gain` (n,) where there is one, else dying away over `passed` time constants (n + 1,)."""
    fraction = np.zeros(len(passed))
    first, last = runs(gain > 0)
    total = np.concatenate(([0.0], np.cumsum(gain))) if len(first) else fraction
    level, at = 0.0, 0
    for start, stop in zip(first.tolist(), last.tolist(), strict=True):
        if level:
            fraction[at : start + 1] = level * np.exp(passed[at] - passed[at : start + 1])
        fraction[start : stop + 1] = fraction[start] + total[start : stop + 1] - total[start]
        level, at = float(fraction[stop]), stop
    if level:
        fraction[at:] = level * np.exp(passed[at] - passed[at:])
    return fraction

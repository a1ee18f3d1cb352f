"""How far each breaker got along its time-current curve."""

from __future__ import annotations

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.motors import supply_current_a
from telemetry.log import FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor
from telemetry.signals import hold_s, runs

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
    drawn_a = np.maximum(np.nan_to_num(supply_current_a(trace)), 0.0)
    if motor.breaker_a is None or not np.isfinite(supply_current_a(trace)).any():
        return None
    curve = curve_of(motor)
    multiple = drawn_a / motor.breaker_a
    apart_s = np.diff(trace.t_s)
    per_s = 1.0 / trip_time_s(multiple, curve)
    rate = np.where(apart_s <= hold_s(trace.t_s), (per_s[1:] + per_s[:-1]) / 2, 0.0)
    kept = np.exp(-np.where(rate > 0, 0.0, apart_s) / curve[0][1])
    return BreakerLoad(trace.t_s, multiple, _accumulated(rate * apart_s, kept))


def _accumulated(gain: FloatArray, kept: FloatArray) -> FloatArray:
    """F[n+1] = F[n] · kept[n] + gain[n] from 0, shape (n + 1,), where a step either gains or loses."""
    fraction = np.zeros(len(gain) + 1)
    total = np.concatenate(([0.0], np.cumsum(gain)))
    decay = np.concatenate(([0.0], np.cumsum(np.log(kept))))
    first, last = runs(gain > 0)
    level, at = 0.0, 0
    for start, stop in zip(first.tolist(), last.tolist(), strict=True):
        fraction[at : start + 1] = level * np.exp(decay[at : start + 1] - decay[at])
        level = float(fraction[start])
        fraction[start : stop + 1] = level + total[start : stop + 1] - total[start]
        level, at = float(fraction[stop]), stop
    fraction[at:] = level * np.exp(decay[at:] - decay[at])
    return fraction

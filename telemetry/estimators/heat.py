"""How near each motor comes to the heat it can bear, over gaps as well."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.log import FloatArray
from telemetry.match import Match
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor
from telemetry.signals import GAP_PERIODS, period_s
from telemetry.thermal import operate_time_s, safe_current_a, thermal_level

__all__ = [
    "AROUND_GAP_S", "heat_is_told", "heat_level", "heating_steps", "next_match_safe_a", "peaks_and_ends",
    "time_left_s",
]  # fmt: skip

AROUND_GAP_S = 5.0
"""Over a gap in its current a motor is taken to have carried on as it did in so much time on either side."""

TOLD_WITHIN = 0.03
"""A heat that is known less well is told as a range, not as a number (our choice)."""

_RECENT_S = 30.0
_LONG_STEP_S = 0.1
"""Steps in which heat that was there at the start is followed: short against minutes (our choice)."""


def heat_level(t_s: FloatArray, current_a: FloatArray, motor: Motor, *, initial: float = 0.0) -> FloatArray:
    """The thermal level at each sample, shape (n,), from `initial` on; NaN where too little is told.

    Without a cooling time constant it cools as fast as it heats.
    """
    heating = motor.heating_time_constant_s
    if motor.continuous_current_a is None or heating is None:
        return np.full(len(t_s), np.nan)
    edges_s, held_a = heating_steps(t_s, current_a)
    level = _level_at_edges(edges_s, held_a, motor, initial)
    if len(held_a) == len(t_s):
        begun_s, before = edges_s[:-1], level[:-1]
    else:
        edge = np.clip(np.searchsorted(edges_s, t_s, side="right") - 1, 0, len(held_a) - 1)
        begun_s, before, held_a = edges_s[edge], level[edge], held_a[edge]
    target = np.square(held_a / motor.continuous_current_a)
    constant_s = np.where(target > before, heating, motor.cooling_time_constant_s or heating)
    return np.asarray(target + (before - target) * np.exp((begun_s - t_s) / constant_s))


def heat_is_told(trace: MotorTrace) -> bool:
    """Whether its heat is known everywhere, to 0.03 of the limit (3 % above it)."""
    if not np.isfinite(trace.heat).all():
        return False
    most = trace.heat_high if len(trace.heat_high) else trace.heat
    return bool(np.all(most - trace.heat <= TOLD_WITHIN * np.maximum(trace.heat, 1.0)))


def peaks_and_ends(
    t_s: FloatArray, current_a: FloatArray, motor: Motor, starts: Sequence[float], cold: FloatArray
) -> list[tuple[float, float]]:
    """The highest level and the last, from each of several levels at the start; empty where not told.

    `cold` is the level at each sample from the first of `starts`. What a warmer start adds to that is worked
    out in long steps, since it decays over minutes.
    """
    if motor.continuous_current_a is None or motor.heating_time_constant_s is None or not len(t_s):
        return []
    edges_s, held_a = _in_long_steps(*heating_steps(t_s, current_a))
    levels = [_level_at_edges(edges_s, held_a, motor, start) for start in starts]
    highest = _highest_of_each(cold, max(1, len(cold) // len(held_a)))
    more = [np.interp(t_s[highest], edges_s, level - levels[0]) for level in levels]
    return [(float((cold[highest] + added).max()), float(cold[-1] + added[-1])) for added in more]


def _highest_of_each(level: FloatArray, together: int) -> NDArray[np.int64]:
    """Where the level is highest among each so many samples, besides the first and the last of all."""
    whole = len(level) // together * together
    best = level[:whole].reshape(-1, together).argmax(axis=1) + np.arange(0, whole, together)
    return np.concatenate(([0], best, np.arange(whole, len(level)), [len(level) - 1]))


def _in_long_steps(edges_s: FloatArray, held_a: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The same current in fewer steps: over each the root of its mean square."""
    together = max(1, int(_LONG_STEP_S * len(held_a) / max(edges_s[-1] - edges_s[0], _LONG_STEP_S)))
    first = np.arange(0, len(held_a), together)
    charge = np.add.reduceat(np.nan_to_num(held_a) ** 2 * np.diff(edges_s), first)
    long_s = np.append(edges_s[first], edges_s[-1])
    lasting_s = np.maximum(np.diff(long_s), np.finfo(float).tiny)
    return long_s, np.sqrt(charge / lasting_s)


def _level_at_edges(edges_s: FloatArray, held_a: FloatArray, motor: Motor, initial: float) -> FloatArray:
    heating = motor.heating_time_constant_s or 0.0
    return thermal_level(
        edges_s,
        np.append(held_a, 0.0),
        continuous_a=motor.continuous_current_a or 0.0,
        heating_s=heating,
        cooling_s=motor.cooling_time_constant_s or heating,
        initial=initial,
    )


def heating_steps(t_s: FloatArray, current_a: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The current as steps: edges, shape (k + 1,), and the current between each two, shape (k,).

    Each sample stands from halfway to the one before until halfway to the next. Over a gap (more than three
    periods) it stands for half a period; in between is the root mean square of all samples within
    `AROUND_GAP_S` of either side: neither no current at all, nor the last one held on.
    """
    if len(t_s) < 2:
        return np.append(t_s, t_s[-1:]), current_a
    edges_s = np.concatenate((t_s[:1], (t_s[1:] + t_s[:-1]) / 2, t_s[-1:]))
    usual_s = period_s(t_s)
    last = np.flatnonzero(np.diff(t_s) > GAP_PERIODS * usual_s)
    half_s = usual_s / 2
    edges_s[last + 1] = t_s[last] + half_s
    over_gap_a = [_around_gap_a(t_s, current_a, int(index)) for index in last]
    return np.insert(edges_s, last + 2, t_s[last + 1] - half_s), np.insert(current_a, last + 1, over_gap_a)


def _around_gap_a(t_s: FloatArray, current_a: FloatArray, last: int) -> float:
    """Root mean square on either side of the gap behind a sample."""
    around = slice(*np.searchsorted(t_s, (t_s[last] - AROUND_GAP_S, t_s[last + 1] + AROUND_GAP_S)))
    return float(np.sqrt(np.mean(current_a[around] ** 2)))


def time_left_s(trace: MotorTrace, motor: Motor, match: Match, *, at_s: float | None = None) -> float | None:
    """Seconds to the limit at the load of the last half minute, from an instant (by default the match's end).

    None where it would never get there, or where nothing is known of its heat.
    """
    heating_s = motor.heating_time_constant_s
    if heating_s is None or motor.continuous_current_a is None or not len(trace.t_s):
        return None
    until_s = min(match.end_s if at_s is None else at_s, float(trace.t_s[-1]))
    recent = (trace.t_s > until_s - _RECENT_S) & (trace.t_s <= until_s)
    if not recent.any():
        return None
    load_a = float(np.sqrt(np.mean(trace.current_a[recent] ** 2)))
    level = float(trace.heat[np.flatnonzero(recent)[-1]])
    wait_s = float(operate_time_s(load_a / motor.continuous_current_a, heating_s, level=level))
    return wait_s if np.isfinite(wait_s) else None


def next_match_safe_a(trace: MotorTrace, motor: Motor, match: Match) -> float | None:
    """The steady current that another match at once, as long, could bear; None without heat."""
    heating_s = motor.heating_time_constant_s
    length_s = match.end_s - match.start_s
    if heating_s is None or motor.continuous_current_a is None or length_s <= 0 or not len(trace.heat):
        return None
    return safe_current_a(
        float(trace.heat[-1]), length_s, continuous_a=motor.continuous_current_a, heating_s=heating_s
    )

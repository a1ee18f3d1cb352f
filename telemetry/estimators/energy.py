"""Energy and charge: over a match, by phase, by mechanism."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.estimators.motors import supply_current_a
from telemetry.log import FloatArray
from telemetry.match import Match
from telemetry.records.motors import MotorTrace
from telemetry.robot import Robot
from telemetry.signals import filled, hold_s

__all__ = ["by_mechanism_wh", "by_phase", "motor_power_w", "running_integral"]


def running_integral(t_s: FloatArray, values: FloatArray) -> FloatArray:
    """The trapezoidal integral from the first sample up to each, shape (n,); gaps and NaN add nothing."""
    apart_s = np.diff(t_s)
    area = apart_s * (values[1:] + values[:-1]) / 2
    return np.concatenate(([0.0], np.cumsum(np.where(apart_s <= hold_s(t_s), filled(area), 0.0))))


def by_phase(match: Match, t_s: FloatArray, running: FloatArray) -> dict[str, float]:
    """What a running integral gains in each kind of phase of a match, in the phases' own order."""
    gained: dict[str, float] = {}
    for phase in match.phases:
        start, end = np.interp((phase.start_s, phase.end_s), t_s, running)
        gained[phase.phase] = gained.get(phase.phase, 0.0) + float(end - start)
    return gained


def motor_power_w(trace: MotorTrace) -> FloatArray | None:
    """What a motor takes from the battery, shape (n,); None where that cannot be told."""
    taken_a = supply_current_a(trace)
    if not np.isfinite(taken_a).any() or len(trace.voltage_v) != len(taken_a):
        return None
    return np.asarray(taken_a * trace.voltage_v)


def by_mechanism_wh(robot: Robot, energies_wh: Mapping[str, float | None]) -> dict[str, float]:
    """The energy of each mechanism, that of its motors together; a motor without one stands alone.

    Left out where one of its motors cannot be told.
    """
    together: dict[str, list[float | None]] = {}
    for name, motor in robot.motors.items():
        together.setdefault(motor.mechanism or name, []).append(energies_wh.get(name))
    return {
        mechanism: sum(part for part in parts if part is not None)
        for mechanism, parts in together.items()
        if all(part is not None for part in parts)
    }

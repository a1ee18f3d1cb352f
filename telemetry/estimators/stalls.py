"""When a motor stood, or nearly stood, against its voltage; and its match in a few numbers."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from telemetry.analysis import MotorStates, MotorTrace, MotorUse
from telemetry.estimators.motors import supply_current_a
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.motor_model import MotorModel
from telemetry.robot import Motor, Robot
from telemetry.signals import at_instants, hold_s, integral, runs, spans

__all__ = ["NEAR_STALL_SHARE", "STALL_SHARE", "find_stalls", "sum_up_use"]

STALL_SHARE, NEAR_STALL_SHARE = 0.05, 0.20
"""Speed below these shares of the free speed is a stall, near stall (contract)."""
STALL_LEAST_S, NEAR_STALL_LEAST_S = 0.25, 0.5
"""The least time each lasts (contract)."""

_SPIN_UPS = 2.0
_LEAST_SPIN_UPS = 3
_BRIDGE_S = 0.05
_LEAST_OF_STALL_CURRENT = 0.25
_MOST_OF_STALL_CURRENT = 1.15
_ROUNDING_S = 1e-6


def find_stalls(robot: Robot, motors: Mapping[str, MotorTrace], end_s: float) -> Mapping[str, MotorStates]:
    """Stall and near-stall of every motor whose speed can be compared with its data sheet."""
    found = {}
    for name, trace in motors.items():
        model = MotorModel.from_motor(robot.motors[name])
        if model is not None and np.isfinite(trace.speed_share).any():
            found[name] = _states(trace, model, end_s)
    return MappingProxyType(found)


def _states(trace: MotorTrace, model: MotorModel, end_s: float) -> MotorStates:
    loaded = trace.driven & _draws_like_a_stall(trace, model)
    share = np.nan_to_num(trace.speed_share, nan=np.inf)
    stalled = loaded & (share < STALL_SHARE)
    slow = loaded & (share < NEAR_STALL_SHARE)
    spin_up_s = _spin_up_s(trace, NEAR_STALL_SHARE)
    stall = _lasting(trace, stalled, STALL_LEAST_S, end_s)
    slow_otherwise = slow & ~_within(trace.t_s, stall)
    near = _lasting(trace, slow_otherwise, max(NEAR_STALL_LEAST_S, _SPIN_UPS * spin_up_s), end_s)
    return MotorStates(stall, near, spin_up_s)


def _draws_like_a_stall(trace: MotorTrace, model: MotorModel) -> BoolArray:
    """Neither without load (no draw) nor braking against its own rotation, which takes more than a stall."""
    stall_a = trace.applied_v / model.resistance_ohm
    most = np.inf if trace.speed_source == "channel" else _MOST_OF_STALL_CURRENT
    held = np.nan_to_num(stall_a)
    enough = trace.current_a >= _LEAST_OF_STALL_CURRENT * held
    return np.asarray(enough & (trace.current_a <= np.where(held > 0, most, np.inf) * np.maximum(held, 1e-9)))


def _spin_up_s(trace: MotorTrace, share: float) -> float:
    """Usual time from the start of a drive until the speed passes a share of the free speed; 0 if unknown.

    Learned from the log: the median over starts that got there.
    """
    first, last = runs(trace.driven)
    fast = np.flatnonzero(np.nan_to_num(trace.speed_share) >= share)
    got_there = np.searchsorted(fast, first)
    reached = np.append(fast, len(trace.t_s))[got_there]
    came = reached < last
    if came.sum() < _LEAST_SPIN_UPS:
        return 0.0
    return float(np.median(trace.t_s[reached[came]] - trace.t_s[first[came]]))


def _lasting(trace: MotorTrace, flagged: BoolArray, least_s: float, end_s: float) -> FloatArray:
    found = spans(trace.t_s, flagged, end_s, hold_s(trace.t_s), bridge_s=_BRIDGE_S)
    return np.asarray(found[found[:, 1] - found[:, 0] >= least_s - _ROUNDING_S])


def _within(t_s: FloatArray, intervals_s: FloatArray) -> BoolArray:
    if not len(intervals_s):
        return np.zeros(len(t_s), dtype=bool)
    number = np.searchsorted(intervals_s[:, 0], t_s, side="right") - 1
    return np.asarray((number >= 0) & (t_s < intervals_s[np.maximum(number, 0), 1]))


def sum_up_use(
    log: Log, robot: Robot, motors: Mapping[str, MotorTrace], states: Mapping[str, MotorStates]
) -> Mapping[str, MotorUse]:
    """Each motor's match in a few numbers."""
    return MappingProxyType(
        {
            name: _use(log, robot, robot.motors[name], trace, states.get(name))
            for name, trace in motors.items()
        }
    )


def _use(log: Log, robot: Robot, motor: Motor, trace: MotorTrace, states: MotorStates | None) -> MotorUse:
    heated = bool(np.isfinite(trace.heat).all())
    return MotorUse(
        peak_current_a=float(trace.current_a.max()),
        stall_s=_total_s(states.stall) if states else None,
        near_stall_s=_total_s(states.near_stall) if states else None,
        peak_heat=float(trace.heat.max()) if heated else None,
        end_heat=float(trace.heat[-1]) if heated else None,
        energy_wh=_energy_wh(log, robot, motor, trace),
    )


def _total_s(intervals_s: FloatArray) -> float:
    return float((intervals_s[:, 1] - intervals_s[:, 0]).sum())


def _energy_wh(log: Log, robot: Robot, motor: Motor, trace: MotorTrace) -> float | None:
    """Energy out of the battery; None where no command tells the supply side of the current."""
    taken_a = supply_current_a(trace)
    if not np.isfinite(taken_a).any():
        return None
    channel = log.channels.get(robot.supply.voltage) if robot.supply.voltage else None
    voltage_v = np.full(len(trace.t_s), motor.nominal_v)
    if channel is not None and len(channel.values):
        logged_v = at_instants(channel.t_s, channel.canonical(), trace.t_s)
        voltage_v = np.where(np.isfinite(logged_v), logged_v, motor.nominal_v)
    return integral(trace.t_s, np.nan_to_num(taken_a) * voltage_v, hold_s(trace.t_s)) / 3600

"""What a motor's current alone, without speed and command, says of stalls.

Whatever the duty d, a motor that draws I turns at (d·V − I·R) / k, and d is at most 1. So the current bounds
its speed: as a share of the free speed it is at most 1 − I·R / V. The other way round a stall at a duty of
0.2, below which nothing counts as driven, cannot draw less than 0.2·V / R. What lies between may be a stall
at part duty or honest load. A current of the supply side, d times the winding's, bounds the speed alike.
"""

from __future__ import annotations

import numpy as np

from telemetry.copper import ALPHA20_PER_K
from telemetry.estimators.motors import winding_ohm
from telemetry.log import FloatArray
from telemetry.motor_model import MotorModel
from telemetry.records.motors import MotorStates, MotorTrace
from telemetry.robot import Motor
from telemetry.signals import lasting, within

__all__ = ["states_by_current"]

_STALL_LOAD, _NEAR_STALL_LOAD = 0.88, 0.75
"""I·R / V from which it stands, and hardly turns. 1 − these, 12 and 25 %, leave room for a data sheet and a
battery that are not known to a few per cent (our choice)."""
_MOST_LOAD = 1.5
_DRIVEN, _NEAR_STALL_SHARE = 0.2, 0.2
_HOTTEST_RISE_K = 120.0
_BRIDGE_S = 0.08
_GROWS = 1.08


def states_by_current(
    trace: MotorTrace, motor: Motor, model: MotorModel, end_s: float, *, least_s: tuple[float, float]
) -> MotorStates:
    """Stall and near stall as far as the current tells; `least_s` is the least time of each.

    `unsure_a` of the result is the greatest current that lasted as long as a stall and may have been one.
    """
    load = (
        trace.current_a * winding_ohm(model, trace.heat) / np.maximum(trace.voltage_v, 0.1 * model.nominal_v)
    )
    load = np.where(load <= _MOST_LOAD, load, 0.0)
    stall = _standing(trace, load, _STALL_LOAD, least_s[0], end_s)
    beside = ~within(trace.t_s, stall)
    near = _standing(trace, np.where(beside, load, 0.0), _NEAR_STALL_LOAD, least_s[1], end_s)
    duty = _DRIVEN**2 if motor.current_side == "supply" else _DRIVEN
    hidden = load * (1 + ALPHA20_PER_K * _HOTTEST_RISE_K) >= (1 - _NEAR_STALL_SHARE) * duty
    spells = lasting(trace.t_s, hidden, least_s[0], end_s, bridge_s=_BRIDGE_S)
    told = np.concatenate((stall, near))
    unsure = [spell for spell in spells.tolist() if not _meets(spell, told)]
    unsure_a = max((_middle_a(trace, spell) for spell in unsure), default=None)
    return MotorStates(stall, near, 0.0, told_by="current alone", unsure_a=unsure_a)


def _standing(
    trace: MotorTrace, load: FloatArray, least_load: float, least_s: float, end_s: float
) -> FloatArray:
    found = lasting(trace.t_s, load >= least_load, least_s, end_s, bridge_s=_BRIDGE_S)
    kept = [one for one in found.tolist() if not _gains_speed(trace.t_s, load, one)]
    return np.asarray(kept).reshape(-1, 2)


def _gains_speed(t_s: FloatArray, load: FloatArray, spell: list[float]) -> bool:
    """Whether the current dies away throughout, as in a start; a stall draws on."""
    inside = load[(t_s >= spell[0]) & (t_s < spell[1])]
    third = max(1, len(inside) // 3)
    return float(np.median(inside[:third])) > _GROWS * float(np.median(inside[-third:]))


def _meets(spell: list[float], intervals_s: FloatArray) -> bool:
    return bool(((intervals_s[:, 0] < spell[1]) & (intervals_s[:, 1] > spell[0])).any())


def _middle_a(trace: MotorTrace, spell: list[float]) -> float:
    return float(np.median(trace.current_a[(trace.t_s >= spell[0]) & (trace.t_s < spell[1])]))

"""When a motor stood, or nearly stood, against its voltage."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from telemetry.estimators.current_alone import states_by_current
from telemetry.log import BoolArray, FloatArray
from telemetry.motor_model import MotorModel
from telemetry.records.motors import MotorStates, MotorTrace
from telemetry.robot import Motor, Robot
from telemetry.signals import filled, lasting, period_s, runs, within

__all__ = ["NEAR_STALL_SHARE", "STALL_SHARE", "find_stalls"]

STALL_SHARE, NEAR_STALL_SHARE = 0.05, 0.20
"""Speed below these shares of the free speed is a stall, near stall (contract)."""
STALL_LEAST_S, NEAR_STALL_LEAST_S = 0.25, 0.5
"""The least time each lasts (contract)."""

_SPIN_UPS = 2.0
_LEAST_SPIN_UPS = 3
_BRIDGE_S = 0.08
_LEAST_OF_STALL_CURRENT = 0.45
"""A winding 250 K warmer than the data sheet's draws half of what that says at stall; less is no stall."""
_MOST_OF_STALL_CURRENT = 1.15
_TIMES_FREE_CURRENT = 3.0
_SLOW_TO_LEAVE_S = 0.2
_BEFORE_S = 0.12
_CONTINUES = 0.9
_ASSUMED_OFF = 0.05
"""A battery that gives 5 % less than assumed lets a motor seem to turn faster by as much: there is room above
the fifth, but none between stall and near stall, where one that gives more would take it back."""
_GROWS, _LONGEST_START_S = 1.08, 2.0
_AS_EARLY = 0.5
_BRIEF_S, _REVERSED_S = 0.5, 0.35


def find_stalls(robot: Robot, motors: Mapping[str, MotorTrace], end_s: float) -> Mapping[str, MotorStates]:
    """Stall and near-stall of every motor whose speed can be compared with its data sheet.

    Without speed and command they are told as far as the current alone goes.
    """
    found = {}
    for name, trace in motors.items():
        model = MotorModel.from_motor(robot.motors[name])
        if np.isfinite(trace.speed_share).any():
            found[name] = _states(trace, robot.motors[name], end_s)
        elif model is not None and trace.speed_source == "none" and not np.isfinite(trace.command).any():
            least_s = STALL_LEAST_S, NEAR_STALL_LEAST_S
            found[name] = states_by_current(trace, robot.motors[name], model, end_s, least_s=least_s)
    return MappingProxyType(found)


def _states(trace: MotorTrace, motor: Motor, end_s: float) -> MotorStates:
    loaded = trace.driven & _draws_like_a_stall(trace, motor)
    share = filled(trace.speed_share, otherwise=np.inf)
    forwards = share > -STALL_SHARE if trace.speed_source == "channel" else np.ones(len(share), dtype=bool)
    room = _room(trace)
    stalled = loaded & forwards & (share < STALL_SHARE)
    slow = loaded & forwards & (share < NEAR_STALL_SHARE + room)
    spin_up_s = _spin_up_s(trace, NEAR_STALL_SHARE)
    stood = lasting(trace.t_s, stalled, _least_stall_s(trace), end_s, bridge_s=_BRIDGE_S)
    stall = _without_starts(trace, _really_slow(trace, stood))
    least_s = max(NEAR_STALL_LEAST_S, _SPIN_UPS * spin_up_s)
    if trace.speed_source == "back-EMF":
        drags = lasting(trace.t_s, slow, least_s, end_s, bridge_s=_BRIDGE_S)
        stall = _mostly_slower(trace, stall, drags, STALL_SHARE) if room else _undivided(trace, stall, drags)
    near = slow & ~within(trace.t_s, stall)
    near_stall = lasting(trace.t_s, near, least_s, end_s, bridge_s=_BRIDGE_S)
    if spin_up_s == 0.0:
        near_stall = _without_steady_starts(trace, near_stall)
    return MotorStates(stall, _really_slow(trace, near_stall), spin_up_s)


def _without_steady_starts(trace: MotorTrace, found: FloatArray) -> FloatArray:
    """Without starts that gain speed all the way: what hardly ever starts has no usual spin-up to learn."""
    kept = [one for one in found.tolist() if not _is_steady_start(trace, *one)]
    return np.asarray(kept).reshape(-1, 2)


def _is_steady_start(trace: MotorTrace, start_s: float, end_s: float) -> bool:
    """Whether it begins with the drive, goes on faster, and gains as it goes; held, it gains at the end."""
    first, last = np.searchsorted(trace.t_s, (start_s, end_s)).tolist()
    begins = first < 2 or not trace.driven[first - 2]
    goes_on = last < len(trace.t_s) and bool(trace.driven[last])
    if not begins or not goes_on or end_s - start_s > _LONGEST_START_S or last - first < 3:
        return False
    thirds = [float(np.median(part)) for part in np.array_split(trace.speed_share[first:last], 3)]
    gained, later = thirds[1] - thirds[0], thirds[2] - thirds[1]
    return later > 0 and gained >= _AS_EARLY * later


def _room(trace: MotorTrace) -> float:
    """By how much a speed share may be off where the battery's voltage was assumed and tells the speed."""
    return _ASSUMED_OFF if trace.voltage_source == "assumed" and trace.speed_source == "back-EMF" else 0.0


def _mostly_slower(trace: MotorTrace, stall: FloatArray, drags: FloatArray, share: float) -> FloatArray:
    """Without stalls that are a part of one slow stretch which mostly turns faster than that share.

    Where the speed is not known to a few per cent, one stretch is told as one trouble.
    """
    kept = [one for one in stall.tolist() if _middle_share(trace, _around(drags, one)) < share]
    return np.asarray(kept).reshape(-1, 2)


def _undivided(trace: MotorTrace, stall: FloatArray, drags: FloatArray) -> FloatArray:
    """Stalls with several in one slow stretch told as what that mostly is, its whole a stall or none of it.

    A speed told by current trembles about its limit: one stretch is one trouble.
    """
    several = [drag for drag in drags.tolist() if _number_within(stall, drag) > 1]
    kept = [one for one in stall.tolist() if _around(drags, one) not in several]
    whole = [drag for drag in several if _middle_share(trace, drag) < STALL_SHARE]
    return np.asarray(sorted(kept + whole)).reshape(-1, 2)


def _number_within(intervals_s: FloatArray, one: list[float]) -> int:
    return int(np.count_nonzero((intervals_s[:, 0] >= one[0]) & (intervals_s[:, 1] <= one[1])))


def _around(intervals_s: FloatArray, one: list[float]) -> list[float]:
    """The interval that holds another, or that itself."""
    holds = intervals_s[(intervals_s[:, 0] <= one[0]) & (intervals_s[:, 1] >= one[1])]
    return holds[0].tolist() if len(holds) else one


def _middle_share(trace: MotorTrace, interval_s: list[float]) -> float:
    inside = (trace.t_s >= interval_s[0]) & (trace.t_s < interval_s[1])
    return float(np.median(trace.speed_share[inside]))


def _draws_like_a_stall(trace: MotorTrace, motor: Motor) -> BoolArray:
    """Neither without load (no draw) nor braking against its own rotation, which takes more than a stall."""
    least_a = _TIMES_FREE_CURRENT * (motor.free_current_a or 1.0)
    model = MotorModel.from_motor(motor)
    if model is None:
        return np.asarray(trace.current_a >= least_a)
    stall_a = filled(trace.applied_v) / model.resistance_ohm
    most = np.inf if trace.speed_source == "channel" else _MOST_OF_STALL_CURRENT
    enough = trace.current_a >= np.maximum(_LEAST_OF_STALL_CURRENT * stall_a, model.free_current_a)
    return np.asarray(enough & (trace.current_a <= most * np.maximum(stall_a, 1e-9)))


def _least_stall_s(trace: MotorTrace) -> float:
    """A quarter second; longer only for what takes nearly as long to leave the stall at every start."""
    leaves_s = _spin_up_s(trace, STALL_SHARE)
    return _SPIN_UPS * leaves_s if leaves_s > _SLOW_TO_LEAVE_S else STALL_LEAST_S


def _spin_up_s(trace: MotorTrace, share: float) -> float:
    """Usual time from the start of a drive until the speed passes a share of the free speed; 0 if unknown.

    Learned from the log: the median over starts that got there.
    """
    first, last = runs(trace.driven)
    fast = np.flatnonzero(trace.speed_share >= share)
    got_there = np.searchsorted(fast, first)
    reached = np.append(fast, len(trace.t_s))[got_there]
    came = reached < last
    if came.sum() < _LEAST_SPIN_UPS:
        return 0.0
    return float(np.median(trace.t_s[reached[came]] - trace.t_s[first[came]]))


def _really_slow(trace: MotorTrace, found: FloatArray) -> FloatArray:
    """Without what only looks so where the current alone tells the speed: reversals and braking.

    A reversal passes through rest, and seldom sampled it may seem to stay there for a while. A motor that
    turns faster than a lowered voltage asks draws backwards, and without a sign that looks like a load; but
    then its back-EMF just before is what the current, taken backwards, makes of it now.
    """
    if trace.speed_source != "back-EMF" or not len(found):
        return found
    before_s = max(_BEFORE_S, 2 * period_s(trace.t_s))
    kept = [
        (start_s, end_s)
        for start_s, end_s in found.tolist()
        if not _passes_zero(trace, start_s, end_s, before_s)
    ]
    return np.asarray(kept).reshape(-1, 2)


def _without_starts(trace: MotorTrace, found: FloatArray) -> FloatArray:
    """Without starts where the current alone tells the speed: seldom sampled they may seem to stand."""
    if trace.speed_source != "back-EMF":
        return found
    kept = [one for one in found.tolist() if not _gains_speed(trace, *one)]
    return np.asarray(kept).reshape(-1, 2)


def _gains_speed(trace: MotorTrace, start_s: float, end_s: float) -> bool:
    """Whether the voltage for each ampere grows, as in a start: at rest it is the resistance, hot or cold.

    Looked at within the first seconds only: what takes longer to start is none the better for it.
    """
    if end_s - start_s > _LONGEST_START_S:
        return False
    inside = (trace.t_s >= start_s) & (trace.t_s < end_s)
    load = 1 - filled(trace.speed_share[inside])
    third = max(1, len(load) // 3)
    return float(np.median(load[:third])) > _GROWS * float(np.median(load[-third:]))


def _passes_zero(trace: MotorTrace, start_s: float, end_s: float, before_s: float) -> bool:
    """Whether a brief interval lies just behind a reversal, or is braking rather than a load."""
    if end_s - start_s >= _BRIEF_S:
        return False
    at = int(np.searchsorted(trace.t_s, start_s))
    way = np.sign(trace.command[at])
    lately = slice(int(np.searchsorted(trace.t_s, start_s - _REVERSED_S)), at)
    reversed_lately = ((trace.command[lately] * way < 0) & trace.driven[lately]).any()
    return bool(reversed_lately) or _gives_back(trace, at, start_s - before_s)


def _gives_back(trace: MotorTrace, at: int, from_s: float) -> bool:
    first = int(np.searchsorted(trace.t_s, from_s))
    if first >= at:
        return False
    before_v = float(np.max(filled(trace.speed_share[first:at]) * trace.applied_v[first:at]))
    backwards_v = (2 - float(trace.speed_share[at])) * float(trace.applied_v[at])
    same_way = np.sign(trace.command[first]) == np.sign(trace.command[at])
    return bool(same_way and before_v > _CONTINUES * backwards_v)

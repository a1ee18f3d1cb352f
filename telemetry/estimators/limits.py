"""What was done to limits and what they did: overruns, both ends at once, misses, strays."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from telemetry.estimators.early_limits import find_early_closings
from telemetry.estimators.limit_evidence import (
    Drive,
    LimitEvidence,
    any_pressed,
    charge_through,
    drive_of,
    other_end,
    pressed_at,
    turned_rad,
)
from telemetry.log import BoolArray, FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import LimitTrouble, Switching, Travel
from telemetry.signals import spans

__all__ = ["find_limit_troubles"]

_DRIVEN, _MOVED_BY = 0.2, 0.1
_OVERRUN_S = 0.1
"""A controller has let go by then, plus two readings of what is slower to be logged (our choice)."""
_DRAWS_SHARE, _DRAWS_A = 0.5, 0.5
_BRIDGE_S = 0.15
_CONFLICT_S = 0.05
_STRAY_S = 0.03
_AGAIN_S, _ARRIVES_S, _ROLLS_S = 0.5, 1.0, 0.5
_ROLLS_SHARE = 0.02
_NEAR_STALL_S = 0.2
_WHOLE_WAY = 0.9
_SURE, _LIKELY, _NOT_SURE = 0.97, 0.92, 0.8


def find_limit_troubles(
    evidence: LimitEvidence, travels: tuple[Travel, ...]
) -> Mapping[str, tuple[LimitTrouble, ...]]:
    """The troubles of every limit that the log holds, in the order of time; bounces are not among them."""
    found = {name: _troubles(evidence, name, travels) for name in evidence.limits}
    return MappingProxyType(found)


def _troubles(evidence: LimitEvidence, name: str, travels: tuple[Travel, ...]) -> tuple[LimitTrouble, ...]:
    troubles = _conflicts(evidence, name)
    drive = drive_of(evidence, name)
    if drive is not None:
        troubles += _overruns(evidence, name, drive)
        troubles += _misses(evidence, name, drive, travels)
        troubles += _strays(evidence, name, drive)
        troubles += find_early_closings(evidence, name, drive, travels)
    return tuple(sorted(troubles, key=lambda trouble: (trouble.start_s, trouble.kind)))


# Driven on


def _overruns(evidence: LimitEvidence, name: str, drive: Drive) -> list[LimitTrouble]:
    """Pressed, and driven further into it."""
    limit = evidence.limits[name]
    t_s = np.unique(np.concatenate((drive.t_s, limit.t_s)))
    pressed = pressed_at(limit, t_s)
    longest_s = max(drive.longest_hold_s, 3 * limit.period_s, _BRIDGE_S)
    driven_on = spans(t_s, pressed & (drive.at(t_s) >= _DRIVEN), limit.end_s, longest_s, _BRIDGE_S)
    least_s = _OVERRUN_S + 2 * max(drive.period_s, limit.period_s)
    motor = evidence.robot.limits[name].motor or ""
    found = []
    for start_s, end_s in driven_on[driven_on[:, 1] - driven_on[:, 0] >= least_s].tolist():
        charge_as, peak_a = charge_through(evidence.motors.get(motor), start_s, end_s)
        if _draws(evidence, motor, start_s, end_s):
            found.append(
                LimitTrouble("limit_overrun", start_s, end_s, _SURE, charge_as=charge_as, peak_a=peak_a)
            )
    return found


def _draws(evidence: LimitEvidence, motor: str, start_s: float, end_s: float) -> bool:
    """False where the motor draws nothing: then its controller has cut it off whatever is commanded."""
    trace = evidence.motors.get(motor)
    if trace is None:
        return True
    inside = (trace.t_s >= start_s) & (trace.t_s <= end_s)
    if not inside.any():
        return True
    free_a = evidence.robot.motors[motor].free_current_a or 0.0
    return bool(np.median(trace.current_a[inside]) >= max(_DRAWS_SHARE * free_a, _DRAWS_A))


# Both ends


def _conflicts(evidence: LimitEvidence, name: str) -> list[LimitTrouble]:
    """Pressed together with the other end, where this one is the likelier to lie."""
    other = other_end(evidence.robot, name)
    if other is None or other not in evidence.limits:
        return []
    here, there = evidence.limits[name], evidence.limits[other]
    t_s = np.unique(np.concatenate((here.t_s, there.t_s)))
    both = spans(t_s, pressed_at(here, t_s) & pressed_at(there, t_s), here.end_s, np.inf, _AGAIN_S)
    least_s = max(_CONFLICT_S, 1.5 * max(here.period_s, there.period_s))
    return [
        LimitTrouble("limit_conflict", start_s, end_s, _SURE, other=other)
        for start_s, end_s in both[both[:, 1] - both[:, 0] >= least_s].tolist()
        if _lies(evidence, name, start_s)
    ]


def _lies(evidence: LimitEvidence, name: str, at_s: float) -> bool:
    """Whether of two pressed ends this is the wrong one: not the one last driven to, else the later one."""
    drive = drive_of(evidence, name)
    last = drive.last_way(np.array([at_s]))[0] if drive is not None else 0.0
    if last != 0.0:
        return bool(last < 0.0)
    other = other_end(evidence.robot, name)
    mine_s, others_s = (_closed_at(evidence.limits[end], at_s) for end in (name, other or name))
    return mine_s > others_s or (mine_s == others_s and name > (other or name))


def _closed_at(limit: Switching, at_s: float) -> float:
    """When the limit last closed until an instant."""
    closed_s = limit.t_s[limit.on & (limit.t_s <= at_s)]
    return float(closed_s[-1]) if len(closed_s) else -np.inf


# Missed


def _misses(
    evidence: LimitEvidence, name: str, drive: Drive, travels: tuple[Travel, ...]
) -> list[LimitTrouble]:
    """Stalled while driven towards a limit that never closed, unless that was short of the whole way."""
    motor = evidence.robot.limits[name].motor or ""
    states, limit = evidence.motor_states.get(motor), evidence.limits[name]
    found = []
    for start_s, end_s in (states.stall if states else np.empty((0, 2))).tolist():
        toward = drive.at(np.array([start_s, (start_s + end_s) / 2]))
        closed = any_pressed(limit, start_s - _NEAR_STALL_S, end_s + _NEAR_STALL_S)
        if (toward < _DRIVEN).any() or closed:
            continue
        share = _share_of_way(evidence, name, start_s, travels)
        if share is None or share >= _WHOLE_WAY:
            sure = _NOT_SURE if share is None else _SURE
            found.append(LimitTrouble("limit_missed", start_s, end_s, sure, share_of_way=share))
    return found


def _share_of_way(
    evidence: LimitEvidence, name: str, at_s: float, travels: tuple[Travel, ...]
) -> float | None:
    """How much of the motor's usual turns from end to end it had made since it left the other end."""
    motor = evidence.robot.limits[name].motor or ""
    trace, other = evidence.motors.get(motor), other_end(evidence.robot, name)
    whole = [travel.turned_rad for travel in travels if travel.motor == motor and travel.turned_rad]
    if trace is None or other is None or not whole:
        return None
    limit = evidence.limits[other]
    opened_s = limit.t_s[1:][~limit.on[1:] & (limit.t_s[1:] <= at_s)]
    made_rad = turned_rad(trace, float(opened_s[-1]), at_s) if len(opened_s) else None
    return None if made_rad is None else made_rad / float(np.median(whole))


# Stray


def _strays(evidence: LimitEvidence, name: str, drive: Drive) -> list[LimitTrouble]:
    """Closed while enabled, though its motor neither drove nor rolled to it and it had not been there.

    What closed while nothing was logged is not judged: it was perhaps driven there.
    """
    limit = evidence.limits[name]
    until_s = np.append(limit.t_s[1:], limit.end_s)
    opened_s = np.concatenate(([-np.inf], limit.t_s[:-1]))
    fresh = limit.on & (np.arange(len(limit.on)) > 0) & ((limit.t_s - opened_s) > _AGAIN_S)
    fresh &= until_s - limit.t_s >= _STRAY_S
    enabled = np.array([evidence.match.phase_at(at_s) != "disabled" for at_s in limit.t_s.tolist()])
    fresh &= enabled | (evidence.match.source == "whole log")
    fresh &= ~np.array([evidence.unlogged(at_s, at_s + 1e-9) for at_s in limit.t_s.tolist()], dtype=bool)
    number = np.flatnonzero(fresh)
    number = number[~_was_brought(evidence, name, drive, limit.t_s[number])]
    last = [_stays_until(limit, int(index)) for index in number]
    return [
        LimitTrouble("limit_stray", float(limit.t_s[index]), until, _LIKELY)
        for index, until in zip(number, last, strict=True)
    ]


def _stays_until(limit: Switching, index: int) -> float:
    """When a closing is over for more than half a second."""
    closed_s, until_s = limit.t_s[index::2], np.append(limit.t_s[1:], limit.end_s)[index::2]
    apart = np.flatnonzero(closed_s[1:] - until_s[:-1] > _AGAIN_S)
    return float(until_s[apart[0]] if len(apart) else until_s[-1])


def _was_brought(evidence: LimitEvidence, name: str, drive: Drive, closed_s: FloatArray) -> BoolArray:
    """Whether it was last driven there, just now or so that it closed then; or rolled there."""
    limit = evidence.limits[name]
    last = drive.last_way(closed_s)
    never = last == 0.0
    rests_there = bool(len(limit.on) and limit.on[0])
    brought: BoolArray = (last > 0) | (never & rests_there)
    ended_s = drive.last_driven_s(closed_s)
    late = (last > 0) & (closed_s - ended_s > _ARRIVES_S)
    arrived = np.array([any_pressed(limit, at - _AGAIN_S, at + _ARRIVES_S) for at in ended_s.tolist()])
    brought &= ~late | arrived.astype(bool)
    return brought | _rolled(evidence.motors.get(evidence.robot.limits[name].motor or ""), drive, closed_s)


def _rolled(trace: MotorTrace | None, drive: Drive, closed_s: FloatArray) -> BoolArray:
    """Whether it turned without being driven away just before: an arm that falls or runs on."""
    if trace is None or trace.speed_source != "channel" or not len(trace.t_s):
        return np.zeros(len(closed_s), dtype=bool)
    speed = np.abs(np.nan_to_num(trace.speed_rad_s))
    turning = speed > _ROLLS_SHARE * float(speed.max())
    free = turning & (drive.at(trace.t_s) > -_MOVED_BY)
    before = np.concatenate(([0], np.cumsum(free)))
    first, last = (np.searchsorted(trace.t_s, at) for at in (closed_s - _ROLLS_S, closed_s))
    return np.asarray(before[last] > before[first])

"""The balance of a drivetrain's momentum: how fast each side turns beyond what its motor explains.

A command changes the speed as the robot's inertia asks; how much is learned from the log itself and taken
off. What is left stands still while the wheels grip and nothing touches the robot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from telemetry.dataclass import dataclass
from telemetry.estimators.current_signs import likeliest_signs
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.motor_model import RAD_S_PER_RPM, MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor
from telemetry.signals import period_s

__all__ = [
    "LEAST_SAMPLES",
    "Balance",
    "DriveInputs",
    "DriveSide",
    "balance",
    "balance_width_s",
    "can_be_balanced",
    "drive_inputs",
    "drive_side",
    "drive_sides",
    "window_starts",
]

LEAST_SAMPLES = 50
"""Fewer readings are not enough to learn the inertia of a robot from."""

_WINDOW_S, _LONGEST_WINDOWS = 0.06, 3.0
_ROUNDS, _OUTLYING = 6, 3.0
_FED, _CARRIES, _TURNS, _MOSTLY, _SWITCHES_S = 0.02, 0.02, 0.1, 0.5, 0.03
"""Currents are smoothed over some hundredths of a second (common practice, no source)."""
_SELDOM, _BEYOND_NOISE = 0.005, 0.05
_LAGS_S = (0.0, 0.01, 0.02, 0.04, 0.06)
"""Controllers smooth speed over some hundredths of a second, currents less (common practice, no source)."""
_LEAST_SIDES, _ALIKE, _ALIKE_MOSTLY = 2, 0.03, 0.9
_FINE_S, _KERNEL_LAGS = 0.0025, 5.0
_CREEPS = 0.02
_OFF_BY_A_KINK, _OFF_BY_SWITCHING = 0.2, 0.5
"""A trapezium is off by up to a quarter of what a kink between two readings could have made, and by half of
it where the current is switched off at once, as where a controller lets its motor coast."""
_CLEARLY, _NOTABLE = 0.65, 0.1


@dataclass(frozen=True, eq=False)
class DriveInputs:
    """What is logged of one drive motor, all arrays (n,); signs are those of its command."""

    t_s: FloatArray
    command: FloatArray
    fed_v: FloatArray
    current_a: FloatArray
    speed: FloatArray
    from_channel: bool
    winding: bool
    model: MotorModel | None
    free_rad_s: float | None


@dataclass(frozen=True, eq=False)
class DriveSide:
    """One drive motor on a common clock, all (n,): signs are those of its command.

    It is `blind` where nothing tells its speed: by back-EMF, while it carries no current and no duty. By
    `unsure` such a speed is off (rad/s) where voltage and current are read half a reading apart.
    """

    speed: FloatArray
    current_a: FloatArray
    command: FloatArray
    free_rad_s: float
    blind: BoolArray
    unsure: FloatArray


def drive_inputs(log: Log, motor: Motor, trace: MotorTrace) -> DriveInputs:
    """What is logged of one motor, with signs."""
    command, model = np.nan_to_num(trace.command), MotorModel.from_motor(motor)
    return DriveInputs(
        t_s=trace.t_s,
        command=command,
        fed_v=command * trace.voltage_v,
        current_a=trace.current_a * _current_sign(log, motor, trace, model),
        speed=np.abs(np.nan_to_num(trace.speed_rad_s)) * _sign(log, motor.speed, trace, command),
        from_channel=trace.speed_source == "channel",
        winding=motor.current_side == "winding",
        model=model,
        free_rad_s=motor.free_speed_rpm * RAD_S_PER_RPM if motor.free_speed_rpm else None,
    )


def drive_side(
    t_s: FloatArray, logged: DriveInputs, lag_s: float = 0.0, *, coasts: bool = False
) -> DriveSide:
    """One motor at each instant; speed (rad/s) and current (A) with signs, as logged or by its model.

    The speed is taken to be logged late by a filter of this time constant, or without it the current; what
    it is compared with then goes through the same filter. Without duty a controller brakes its motor, or lets
    it coast: then there is no current, whatever the model says.
    """
    model, speed = logged.model, logged.speed
    idle = np.abs(logged.command) < _FED
    blind, unsure = np.zeros(len(speed), dtype=bool), np.zeros(len(speed))
    fed_v, current_a = logged.fed_v, logged.current_a
    if logged.from_channel and model is not None:
        drop_v = fed_v - model.k_v_s_per_rad * speed
        current_a = np.abs(current_a) * np.sign(drop_v) if logged.winding else drop_v / model.resistance_ohm
    if logged.from_channel and (model is None or logged.winding):
        current_a = _late(logged.t_s, current_a, lag_s)
    elif model is not None:
        fed_v = _late(logged.t_s, fed_v, lag_s)
        if logged.from_channel:
            fed_share = 1.0 - _late(logged.t_s, (idle & coasts).astype(np.float64), lag_s)
            current_a = fed_share * (fed_v - model.k_v_s_per_rad * speed) / model.resistance_ohm
        else:
            speed = (fed_v - current_a * model.resistance_ohm) / model.k_v_s_per_rad
            blind = _coasting(logged.t_s, speed, current_a, idle)
            unsure = 0.5 * np.abs(np.gradient(fed_v)) / model.k_v_s_per_rad
    return DriveSide(
        speed=np.interp(t_s, logged.t_s, speed),
        current_a=np.interp(t_s, logged.t_s, current_a),
        command=np.interp(t_s, logged.t_s, logged.command),
        free_rad_s=logged.free_rad_s or _top(speed),
        blind=np.interp(t_s, logged.t_s, blind) > 0,
        unsure=np.interp(t_s, logged.t_s, unsure),
    )


def _coasting(t_s: FloatArray, speed: FloatArray, current_a: FloatArray, idle: BoolArray) -> BoolArray:
    """Where a motor without duty and current may turn on unseen, shape (n,); nowhere if it is braked then.

    That is told by the instants at which the duty ends while it turns. With the readings around, which a
    current that is switched off reaches only smoothed.
    """
    blind = idle & (np.abs(current_a) < _CARRIES * _top(current_a))
    ends = np.flatnonzero(idle[1:] & ~idle[:-1] & (np.abs(speed[:-1]) > _TURNS * _top(speed)))
    settled = np.minimum(np.searchsorted(t_s, t_s[ends] + _SWITCHES_S), len(t_s) - 1)
    settled = np.maximum(settled, np.minimum(ends + 2, len(t_s) - 1))
    if not len(ends) or blind[settled][idle[settled]].mean() < _MOSTLY:
        return np.zeros(len(blind), dtype=bool)
    places = np.flatnonzero(blind)
    near = np.searchsorted(t_s[places], t_s)
    before, after = places[np.maximum(near - 1, 0)], places[np.minimum(near, len(places) - 1)]
    apart_s = np.minimum(np.abs(t_s - t_s[before]), np.abs(t_s[after] - t_s))
    beside = np.zeros(len(blind), dtype=bool)
    beside[np.clip(np.concatenate((places - 1, places + 1)), 0, len(blind) - 1)] = True
    return np.asarray(blind | beside | (apart_s <= _SWITCHES_S))


def _late(t_s: FloatArray, x: FloatArray, lag_s: float) -> FloatArray:
    """Through a first-order low-pass filter of this time constant, shape (n,); linear between readings."""
    if lag_s <= 0 or len(t_s) < 2:
        return x
    fine_s = np.arange(t_s[0], t_s[-1] + _FINE_S, _FINE_S)
    kernel = np.exp(-np.arange(0.0, _KERNEL_LAGS * lag_s, _FINE_S) / lag_s)
    padded = np.concatenate((np.full(len(kernel) - 1, x[0]), np.interp(fine_s, t_s, x)))
    return np.interp(t_s, fine_s, np.convolve(padded, kernel / kernel.sum(), mode="valid"))


def can_be_balanced(motor: Motor, trace: MotorTrace) -> bool:
    """Whether command, current and speed are known well enough.

    Back-EMF tells the speed from a winding current, with signs or without; from a supply-side one it tells
    too little at low duty, where drives brake.
    """
    if trace.speed_source == "none" or not np.isfinite(trace.command).any():
        return False
    return trace.speed_source == "channel" or motor.current_side == "winding"


@dataclass(frozen=True, eq=False)
class Balance:
    """What of each side's speed its motor does not explain, as a share of its free speed; all (sides, n).

    Only the changes of `unexplained` say something: a hit leaves a step, wheels that slip and grip again an
    excursion. It stands still where a side is blind. `unseen` is how much speed the change of current or
    voltage from one reading to the next could have made or not, by when in between it came.
    """

    unexplained: FloatArray
    unseen: FloatArray


def drive_sides(t_s: FloatArray, logged: Sequence[DriveInputs]) -> list[DriveSide]:
    """The sides of the drive on one clock: motors that always turn alike are one, its current their mean.

    The lag of the logged speed, or current, is the one that leaves least of the first side unexplained; so
    is whether motors without duty brake or coast, where only the model tells the current.
    """
    tried = [_joined([drive_side(t_s, one, lag_s) for one in logged]) for lag_s in _LAGS_S]
    left = [_left_over(t_s, sides) for sides in tried]
    best = int(np.argmin(left))
    if all(one.winding or not one.from_channel for one in logged):
        return tried[best]
    coasting = _joined([drive_side(t_s, one, _LAGS_S[best], coasts=True) for one in logged])
    return coasting if _left_over(t_s, coasting) < left[best] else tried[best]


def _joined(motors: Sequence[DriveSide]) -> list[DriveSide]:
    """One side of those motors that turn alike nearly always; two are a side each."""
    if len(motors) <= _LEAST_SIDES:
        return list(motors)
    groups: list[list[DriveSide]] = []
    for motor in motors:
        group = next((group for group in groups if _turn_alike(group[0], motor)), None)
        if group is None:
            groups.append([motor])
        else:
            group.append(motor)
    return [_as_one(group) for group in groups]


def _as_one(motors: Sequence[DriveSide]) -> DriveSide:
    return replace(
        motors[0],
        speed=np.mean([motor.speed for motor in motors], axis=0),
        current_a=np.mean([motor.current_a for motor in motors], axis=0),
        blind=np.any([motor.blind for motor in motors], axis=0),
    )


def _turn_alike(one: DriveSide, other: DriveSide) -> bool:
    apart = np.abs(one.speed - other.speed) <= _ALIKE * one.free_rad_s
    return bool(apart.mean() >= _ALIKE_MOSTLY)


def balance(t_s: FloatArray, sides: Sequence[DriveSide]) -> Balance:
    """The balance of every side, each with the others beside it."""
    unexplained, unseen = [], []
    for number, side in enumerate(sides):
        left, per_as = _unexplained(t_s, side, _beside(sides, number))
        jumps_a, apart_s = np.diff(side.current_a, append=side.current_a[-1]), np.diff(t_s, append=t_s[-1])
        idle = np.abs(side.command) < _FED
        off_by = np.where(idle != np.append(idle[1:], idle[-1:]), _OFF_BY_SWITCHING, _OFF_BY_A_KINK)
        unexplained.append(_held_while(side.blind, left) / side.free_rad_s)
        unseen.append(off_by * (np.abs(per_as * jumps_a * apart_s) + side.unsure) / side.free_rad_s)
    return Balance(np.stack(unexplained), np.stack(unseen))


def _held_while(blind: BoolArray, x: FloatArray) -> FloatArray:
    """A quantity without its changes into, within and out of what is blind, shape (n,)."""
    changes = np.diff(x, prepend=x[:1])
    changes[blind | np.concatenate(([False], blind[:-1]))] = 0.0
    return np.cumsum(changes)


def _beside(sides: Sequence[DriveSide], number: int) -> DriveSide:
    """The other sides as one; a lone side stands beside itself."""
    others = [other for place, other in enumerate(sides) if place != number]
    return _as_one(others) if others else sides[number]


def _left_over(t_s: FloatArray, sides: Sequence[DriveSide]) -> float:
    """The mean change of the first side's speed over a window that stays unexplained, rad/s."""
    before, whole = window_starts(t_s)
    left, _ = _unexplained(t_s, sides[0], _beside(sides, 0))
    return float(np.abs(left - left[before])[whole].mean()) if whole.any() else 0.0


def balance_width_s(t_s: FloatArray) -> float:
    """Over which speed and current are balanced: two readings at least."""
    return max(_WINDOW_S, 2.01 * period_s(t_s))


def window_starts(t_s: FloatArray) -> tuple[NDArray[np.intp], BoolArray]:
    """Of the window that ends with each reading its first one, and whether no gap lies inside; both (n,)."""
    width_s = balance_width_s(t_s)
    before = np.searchsorted(t_s, t_s - width_s - 1e-9)
    before = np.minimum(before, np.maximum(np.arange(len(t_s)) - 1, 0))
    lasting_s = t_s - t_s[before]
    return before, (lasting_s > 0) & (lasting_s < _LONGEST_WINDOWS * width_s)


# Signed quantities


def _top(speed: FloatArray) -> float:
    return max(float(np.percentile(np.abs(speed), 98)), 1.0)


def _has_signs(values: FloatArray) -> bool:
    """Whether it goes below zero by more than noise around it does."""
    if not len(values):
        return False
    low, high = np.quantile(values, (_SELDOM, 1 - _SELDOM))
    return bool(low < -_BEYOND_NOISE * max(high, 0.0) and low < 0)


def _way(command: FloatArray) -> FloatArray:
    """The sign of the command, held on while there is none, shape (n,)."""
    last = np.maximum.accumulate(np.where(np.abs(command) >= _FED, np.arange(len(command)), -1))
    return np.where(last >= 0, np.sign(command[np.maximum(last, 0)]), 1.0)


def _current_sign(log: Log, motor: Motor, trace: MotorTrace, model: MotorModel | None) -> FloatArray:
    """The sign of the winding current, shape (n,): as logged, or by how the speed would follow from it."""
    command = np.nan_to_num(trace.command)
    channel = log.channels.get(motor.current) if motor.current else None
    told = channel is not None and _has_signs(channel.values)
    if told or trace.speed_source == "channel" or model is None:
        return _sign(log, motor.current, trace, command)
    return likeliest_signs(command * trace.voltage_v, trace.current_a * model.resistance_ohm)


def _sign(log: Log, name: str | None, trace: MotorTrace, command: FloatArray) -> FloatArray:
    """The sign of a current or speed, turned so that it mostly goes with the command, shape (n,).

    A heavy robot brakes against its command for a good part of the time. Where the log has no signs, or none
    that go with the command, it is taken to go with it always.
    """
    way = _way(command)
    channel = log.channels.get(name) if name else None
    if channel is None or not _has_signs(channel.values):
        return way
    sign = np.sign(np.interp(trace.t_s, channel.t_s, channel.values))
    heavy = trace.driven & (trace.current_a > _NOTABLE * float(trace.current_a.max(initial=0.0)))
    with_it = float((sign[heavy] == way[heavy]).mean()) if heavy.any() else 0.5
    if 1 - _CLEARLY < with_it < _CLEARLY:
        return way
    return sign if with_it > 0.5 else -sign


# The balance


def _unexplained(t_s: FloatArray, side: DriveSide, beside: DriveSide) -> tuple[FloatArray, float]:
    """The speed less what the impulse balance explains of it, (n,), rad/s; and the rad/s that one A·s makes.

    J·Δω = k·∫I dt − friction·sign(ω)·Δt − drag·∫ω dt − scrub·∫(ω − ω beside) dt, and a part that follows the
    current at once (tyres creep). Tyres that turn on the spot scrub however slowly: ∫sign(ω − ω beside) dt;
    a robot easier to turn than to drive lets each side feel the other's current. The coefficients come from
    least squares over a short window, outliers left out in turn.
    """
    before, whole = window_starts(t_s)
    whole = whole & ~side.blind & ~side.blind[before]
    creeps = _CREEPS * side.free_rad_s
    rates: tuple[FloatArray, ...] = (
        side.current_a,
        side.speed,
        np.tanh(side.speed / creeps),
        beside.speed,
        np.tanh((side.speed - beside.speed) / (2 * creeps)),
        beside.current_a,
    )
    explaining = np.column_stack([*(_running_integral(t_s, rate) for rate in rates), side.current_a])
    factors = _factors(explaining - explaining[before], side.speed - side.speed[before], whole)
    return side.speed - explaining @ factors, float(factors[0])


def _running_integral(t_s: FloatArray, rate: FloatArray) -> FloatArray:
    return np.concatenate(([0.0], np.cumsum(np.diff(t_s) * (rate[1:] + rate[:-1]) / 2)))


def _factors(explaining: FloatArray, explained: FloatArray, whole: BoolArray) -> FloatArray:
    """Least squares from which outlying samples are left out in turn, shape (columns,)."""
    moves = np.abs(explained) > np.median(np.abs(explained))
    used = whole.copy()
    factors: FloatArray = np.zeros(0)
    for _ in range(_ROUNDS):
        factors = np.asarray(np.linalg.lstsq(explaining[used], explained[used], rcond=None)[0])
        left = explained - explaining @ factors
        usual = float(np.median(np.abs(left[whole & moves]))) if (whole & moves).any() else 0.0
        used = whole & (np.abs(left) <= _OUTLYING * 1.4826 * max(usual, 1e-9))
        if np.count_nonzero(used) < LEAST_SAMPLES:
            break
    return factors

"""The balance of a drivetrain's momentum: how fast each side turns beyond what its motor explains.

A command changes the speed as the robot's inertia asks; how much is learned from the log itself and taken
off. What is left stands still while the wheels grip and nothing touches the robot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.log import BoolArray, FloatArray, Log
from telemetry.motor_model import RAD_S_PER_RPM, MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor
from telemetry.signals import period_s

__all__ = [
    "LEAST_SAMPLES",
    "Balance",
    "DriveSide",
    "balance",
    "balance_width_s",
    "can_be_balanced",
    "drive_side",
    "window_starts",
]

LEAST_SAMPLES = 50
"""Fewer readings are not enough to learn the inertia of a robot from."""

_WINDOW_S, _LONGEST_WINDOWS = 0.06, 3.0
_ROUNDS, _OUTLYING = 6, 3.0
_FED = 0.02
_CREEPS = 0.02
_CLEARLY, _NOTABLE = 0.65, 0.1


@dataclass(frozen=True, eq=False)
class DriveSide:
    """One drive motor on a common clock, all (n,): signs are those of its command."""

    speed: FloatArray
    current_a: FloatArray
    command: FloatArray
    free_rad_s: float


def drive_side(t_s: FloatArray, log: Log, motor: Motor, trace: MotorTrace) -> DriveSide:
    """One motor at each instant; speed (rad/s) and current (A) with signs, as logged or by its model."""
    command = np.nan_to_num(trace.command)
    model = MotorModel.from_motor(motor)
    current_a = trace.current_a * _sign(log, motor.current, trace, command)
    speed = np.abs(np.nan_to_num(trace.speed_rad_s)) * _sign(log, motor.speed, trace, command)
    if model is not None and trace.speed_source == "channel":
        drop_v = command * trace.voltage_v - model.k_v_s_per_rad * speed
        from_model_a = drop_v / model.resistance_ohm
        winding = motor.current_side == "winding"
        current_a = trace.current_a * np.sign(drop_v) if winding else from_model_a
    elif model is not None:
        drop_v = current_a * model.resistance_ohm
        speed = (command * trace.voltage_v - drop_v) / model.k_v_s_per_rad
    free_rad_s = motor.free_speed_rpm * RAD_S_PER_RPM if motor.free_speed_rpm else _top(speed)
    return DriveSide(
        speed=np.interp(t_s, trace.t_s, speed),
        current_a=np.interp(t_s, trace.t_s, current_a),
        command=np.interp(t_s, trace.t_s, command),
        free_rad_s=free_rad_s,
    )


def can_be_balanced(log: Log, motor: Motor, trace: MotorTrace) -> bool:
    """Whether speed and current are known with their signs.

    By back-EMF the speed of a motor that brakes needs a winding current with a sign of its own.
    """
    if trace.speed_source == "none" or not np.isfinite(trace.command).any():
        return False
    channel = log.channels.get(motor.current) if motor.current else None
    signed = channel is not None and bool((channel.values < 0).any())
    return trace.speed_source == "channel" or (signed and motor.current_side == "winding")


@dataclass(frozen=True, eq=False)
class Balance:
    """What of each side's speed its motor does not explain, as a share of its free speed; all (sides, n).

    Only the changes of `unexplained` say something: a hit leaves a step, wheels that slip and grip again an
    excursion. `unseen` is how much speed the current's change from one reading to the next could have made
    or not, by when in between it came.
    """

    unexplained: FloatArray
    unseen: FloatArray


def balance(t_s: FloatArray, sides: Sequence[DriveSide]) -> Balance:
    """The balance of every side, each with the others beside it."""
    unexplained, unseen = [], []
    for number, side in enumerate(sides):
        others = [other.speed for place, other in enumerate(sides) if place != number]
        beside = np.mean(others, axis=0) if others else side.speed
        left, per_as = _unexplained(t_s, side, beside)
        jumps_a, apart_s = np.diff(side.current_a, append=side.current_a[-1]), np.diff(t_s, append=t_s[-1])
        unexplained.append(left / side.free_rad_s)
        unseen.append(np.abs(per_as * jumps_a * apart_s) / side.free_rad_s)
    return Balance(np.stack(unexplained), np.stack(unseen))


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


def _way(command: FloatArray) -> FloatArray:
    """The sign of the command, held on while there is none, shape (n,)."""
    last = np.maximum.accumulate(np.where(np.abs(command) >= _FED, np.arange(len(command)), -1))
    return np.where(last >= 0, np.sign(command[np.maximum(last, 0)]), 1.0)


def _sign(log: Log, name: str | None, trace: MotorTrace, command: FloatArray) -> FloatArray:
    """The sign of a current or speed, turned so that it mostly goes with the command, shape (n,).

    A heavy robot brakes against its command for a good part of the time. Where the log has no signs, or none
    that go with the command, it is taken to go with it always.
    """
    way = _way(command)
    channel = log.channels.get(name) if name else None
    if channel is None or not len(channel.values) or not (channel.values < 0).any():
        return way
    sign = np.sign(np.interp(trace.t_s, channel.t_s, channel.values))
    heavy = trace.driven & (trace.current_a > _NOTABLE * float(trace.current_a.max(initial=0.0)))
    with_it = float((sign[heavy] == way[heavy]).mean()) if heavy.any() else 0.5
    if 1 - _CLEARLY < with_it < _CLEARLY:
        return way
    return sign if with_it > 0.5 else -sign


# The balance


def _unexplained(t_s: FloatArray, side: DriveSide, beside: FloatArray) -> tuple[FloatArray, float]:
    """The speed less what the impulse balance explains of it, (n,), rad/s; and the rad/s that one A·s makes.

    J·Δω = k·∫I dt − friction·sign(ω)·Δt − drag·∫ω dt − scrub·∫(ω − ω beside) dt, and a part that follows the
    current at once (tyres creep). The coefficients come from least squares over a short window, outliers left
    out in turn.
    """
    before, whole = window_starts(t_s)
    rates = (side.current_a, side.speed, np.tanh(side.speed / (_CREEPS * side.free_rad_s)), beside)
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

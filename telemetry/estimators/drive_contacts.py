"""Hits on the robot where no accelerometer is logged: what its drive motors cannot have done themselves.

A hit slows the wheels (or speeds them up) within a tenth of a second, and the current surges against it. A
command does so too, but there speed and current follow one another as the robot's inertia asks; that much is
learned from the log itself and taken off. A push, which lasts, is no hit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.analysis import Contact
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.motor_model import RAD_S_PER_RPM, MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor, Robot
from telemetry.signals import period_s, runs

__all__ = ["find_drive_contacts"]

_TICK_S, _WINDOW_S = 0.01, 0.06
_LONGEST_WINDOWS = 3.0
_ROUNDS, _OUTLYING = 6, 3.0
_FED = 0.02
_BEFORE_S, _AFTER_S = 0.35, 0.1
_STEADY = 0.2
_LEAST_SHARE = 0.015
"""A jolt counts from this share of the drive's free speed: 0.08 m/s of 4 m/s (our choice)."""
_USUAL_STEADY, _USUAL_BUSY = 3.0, 1.6
_USUAL_QUANTILE = 0.95
_MERGE_S = 0.5
_ONSET_SHARE = 0.3
_LEAST_SAMPLES = 50
_HEAVY, _GRIPS_AFTER_S, _NOTABLE = 0.65, 0.15, 0.1
_BESIDE_S = 0.02
_USUAL_OVER_S, _AROUND_S = 0.25, 0.1
_LEAST_SHARE_BUSY, _LEAST_SHARE_SLIPPING = 0.025, 0.1
_CLEARLY = 0.8


@dataclass(frozen=True, eq=False)
class _Side:
    """One drive motor on a common clock, all (n,): signs are those of its command."""

    speed: FloatArray
    current_a: FloatArray
    command: FloatArray
    free_rad_s: float


def find_drive_contacts(log: Log, robot: Robot, motors: Mapping[str, MotorTrace]) -> tuple[Contact, ...]:
    """Contacts in the order of time, `source` drive current, `peak_g` None.

    Empty where no drive motor is named, or the current, the command and a speed (logged, or from back-EMF) of
    none are known. Not found: hits from the side that leave the wheels' speed alone, and most hits while the
    wheels slip.
    """
    names = [name for name in robot.contact.drive if name in motors and _is_told(motors[name])]
    if not names:
        return ()
    t_s = motors[names[0]].t_s
    if len(t_s) < _LEAST_SAMPLES or period_s(t_s) == 0:
        return ()
    t_s = t_s[:: max(1, round(_TICK_S / period_s(t_s)))]
    sides = [_side(t_s, log, robot.motors[name], motors[name]) for name in names]
    jolt = _jolt(t_s, sides)
    return _contacts(t_s, jolt, _threshold(t_s, jolt, sides))


def _is_told(trace: MotorTrace) -> bool:
    return trace.speed_source != "none" and bool(np.isfinite(trace.command).any())


# Signed quantities


def _side(t_s: FloatArray, log: Log, motor: Motor, trace: MotorTrace) -> _Side:
    command = np.nan_to_num(trace.command)
    model = MotorModel.from_motor(motor)
    current_a = trace.current_a * _sign(log, motor.current, trace, command)
    speed = np.abs(np.nan_to_num(trace.speed_rad_s)) * _sign(log, motor.speed, trace, command)
    if model is not None and trace.speed_source == "channel":
        back_emf_v = model.k_v_s_per_rad * speed
        current_a = trace.current_a * np.sign(command * trace.voltage_v - back_emf_v)
    elif model is not None:
        drop_v = current_a * model.resistance_ohm
        speed = (command * trace.voltage_v - drop_v) / model.k_v_s_per_rad
    free_rad_s = motor.free_speed_rpm * RAD_S_PER_RPM if motor.free_speed_rpm else _top(speed)
    return _Side(
        speed=np.interp(t_s, trace.t_s, speed),
        current_a=np.interp(t_s, trace.t_s, current_a),
        command=np.interp(t_s, trace.t_s, command),
        free_rad_s=free_rad_s,
    )


def _top(speed: FloatArray) -> float:
    return max(float(np.percentile(np.abs(speed), 98)), 1.0)


def _way(command: FloatArray) -> FloatArray:
    """The sign of the command, held on while there is none, shape (n,)."""
    last = np.maximum.accumulate(np.where(np.abs(command) >= _FED, np.arange(len(command)), -1))
    return np.where(last >= 0, np.sign(command[np.maximum(last, 0)]), 1.0)


def _sign(log: Log, name: str | None, trace: MotorTrace, command: FloatArray) -> FloatArray:
    """The sign of a current or speed, turned so that it mostly goes with the command, shape (n,).

    Where the log has no signs, or none that go with the command, it is taken to go with it always.
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


# What the motors cannot have done


def _jolt(t_s: FloatArray, sides: Sequence[_Side]) -> FloatArray:
    """Sudden changes of speed that the current does not explain, as a share of the free speed, shape (n,)."""
    together = np.zeros(len(t_s))
    for number, side in enumerate(sides):
        others = [other.speed for place, other in enumerate(sides) if place != number]
        beside = np.mean(others, axis=0) if others else side.speed
        unexplained = _unexplained(t_s, side, beside) / side.free_rad_s
        together += _brief(t_s, unexplained) ** 2
    return np.sqrt(together / len(sides))


def _brief(t_s: FloatArray, x: FloatArray) -> FloatArray:
    """How far each sample leaves the range between what was usual just before and is just after, shape (n,).

    So neither the begin nor the end of a push counts, which lasts.
    """
    width, apart = (max(1, round(span / period_s(t_s))) for span in (_USUAL_OVER_S, _AROUND_S))
    medians = np.median(
        np.lib.stride_tricks.sliding_window_view(np.pad(x, width, mode="edge"), width), axis=1
    )
    before = medians[np.maximum(np.arange(len(x)) - apart, 0)]
    after = medians[np.minimum(np.arange(len(x)) + apart, len(x)) + width]
    return np.asarray(x - np.clip(x, np.minimum(before, after), np.maximum(before, after)))


def _unexplained(t_s: FloatArray, side: _Side, beside: FloatArray) -> FloatArray:
    """Change of speed over the window, less what its impulse balance explains, shape (n,), rad/s.

    J·Δω = k·∫I dt − friction·sign(ω)·Δt − drag·∫ω dt − scrub·∫(ω − ω beside) dt, and a part that follows the
    current at once (tyres creep). The coefficients come from least squares, outliers left out in turn.
    """
    width_s = _width_s(t_s)
    before = np.searchsorted(t_s, t_s - width_s + 1e-9)
    before = np.minimum(before, np.maximum(np.arange(len(t_s)) - 1, 0))
    rates = (side.current_a, side.speed, np.tanh(side.speed / (0.02 * side.free_rad_s)), beside)
    integrals = [_running_integral(t_s, rate) for rate in rates]
    explaining = np.column_stack(
        [*(x - x[before] for x in integrals), side.current_a - side.current_a[before]]
    )
    change = side.speed - side.speed[before]
    lasting_s = t_s - t_s[before]
    whole = (lasting_s > 0) & (lasting_s < _LONGEST_WINDOWS * width_s)
    left = _left_over(explaining, change, whole)
    return np.where(whole, left, 0.0)


def _width_s(t_s: FloatArray) -> float:
    """Over which speed and current are balanced: two readings at least."""
    return max(_WINDOW_S, 2.01 * period_s(t_s))


def _running_integral(t_s: FloatArray, rate: FloatArray) -> FloatArray:
    return np.concatenate(([0.0], np.cumsum(np.diff(t_s) * (rate[1:] + rate[:-1]) / 2)))


def _left_over(explaining: FloatArray, explained: FloatArray, whole: BoolArray) -> FloatArray:
    """Residuals of a least-squares fit from which outlying samples are left out in turn, shape (n,)."""
    moves = np.abs(explained) > np.median(np.abs(explained))
    used, left = whole.copy(), explained
    for _ in range(_ROUNDS):
        factors, *_ = np.linalg.lstsq(explaining[used], explained[used], rcond=None)
        left = explained - explaining @ factors
        usual = float(np.median(np.abs(left[whole & moves]))) if (whole & moves).any() else 0.0
        used = whole & (np.abs(left) <= _OUTLYING * 1.4826 * max(usual, 1e-9))
        if np.count_nonzero(used) < _LEAST_SAMPLES:
            break
    return np.asarray(left)


# From jolts to contacts


def _threshold(t_s: FloatArray, jolt: FloatArray, sides: Sequence[_Side]) -> FloatArray:
    """The jolt from which each instant counts, shape (n,).

    Starts and reversals shake, and under a heavy current the wheels slip and grip again, which no balance
    explains: there it takes more; also where a long window takes more of a push in. What is usual in steady
    driving, in starts and under heavy currents of this log is no hit.
    """
    busy = np.maximum.reduce([_range_around(t_s, side.command) for side in sides]) >= _STEADY
    heavy = np.maximum.reduce([_load_before(t_s, side) for side in sides]) > _HEAVY
    level = np.full(len(t_s), _LEAST_SHARE)
    for inside, least, times in (
        (~busy, _LEAST_SHARE, _USUAL_STEADY),
        (busy & ~heavy, _LEAST_SHARE_BUSY, _USUAL_BUSY),
        (busy & heavy, _LEAST_SHARE_SLIPPING, _USUAL_BUSY),
    ):
        usual = float(np.quantile(jolt[inside], _USUAL_QUANTILE)) if inside.any() else 0.0
        level[inside] = max(least * _width_s(t_s) / _WINDOW_S, times * usual)
    return _highest_around(t_s, level)


def _load_before(t_s: FloatArray, side: _Side) -> FloatArray:
    """The highest current of the last moments before each instant, over the drive's usual highest, (n,)."""
    current_a = np.abs(side.current_a)
    return _highest_before(t_s, current_a) / max(float(np.percentile(current_a, 99)), 1e-9)


def _range_around(t_s: FloatArray, x: FloatArray) -> FloatArray:
    """Highest less lowest from a little before each instant until just after, shape (n,)."""
    before, after = (max(1, round(span / period_s(t_s))) for span in (_BEFORE_S, _AFTER_S))
    padded = np.pad(x, (before, after), mode="edge")
    around = np.lib.stride_tricks.sliding_window_view(padded, before + after + 1)
    return np.asarray(around.max(axis=1) - around.min(axis=1))


def _highest_around(t_s: FloatArray, x: FloatArray) -> FloatArray:
    half = max(1, round(_BESIDE_S / period_s(t_s)))
    around = np.lib.stride_tricks.sliding_window_view(np.pad(x, half, mode="edge"), 2 * half + 1)
    return np.asarray(around.max(axis=1))


def _highest_before(t_s: FloatArray, x: FloatArray) -> FloatArray:
    """The highest of the last moments until each instant, shape (n,)."""
    width = max(1, round(_GRIPS_AFTER_S / period_s(t_s)))
    padded = np.pad(x, (width, 0), mode="edge")
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, width + 1).max(axis=1))


def _contacts(t_s: FloatArray, jolt: FloatArray, level: FloatArray) -> tuple[Contact, ...]:
    first, last = runs(jolt > level)
    found: list[Contact] = []
    for start, stop in zip(first.tolist(), last.tolist(), strict=True):
        contact = _contact(t_s, jolt, start, stop)
        if not (found and contact.t_s - (found[-1].t_s + found[-1].duration_s) < _MERGE_S):
            found.append(contact)
    return tuple(found)


def _contact(t_s: FloatArray, jolt: FloatArray, start: int, stop: int) -> Contact:
    """From where the jolt first reaches a part of its peak until it falls below that again."""
    peak = start + int(np.argmax(jolt[start:stop]))
    weak = np.flatnonzero(jolt < _ONSET_SHARE * jolt[peak])
    left, right = np.searchsorted(weak, (peak, peak))
    onset = int(weak[left - 1]) if left > 0 else 0
    over = int(weak[right]) if right < len(weak) else len(t_s) - 1
    return Contact(float(t_s[onset]), None, float(t_s[over] - t_s[onset]), "drive current")

"""Pieces that leave through the launcher, seen as short dips of its speed or bumps of its current."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.estimators.dip_shape import noise_by_bends, with_matched_dips
from telemetry.estimators.momentum import dips_by_momentum, following_dips
from telemetry.log import BoolArray, FloatArray
from telemetry.motor_model import MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.robot import Robot
from telemetry.signals import period_s, runs, steps

__all__ = ["launcher_dips", "launcher_running"]

_LEAST_DROP = 0.02
_NOISE_TIMES = 7.0
_UP_TO_SPEED = 0.6
_LOOKBACK_S = 0.12
_KEPT_S = 0.5
"""A wheel that stores enough to launch a piece keeps most of its speed for so long (our choice)."""
_APART_S = 0.06
_LEAST_STEPS = 8
_DRAWS, _SETTLED_TIMES, _LEAST_BUMP = 0.05, 1.5, 0.5


def launcher_dips(robot: Robot, motors: Mapping[str, MotorTrace]) -> FloatArray:
    """Instants at which the launcher met a piece, shape (k,); empty where it cannot be told.

    A dip is a fall of speed below its highest of the 0.12 s before, by at least 2 % of the running speed and
    seven times the noise, while the wheel is up to speed; and what has the shape of such dips though it is
    not as deep. What it falls because the battery sags, or the command does, is no part of it. Without a
    speed channel its back-EMF serves, and of a fall only what the bump of current at a release explains;
    where that cannot be told, the current alone.
    """
    trace = motors.get(robot.launcher.motor) if robot.launcher else None
    if trace is None or len(trace.t_s) < 10:
        return np.empty(0)
    if trace.speed_source == "none":
        return _bumps(trace)
    model = MotorModel.from_motor(robot.motors[robot.launcher.motor]) if robot.launcher else None
    if trace.speed_source == "channel":
        found_s = dips_by_momentum(trace, model, _well_driven(trace))
        if found_s is not None:
            return found_s
    return following_dips(trace, _falls(trace, _robbed(trace, model)))


def launcher_running(robot: Robot, motors: Mapping[str, MotorTrace]) -> tuple[FloatArray, FloatArray]:
    """When the launcher comes up to speed (1) and stops being so (0), as steps: times and states, (k,)."""
    trace = motors.get(robot.launcher.motor) if robot.launcher else None
    if trace is None:
        return np.zeros(1), np.zeros(1)
    up = trace.driven
    if trace.speed_source != "none":
        up = up & (trace.speed_rad_s > _UP_TO_SPEED * np.percentile(trace.speed_rad_s, 98))
    t_s, on = steps(trace.t_s, up)
    return t_s, on.astype(float)


def _bumps(trace: MotorTrace) -> FloatArray:
    """Instants at which the current jumps above its lowest of the 0.12 s before, while it had settled.

    By at least half of the usual running current, and seven times the noise. Until it first comes down to
    half as much again as that current a motor is still speeding up.
    """
    current = np.nan_to_num(trace.current_a)
    drawing = current > _DRAWS * float(np.percentile(current, 98))
    if not period_s(trace.t_s) or drawing.sum() < _LEAST_STEPS:
        return np.empty(0)
    usual = float(np.median(current[drawing]))
    settled = _settled(current, drawing, _SETTLED_TIMES * usual)
    width = _readings(trace, _LOOKBACK_S)
    before = -_highest_before(-current, width)
    steady = _highest_before((~settled).astype(float), width) == 0
    rise = np.where(steady, current - before, 0.0)
    least = max(_LEAST_BUMP * usual, _NOISE_TIMES * noise_by_bends(current[settled]))
    onsets_s = _onsets(trace.t_s, rise > least)
    return with_matched_dips(trace.t_s, -current, settled, onsets_s, shallowest=_LEAST_BUMP * usual / 2)


def _settled(current: FloatArray, drawing: BoolArray, least: float) -> BoolArray:
    """Where a motor that draws has come down to a current once since it began to, (n,)."""
    place = np.arange(len(current))
    began = np.maximum.accumulate(np.where(~drawing, place, -1))
    low = np.maximum.accumulate(np.where(drawing & (current <= least), place, -1))
    return np.asarray(drawing & (low > began))


def _onsets(t_s: FloatArray, there: BoolArray) -> FloatArray:
    """When something begins that was not there for a moment before, (k,)."""
    first, last = runs(there)
    onset = np.asarray(t_s[first])
    if not len(onset):
        return onset
    fresh = np.concatenate(([True], onset[1:] - t_s[last - 1][:-1] > _APART_S))
    return np.asarray(onset[fresh])


def _robbed(trace: MotorTrace, model: MotorModel | None) -> FloatArray:
    """Its speed, rad/s, (n,), but for what it loses by its own voltage: what falls was taken from it."""
    if len(trace.voltage_v) != len(trace.t_s):
        return trace.speed_rad_s
    if trace.speed_source == "back-EMF" and model is not None:
        return -_unbraked_a(trace, model) * model.resistance_ohm / model.k_v_s_per_rad
    return np.asarray(trace.speed_rad_s - _own_falls(trace))


def _unbraked_a(trace: MotorTrace, model: MotorModel) -> FloatArray:
    """The current, (n,), less what a wheel that kept its speed drives back where the voltage falls short.

    The logged current has no sign: as the battery sags, that of the wheel looks like one that drives it.
    """
    kept_rad_s = _highest_before(trace.speed_rad_s, _readings(trace, _KEPT_S))
    applied_v = np.abs(trace.command) * trace.voltage_v
    braking_a = (model.k_v_s_per_rad * kept_rad_s - applied_v) / model.resistance_ohm
    return np.asarray(trace.current_a - np.maximum(braking_a, 0.0))


def _own_falls(trace: MotorTrace) -> FloatArray:
    """What the wheel has lost so far because its voltage was too low to hold its speed, rad/s, (n,), falling.

    The wheel gains speed by its voltage, and loses by its speed and by friction (the steady-state equations
    of a motor that turns an inertia): a plane through its accelerations, by least squares in two rounds, the
    second without the tenth that fits worst: there pieces took speed out of it.
    """
    applied_v = np.where(np.isfinite(trace.command), np.abs(trace.command) * trace.voltage_v, trace.voltage_v)
    step_s = np.diff(trace.t_s)
    usable = (step_s > 0) & trace.driven[:-1] & trace.driven[1:]
    if usable.sum() < _LEAST_STEPS:
        return np.zeros(len(trace.t_s))
    middle_v = (applied_v[:-1] + applied_v[1:]) / 2
    speed = (trace.speed_rad_s[:-1] + trace.speed_rad_s[1:]) / 2
    gains = np.column_stack((middle_v, speed, np.ones(len(speed))))
    gained = np.diff(trace.speed_rad_s) / np.where(step_s > 0, step_s, np.inf)
    plane, *_ = np.linalg.lstsq(gains[usable], gained[usable])
    off = np.abs(gained - gains @ plane)
    fits = usable & (off <= np.percentile(off[usable], 90))
    plane, *_ = np.linalg.lstsq(gains[fits], gained[fits])
    lost = np.where(usable, np.minimum(gains @ plane, 0.0) * step_s, 0.0)
    return np.concatenate(([0.0], np.cumsum(lost)))


def _falls(trace: MotorTrace, robbed: FloatArray) -> FloatArray:
    """Where both the speed and what is taken from it fall at once, (k,)."""
    speed, width = trace.speed_rad_s, _readings(trace, _LOOKBACK_S)
    top = float(np.percentile(speed, 98))
    if top <= 0 or not period_s(trace.t_s):
        return np.empty(0)
    highest = _highest_before(speed, width)
    drop = np.minimum(highest - speed, _highest_before(robbed, width) - robbed)
    running = _well_driven(trace) & (highest > _UP_TO_SPEED * top)
    deep = drop > max(_LEAST_DROP * top, _NOISE_TIMES * noise_by_bends(speed[running]))
    onsets_s = _onsets(trace.t_s, running & deep)
    return with_matched_dips(trace.t_s, -drop, running, onsets_s, shallowest=_LEAST_DROP * top / 2)


def _well_driven(trace: MotorTrace) -> BoolArray:
    """Where it has been driven for some time, (n,): a start is no dip."""
    width = 2 * _readings(trace, _LOOKBACK_S)
    idle = _highest_before((~trace.driven).astype(float), width) > 0
    return np.asarray((np.arange(len(trace.t_s)) >= width) & ~idle)


def _readings(trace: MotorTrace, span_s: float) -> int:
    """Readings in so much time, one at least."""
    apart_s = period_s(trace.t_s)
    return max(1, round(span_s / apart_s)) if apart_s else 1


def _highest_before(x: FloatArray, width: int) -> FloatArray:
    """The highest of the `width` samples before each and itself, shape (n,)."""
    padded = np.concatenate((np.full(width, -np.inf), x))
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, width + 1).max(axis=1))

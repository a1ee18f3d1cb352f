"""Pieces that leave through the launcher, seen as short dips of its speed or bumps of its current."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.estimators.dip_shape import noise_by_bends, with_matched_dips
from telemetry.log import BoolArray, FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.robot import Robot
from telemetry.signals import period_s, runs, steps

__all__ = ["launcher_dips", "launcher_running"]

_LEAST_DROP = 0.02
_NOISE_TIMES = 7.0
_UP_TO_SPEED = 0.6
_LOOKBACK_S = 0.12
_APART_S = 0.06
_LEAST_STEPS = 8
_DRAWS, _SETTLED_TIMES, _LEAST_BUMP = 0.05, 1.5, 0.5


def launcher_dips(robot: Robot, motors: Mapping[str, MotorTrace]) -> FloatArray:
    """Instants at which the launcher met a piece, shape (k,); empty where it cannot be told.

    A dip is a fall of speed below its highest of the 0.12 s before, by at least 2 % of the running speed and
    seven times the noise, while the wheel is up to speed; and what has the shape of such dips though it is
    not as deep. Without a speed channel its back-EMF serves, in which the bump of current at each release is
    a dip; where that cannot be told, the current alone.
    """
    trace = motors.get(robot.launcher.motor) if robot.launcher else None
    if trace is None or len(trace.t_s) < 10:
        return np.empty(0)
    if trace.speed_source == "none":
        return _bumps(trace)
    onsets_s = _falls(trace.t_s, trace.speed_rad_s, trace.driven)
    running = trace.driven & (trace.speed_rad_s > _UP_TO_SPEED * np.percentile(trace.speed_rad_s, 98))
    return with_matched_dips(trace.t_s, trace.speed_rad_s, running, onsets_s)


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
    apart_s = period_s(trace.t_s)
    drawing = current > _DRAWS * float(np.percentile(current, 98))
    if apart_s == 0 or drawing.sum() < _LEAST_STEPS:
        return np.empty(0)
    usual = float(np.median(current[drawing]))
    settled = _settled(current, drawing, _SETTLED_TIMES * usual)
    width = max(1, round(_LOOKBACK_S / apart_s))
    before = -_highest_before(-current, width)
    steady = _highest_before((~settled).astype(float), width) == 0
    rise = np.where(steady, current - before, 0.0)
    least = max(_LEAST_BUMP * usual, _NOISE_TIMES * noise_by_bends(current[settled]))
    onsets_s = _onsets(trace.t_s, rise > least)
    return with_matched_dips(trace.t_s, -current, settled, onsets_s)


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


def _falls(t_s: FloatArray, speed: FloatArray, driven: np.ndarray) -> FloatArray:
    top = float(np.percentile(speed, 98))
    apart_s = period_s(t_s)
    if top <= 0 or apart_s == 0:
        return np.empty(0)
    before = _highest_before(speed, max(1, round(_LOOKBACK_S / apart_s)))
    drop = before - speed
    running = driven & (before > _UP_TO_SPEED * top)
    deep = drop > max(_LEAST_DROP * top, _NOISE_TIMES * noise_by_bends(speed[running]))
    return _onsets(t_s, running & deep)


def _highest_before(x: FloatArray, width: int) -> FloatArray:
    """The highest of the `width` samples before each and itself, shape (n,)."""
    padded = np.concatenate((np.full(width, -np.inf), x))
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, width + 1).max(axis=1))

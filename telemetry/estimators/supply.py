"""The battery: open-circuit voltage, source resistance, dips and energy."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.analysis import Dip, MotorTrace, Supply
from telemetry.estimators.motors import supply_current_a
from telemetry.log import FloatArray, Log
from telemetry.robot import Robot
from telemetry.signals import at_instants, dips, hold_s, integral

__all__ = ["DIP_HYSTERESIS_V", "judge_supply", "source_by_regression", "total_current_a"]

DIP_HYSTERESIS_V = 0.24
"""2 % of a declared 12 V: IEC 61000-4-30, hysteresis of a dip (the figure from memory)."""

_LEAST_SWING_A = 20.0
_ROUNDS = 12
_HUBER = 1.345


def judge_supply(log: Log, robot: Robot, motors: Mapping[str, MotorTrace]) -> Supply | None:
    """The supply over one match, or None where its voltage was not logged."""
    channel = log.channels.get(robot.supply.voltage) if robot.supply.voltage else None
    if channel is None or not len(channel.values):
        return None
    t_s, voltage_v = channel.t_s, channel.canonical()
    current_a = total_current_a(log, robot, motors, t_s)
    known = np.isfinite(current_a)
    source = source_by_regression(t_s[known], voltage_v[known], current_a[known]) if known.any() else None
    longest_s = hold_s(t_s)
    energy = (
        integral(t_s[known], voltage_v[known] * current_a[known], longest_s) / 3600 if known.any() else None
    )
    found = dips(voltage_v, robot.supply.dip_v, DIP_HYSTERESIS_V)
    until = np.append(t_s, log.t_s[-1])
    return Supply(
        t_s=t_s,
        voltage_v=voltage_v,
        open_circuit_v=source[0] if source else None,
        resistance_ohm=source[1] if source else None,
        lowest_v=float(voltage_v.min()),
        dips=tuple(Dip(float(t_s[first]), float(until[last]), residual) for first, last, residual in found),
        energy_wh=energy,
    )


def total_current_a(log: Log, robot: Robot, motors: Mapping[str, MotorTrace], t_s: FloatArray) -> FloatArray:
    """Current out of the battery at each instant, shape (n,): its channel, else the sum of the motors.

    Positive means out of the battery; a channel wired the other way round is turned about, since over a match
    more goes out than comes back. NaN where neither tells; a motor without a command cannot be part of a sum.
    """
    channel = log.channels.get(robot.supply.current) if robot.supply.current else None
    if channel is not None and len(channel.values):
        drawn_a = channel.canonical() * (1.0 if channel.canonical().mean() >= 0 else -1.0)
        return np.interp(t_s, channel.t_s, drawn_a, left=np.nan, right=np.nan)
    if not motors:
        return np.full(len(t_s), np.nan)
    parts = [at_instants(trace.t_s, supply_current_a(trace), t_s) for trace in motors.values()]
    return np.asarray(np.sum(parts, axis=0))


def source_by_regression(
    t_s: FloatArray, voltage_v: FloatArray, current_a: FloatArray
) -> tuple[float, float] | None:
    """Open-circuit voltage at the first sample and source resistance; None where the load hardly changed.

    Robust straight line of voltage on current and on charge drawn (the open-circuit voltage sinks as the
    battery empties), by reweighted least squares with Huber's weights (Huber 1964; tuning constant 1.345
    for 95 % efficiency). All arrays (n,), volts and amperes.
    """
    if len(t_s) < 10 or np.ptp(current_a) < _LEAST_SWING_A:
        return None
    charge = np.concatenate(([0.0], np.cumsum(np.diff(t_s) * (current_a[1:] + current_a[:-1]) / 2)))
    design = np.column_stack((np.ones(len(t_s)), -current_a, -charge / max(charge[-1], 1.0)))
    weight = np.ones(len(t_s))
    for _ in range(_ROUNDS):
        root = np.sqrt(weight)
        solution = np.linalg.lstsq(design * root[:, None], voltage_v * root, rcond=None)[0]
        residual = np.abs(voltage_v - design @ solution)
        scale = 1.4826 * float(np.median(residual))
        if scale < 1e-9:
            break
        weight = np.minimum(1.0, _HUBER * scale / np.maximum(residual, 1e-12))
    open_circuit_v, resistance_ohm = float(solution[0]), float(solution[1])
    return (open_circuit_v, resistance_ohm) if resistance_ohm > 0 else None

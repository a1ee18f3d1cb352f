"""What each motor did: winding current, speed, heat, and whether it was driven."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from telemetry.analysis import MotorTrace
from telemetry.log import BoolArray, Channel, FloatArray, Log
from telemetry.motor_model import MotorModel
from telemetry.robot import Motor, Robot
from telemetry.signals import at_instants
from telemetry.thermal import thermal_level

__all__ = ["DRIVEN_COMMAND", "supply_current_a", "trace_motors"]

DRIVEN_COMMAND = 0.2
"""A motor is driven from this duty on (contract)."""

_LEAST_APPLIED_V = 1.0
_RISE_AT_LIMIT_K = 80.0
"""Copper rise at thermal level 1.0, by resistance, for class B (IEC 60034-1, limits of temperature rise)."""
_COPPER_PER_K = 0.00393
"""Rise of copper's resistance, as a share of that at 20 °C (IEC 60028)."""


def trace_motors(log: Log, robot: Robot) -> Mapping[str, MotorTrace]:
    """The trace of every motor of the robot file whose current the log holds."""
    traces = {}
    for name, motor in robot.motors.items():
        current = log.channels.get(motor.current) if motor.current else None
        if current is not None and len(current.values):
            traces[name] = _trace(log, robot, motor, current)
    return MappingProxyType(traces)


def supply_current_a(trace: MotorTrace) -> FloatArray:
    """What it takes from the battery: winding current × |command|, shape (n,); NaN without a command."""
    return trace.current_a * np.abs(trace.command)


def _trace(log: Log, robot: Robot, motor: Motor, current: Channel) -> MotorTrace:
    t_s = current.t_s
    command = _logged(log, motor.command, t_s)
    voltage_v = _logged(log, robot.supply.voltage, t_s)
    voltage_v = np.where(np.isfinite(voltage_v), voltage_v, motor.nominal_v)
    current_a = _winding_a(np.abs(current.canonical()), command, motor)
    heat = _heat(t_s, current_a, motor)
    model = MotorModel.from_motor(motor)
    speed, source = _speed(log, motor, model, t_s, current_a, np.abs(command) * voltage_v, heat)
    applied_v = _applied_v(command, voltage_v, current_a, speed, model)
    return MotorTrace(
        t_s=t_s,
        current_a=current_a,
        command=command,
        speed_rad_s=speed,
        speed_share=_speed_share(speed, applied_v, model),
        heat=heat,
        applied_v=applied_v,
        driven=_driven(command, applied_v, motor),
        speed_source=source,
    )


def _logged(log: Log, name: str | None, t_s: FloatArray) -> FloatArray:
    """A channel at the instants of another, in canonical units; NaN where it is not logged."""
    channel = log.channels.get(name) if name else None
    if channel is None or not len(channel.values):
        return np.full(len(t_s), np.nan)
    if channel.t_s is t_s:
        return channel.canonical()
    if channel.sampled:
        return np.interp(t_s, channel.t_s, channel.canonical())
    return at_instants(channel.t_s, channel.canonical(), t_s)


def _winding_a(logged_a: FloatArray, command: FloatArray, motor: Motor) -> FloatArray:
    if motor.current_side == "winding":
        return logged_a
    duty = np.abs(command)
    return np.where(duty > 0.05, logged_a / np.maximum(duty, 0.05), logged_a)


def _heat(t_s: FloatArray, current_a: FloatArray, motor: Motor) -> FloatArray:
    heating, cooling = motor.heating_time_constant_s, motor.cooling_time_constant_s
    if motor.continuous_current_a is None or heating is None:
        return np.full(len(t_s), np.nan)
    return thermal_level(
        t_s,
        current_a,
        continuous_a=motor.continuous_current_a,
        heating_s=heating,
        cooling_s=cooling or heating,
    )


def _speed(
    log: Log,
    motor: Motor,
    model: MotorModel | None,
    t_s: FloatArray,
    current_a: FloatArray,
    applied_v: FloatArray,
    heat: FloatArray,
) -> tuple[FloatArray, str]:
    """Shaft speed without sign, and what told it."""
    logged = np.abs(_logged(log, motor.speed, t_s))
    if np.isfinite(logged).any():
        return logged, "channel"
    if model is None or not np.isfinite(applied_v).any():
        return np.full(len(t_s), np.nan), "none"
    hot = 1 + _COPPER_PER_K * _RISE_AT_LIMIT_K * np.nan_to_num(heat)
    back_emf_v = applied_v - current_a * model.resistance_ohm * hot
    return np.maximum(back_emf_v, 0.0) / model.k_v_s_per_rad, "back-EMF"


def _applied_v(
    command: FloatArray,
    voltage_v: FloatArray,
    current_a: FloatArray,
    speed: FloatArray,
    model: MotorModel | None,
) -> FloatArray:
    """Voltage at the winding: duty × supply; without a command, what current and speed together need."""
    applied_v = np.abs(command) * voltage_v
    if model is None:
        return applied_v
    needed_v = current_a * model.resistance_ohm + speed * model.k_v_s_per_rad
    return np.where(np.isfinite(applied_v), applied_v, needed_v)


def _speed_share(speed: FloatArray, applied_v: FloatArray, model: MotorModel | None) -> FloatArray:
    if model is None:
        return np.full(len(speed), np.nan)
    free = model.free_speed_rad_s(applied_v)
    share = np.full(len(speed), np.nan)
    np.divide(speed, free, out=share, where=(applied_v >= _LEAST_APPLIED_V) & (free > 0))
    return share


def _driven(command: FloatArray, applied_v: FloatArray, motor: Motor) -> BoolArray:
    known = np.isfinite(command)
    by_voltage = np.nan_to_num(applied_v) >= DRIVEN_COMMAND * motor.nominal_v
    return np.where(known, np.abs(np.nan_to_num(command)) >= DRIVEN_COMMAND, by_voltage)

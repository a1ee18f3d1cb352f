"""What each motor did: winding current, speed, heat, and whether it was driven."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from telemetry.copper import ALPHA20_PER_K
from telemetry.dataclass import dataclass
from telemetry.estimators.braking import with_brakes
from telemetry.estimators.currents import believable_a, motoring_sign, supply_side_a, winding_a
from telemetry.estimators.duties import duty_of
from telemetry.estimators.heat import heat_level
from telemetry.estimators.heat_ranges import (
    NO_RANGE,
    heat_doubt,
    heat_told_by,
    in_rests,
    widened,
    widest_range,
)
from telemetry.estimators.heat_sampling import read_too_seldom
from telemetry.estimators.speeds import Drive, Speed, shaft_speed
from telemetry.log import BoolArray, Channel, FloatArray, Log
from telemetry.motor_model import RAD_S_PER_RPM, MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Lapse
from telemetry.robot import Motor, Robot
from telemetry.signals import at_instants, filled, within

__all__ = [
    "ASSUMED_OPEN_CIRCUIT", "ASSUMED_SOURCE_OHM", "DRIVEN_COMMAND", "assumed_voltage_note",
    "supply_current_a", "trace_motors", "winding_ohm",
]  # fmt: skip

DRIVEN_COMMAND = 0.2
"""A motor is driven from this duty on (contract)."""

ASSUMED_OPEN_CIRCUIT = 1.05
"""A charged battery without load, as a share of the nominal voltage: 12.6 V of 12 V (common practice)."""
ASSUMED_SOURCE_OHM = 0.02
"""Battery, leads and breaker together, for each 12 V of nominal voltage (common practice, no source)."""

_LEAST_APPLIED_V = 1.0
_LEAST_BUS_V = 0.1
_RISE_AT_LIMIT_K = 80.0
"""Copper rise at thermal level 1.0, by resistance, for class B (IEC 60034-1, limits of temperature rise)."""
_MOST_LEVEL = 1.5
"""A winding that were hotter would have burnt: beyond, the motor's limits in the robot file are too low."""
_SPARSE_GRID_S = 0.02
_SOME_DUTY = 0.05
_COLD: Mapping[str, float] = MappingProxyType({})
_SOUND: Mapping[str, Sequence[Lapse]] = MappingProxyType({})


@dataclass(frozen=True, eq=False)
class _Logged:
    """A motor's channels on the clock of its current; amperes with their sign, rad/s or None.

    `fullest` is the command to divide a current by, where the two were read at different instants.
    """

    t_s: FloatArray
    current_a: FloatArray
    command: FloatArray
    fullest: FloatArray
    command_unit: str | None
    speed_rad_s: FloatArray | None


def trace_motors(
    log: Log,
    robot: Robot,
    *,
    initial_heat: Mapping[str, float] = _COLD,
    lapses: Mapping[str, Sequence[Lapse]] = _SOUND,
) -> Mapping[str, MotorTrace]:
    """The trace of every motor of the robot file whose current the log holds.

    `initial_heat` is the level at which a motor starts (0 where it is not named). Where no voltage is logged,
    it is that of a charged battery behind a usual resistance, under the currents that are logged. What a
    channel repeats while it is frozen (`lapses`, by channel) is not believed.
    """
    logged = {name: _channels(log, motor, lapses) for name, motor in robot.motors.items()}
    present = {name: channels for name, channels in logged.items() if channels is not None}
    battery = _voltage(log, robot, present)
    source = "assumed" if _logged_voltage(log, robot) is None else "channel"
    traces = {}
    for name, channels in present.items():
        voltage_v = battery[1] if channels.t_s is battery[0] else np.interp(channels.t_s, *battery)
        trace = _trace(name, robot.motors[name], channels, voltage_v, initial_heat.get(name, 0.0))
        traces[name] = replace(trace, voltage_source=source)
    return MappingProxyType(traces)


def assumed_voltage_note(motors: Mapping[str, MotorTrace]) -> tuple[str, ...]:
    """A note where the battery's voltage was assumed; empty where it was logged, or no motor was."""
    assumed = [trace for trace in motors.values() if trace.voltage_source == "assumed"]
    if not assumed:
        return ()
    lowest_v = min(float(trace.voltage_v.min()) for trace in assumed)
    highest_v = max(float(trace.voltage_v.max()) for trace in assumed)
    return (
        "No battery voltage is logged: the motors were judged with that of a charged battery behind a "
        f"usual resistance, {lowest_v:.1f} to {highest_v:.1f} V by their current. Speeds told by current, "
        "stalls and energy are the less sure.",
    )


def supply_current_a(trace: MotorTrace) -> FloatArray:
    """What it takes from the battery, shape (n,), negative where it gives back; NaN where it is unknown."""
    if len(trace.supply_a) == len(trace.t_s):
        return trace.supply_a
    return trace.current_a * np.abs(trace.command)


def _channels(log: Log, motor: Motor, lapses: Mapping[str, Sequence[Lapse]]) -> _Logged | None:
    channel = log.channels.get(motor.current) if motor.current else None
    if channel is None or not len(channel.values):
        return None
    t_s, current_a = channel.t_s, channel.canonical()
    frozen = _frozen(t_s, lapses.get(channel.name, ()))
    if frozen.any():
        t_s, current_a = t_s[~frozen], current_a[~frozen]
    if not len(t_s):
        return None
    if not channel.sampled:
        t_s = np.arange(t_s[0], max(log.t_s[-1], t_s[0]) + _SPARSE_GRID_S / 2, _SPARSE_GRID_S)
        current_a = at_instants(channel.t_s, current_a, t_s)
    speed = _values(log, motor.speed, t_s)
    if speed is not None:
        speed = np.where(_frozen(t_s, lapses.get(motor.speed or "", ())), np.nan, speed)
    command = _values(log, motor.command, t_s)
    if command is None:
        unknown = np.full(len(t_s), np.nan)
        return _Logged(t_s, current_a, unknown, unknown, None, speed)
    channel = log.channels[motor.command or ""]
    return _Logged(t_s, current_a, command, _fullest(channel, t_s, command), channel.unit, speed)


def _fullest(channel: Channel, t_s: FloatArray, command: FloatArray) -> FloatArray:
    """The commands at other instants than they were read, shape (n,): of none and some, read about one, some.

    A current divided by a duty halfway between none and full would be none that ever flowed.
    """
    if channel.t_s is t_s or not channel.sampled:
        return command
    values, after = channel.canonical(), np.searchsorted(channel.t_s, t_s)
    sides = np.stack([values[np.clip(at, 0, len(values) - 1)] for at in (after - 1, after)])
    greater = np.where(np.abs(sides[0]) > np.abs(sides[1]), *sides)
    some = _SOME_DUTY * float(np.abs(values).max(initial=0.0))
    switched = (np.abs(sides).min(axis=0) < some) | (np.sign(sides[0]) != np.sign(sides[1]))
    return np.where(switched & ~np.isin(t_s, channel.t_s), greater, command)


def _frozen(t_s: FloatArray, lapses: Sequence[Lapse]) -> BoolArray:
    """Instants at which a channel repeats itself, shape (n,)."""
    spans_s = [(lapse.start_s, lapse.end_s) for lapse in lapses if lapse.kind == "frozen"]
    return within(t_s, np.asarray(spans_s).reshape(-1, 2))


def _values(log: Log, name: str | None, t_s: FloatArray) -> FloatArray | None:
    """A channel at the instants of another, in canonical units; None where it is not logged."""
    channel = log.channels.get(name) if name else None
    if channel is None or not len(channel.values):
        return None
    return _at(channel, t_s)


def _at(channel: Channel, t_s: FloatArray) -> FloatArray:
    if channel.t_s is t_s:
        return channel.canonical()
    if channel.sampled:
        return np.interp(t_s, channel.t_s, channel.canonical())
    return at_instants(channel.t_s, channel.canonical(), t_s)


def _voltage(log: Log, robot: Robot, motors: Mapping[str, _Logged]) -> tuple[FloatArray, FloatArray]:
    """The battery's voltage as instants and volts: logged, else assumed."""
    channel = _logged_voltage(log, robot)
    if channel is not None:
        return channel.t_s, channel.canonical()
    nominal_v = max((motor.nominal_v for motor in robot.motors.values()), default=12.0)
    if not motors:
        return np.zeros(1), np.full(1, nominal_v)
    t_s = max((channels.t_s for channels in motors.values()), key=len)
    drawn_a = _drawn_a(log, robot, motors, t_s)
    sag_v = ASSUMED_SOURCE_OHM * nominal_v / 12.0 * filled(drawn_a)
    return t_s, np.maximum(ASSUMED_OPEN_CIRCUIT * nominal_v - sag_v, nominal_v / 2)


def _logged_voltage(log: Log, robot: Robot) -> Channel | None:
    channel = log.channels.get(robot.supply.voltage) if robot.supply.voltage else None
    return channel if channel is not None and len(channel.values) else None


def _drawn_a(log: Log, robot: Robot, motors: Mapping[str, _Logged], t_s: FloatArray) -> FloatArray:
    """Out of the battery; a motor of which only the current is known is thought to be at full duty."""
    total = _values(log, robot.supply.current, t_s)
    if total is not None:
        return np.abs(total)
    drawn_a = np.zeros(len(t_s))
    for name, channels in motors.items():
        by_winding = robot.motors[name].current_side == "winding"
        unknown = 1.0 if channels.speed_rad_s is None and not np.isfinite(channels.command).any() else 0.0
        duty = np.minimum(np.abs(filled(channels.command, otherwise=unknown)), 1.0) if by_winding else 1.0
        drawn_a += np.interp(t_s, channels.t_s, np.abs(channels.current_a) * duty)
    return drawn_a


def _trace(
    name: str, motor: Motor, logged: _Logged, voltage_v: FloatArray, initial_heat: float
) -> MotorTrace:
    model = MotorModel.from_motor(motor)
    duty, said = duty_of(name, logged.command, logged.command_unit, voltage_v)
    per_unit = np.divide(duty, logged.command, out=np.ones(len(duty)), where=np.abs(logged.command) > 0)
    logged = replace(logged, command=duty, fullest=np.clip(logged.fullest * per_unit, -1.0, 1.0))
    logged_a, notes = believable_a(name, logged.current_a, motor)
    commanded = bool(np.isfinite(logged.command).any())
    turning = logged.command if commanded or logged.speed_rad_s is None else logged.speed_rad_s
    motoring = motoring_sign(logged.t_s, logged_a, turning, motor)
    current_a, heat, heat_range = _current_and_heat(
        logged, logged_a, motor, motoring, voltage_v, initial_heat
    )
    told = model is not None and logged.speed_rad_s is not None
    heat_source = heat_told_by(motor, commanded=commanded, turning=told)
    if heat_source == "supply current alone":
        heat_range = widest_range(
            logged.t_s, np.abs(logged_a), motor, model,
            voltage_v=voltage_v, motoring=motoring, initial_heat=initial_heat,
        )  # fmt: skip
        heat = np.full(len(heat), np.nan)
    drive = Drive(logged.command, voltage_v, current_a, winding_ohm(model, heat), motoring)
    speed = shaft_speed(name, motor, model, drive, logged.speed_rad_s)
    if heat_source == "supply current and command" and model is not None and speed.source == "channel":
        current_a = with_brakes(
            logged.t_s, current_a, logged.command, speed.rad_s,
            voltage_v=voltage_v, resistance_ohm=drive.resistance_ohm, model=model,
        )  # fmt: skip
        heat = heat_level(logged.t_s, current_a, motor, initial=initial_heat)
        drive = replace(drive, current_a=current_a)
    elif heat_source == "supply current and command" and model is not None:
        current_a, heat_range = in_rests(logged.t_s, drive, speed.rad_s, motor, model, heat, initial_heat)
        heat = heat_level(logged.t_s, current_a, motor, initial=initial_heat)
        heat = np.mean(heat_range, axis=0) if len(heat_range[0]) else heat
        drive = replace(drive, current_a=current_a)
    seldom = read_too_seldom(logged.t_s, current_a, heat, motor)
    notes = (*said, *notes, *heat_doubt(name, heat_source, heat, heat_range, seldom))
    heat_range = widened(heat, heat_range, seldom)
    needed_v = _needed_v(drive, speed, model)
    applied_v = np.where(np.isfinite(drive.applied_v), drive.applied_v, np.abs(needed_v))
    motoring = _motoring(drive, speed, applied_v, model)
    duty = np.where(
        np.isfinite(logged.command), np.abs(logged.command), needed_v / np.maximum(voltage_v, _LEAST_BUS_V)
    )
    return MotorTrace(
        t_s=logged.t_s,
        current_a=current_a,
        command=logged.command,
        speed_rad_s=speed.rad_s,
        speed_share=_speed_share(speed.rad_s, applied_v, motor, model),
        heat=heat,
        applied_v=applied_v,
        driven=_driven(logged.command, applied_v, motor),
        speed_source=speed.source,
        supply_a=supply_side_a(logged_a, current_a, np.clip(duty, -1.0, 1.0), motoring, motor),
        voltage_v=voltage_v,
        notes=(*notes, *speed.notes),
        heat_source=heat_source,
        heat_low=heat_range[0],
        heat_high=heat_range[1],
    )


def _current_and_heat(
    logged: _Logged,
    logged_a: FloatArray,
    motor: Motor,
    motoring: FloatArray,
    voltage_v: FloatArray,
    initial_heat: float,
) -> tuple[FloatArray, FloatArray, tuple[FloatArray, FloatArray]]:
    """The winding's current, its heat, and the heat's range (empty where it is told).

    Worked out twice where the one hangs on the other by its resistance.
    """
    model = MotorModel.from_motor(motor)
    ohm = winding_ohm(model, np.zeros(len(logged.t_s)))
    by_speed = motor.current_side == "supply" and not np.isfinite(logged.command).any() and model is not None
    for _ in range(2 if by_speed and logged.speed_rad_s is not None else 1):
        current_a, most_a = winding_a(
            logged.t_s, np.abs(logged_a), logged.fullest, motor, motoring=motoring,
            voltage_v=voltage_v, model=model, resistance_ohm=ohm, speed_rad_s=logged.speed_rad_s,
        )  # fmt: skip
        heat = heat_level(logged.t_s, current_a, motor, initial=initial_heat)
        ohm = winding_ohm(model, heat)
    if most_a is current_a:
        return current_a, heat, NO_RANGE
    most = heat_level(logged.t_s, most_a, motor, initial=initial_heat)
    return current_a, (heat + most) / 2, (heat, most)


def winding_ohm(model: MotorModel | None, heat: FloatArray) -> FloatArray:
    """The winding's resistance at each instant, shape (n,), as hot as the thermal replica has it.

    As cold as the data sheet's where `heat` is NaN; NaN without a data sheet.
    """
    if model is None:
        return np.full(len(heat), np.nan)
    level = np.minimum(filled(heat), _MOST_LEVEL)
    return np.asarray(model.resistance_ohm * (1 + ALPHA20_PER_K * _RISE_AT_LIMIT_K * level))


def _needed_v(drive: Drive, speed: Speed, model: MotorModel | None) -> FloatArray:
    """The voltage at the winding that current and speed together need, along the rotation; NaN if unknown."""
    if model is None:
        return np.full(len(drive.current_a), np.nan)
    drop_v = drive.motoring * drive.current_a * model.resistance_ohm
    return np.asarray(drop_v + np.abs(speed.rad_s) * model.k_v_s_per_rad)


def _motoring(drive: Drive, speed: Speed, applied_v: FloatArray, model: MotorModel | None) -> FloatArray:
    """-1 where it gives energy back: by the log's own signs, else by turning faster than its voltage asks."""
    if model is None or speed.source != "channel" or not np.isfinite(drive.command).any():
        return drive.motoring
    overhauled = speed.rad_s * model.k_v_s_per_rad - applied_v > 0.01 * model.nominal_v
    return np.where(overhauled, -1.0, drive.motoring)


def _speed_share(
    speed_rad_s: FloatArray, applied_v: FloatArray, motor: Motor, model: MotorModel | None
) -> FloatArray:
    """Speed over the free speed at the voltage applied; without a full data sheet that is in proportion."""
    share = np.full(len(speed_rad_s), np.nan)
    if model is not None:
        free = model.free_speed_rad_s(applied_v)
    elif motor.free_speed_rpm is not None:
        free = applied_v / motor.nominal_v * motor.free_speed_rpm * RAD_S_PER_RPM
    else:
        return share
    known = np.isfinite(speed_rad_s) & (applied_v >= _LEAST_APPLIED_V) & (free > 0)
    np.divide(speed_rad_s, free, out=share, where=known)
    return share


def _driven(command: FloatArray, applied_v: FloatArray, motor: Motor) -> BoolArray:
    known = np.isfinite(command)
    by_voltage = applied_v >= DRIVEN_COMMAND * motor.nominal_v
    return np.where(known, np.abs(command) >= DRIVEN_COMMAND, by_voltage)

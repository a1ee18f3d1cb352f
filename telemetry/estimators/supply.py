"""The battery: open-circuit voltage, source resistance, dips, charge and energy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from telemetry.estimators.energy import by_mechanism_wh, by_phase, motor_power_w, running_integral
from telemetry.estimators.motors import supply_current_a
from telemetry.estimators.source import source_stretches, source_windows
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.match import Match
from telemetry.records.motors import MotorTrace
from telemetry.records.supply import Dip, SourceStretch, Supply
from telemetry.robot import Robot
from telemetry.signals import dips, filled

__all__ = ["DIP_HYSTERESIS_V", "judge_supply", "total_current_a"]

DIP_HYSTERESIS_V = 0.24
"""2 % of a declared 12 V: IEC 61000-4-30, hysteresis of a dip (the figure from memory)."""

_LEAST_LOAD_A = 20.0
_LEAST_LOADED = 20
_FITS = (0.6, 1.7)
_UNITS = (1e-3, 1e3)
_KNOWN_WITHIN = 0.05
"""A resistance whose interval of 95 % is wider is not told (our choice)."""


def judge_supply(
    log: Log, robot: Robot, motors: Mapping[str, MotorTrace], match: Match | None = None
) -> Supply | None:
    """The supply over one match, or None where its voltage was not logged."""
    channel = log.channels.get(robot.supply.voltage) if robot.supply.voltage else None
    if channel is None or not len(channel.values):
        return None
    t_s, voltage_v = channel.t_s, channel.canonical()
    current_a, notes = total_current_a(log, robot, motors, t_s)
    known = np.isfinite(current_a)
    told = bool(known.any())
    stretches = source_stretches(t_s[known], voltage_v[known], current_a[known]) if told else ()
    energy_wh = running_integral(t_s, voltage_v * current_a) / 3600
    return Supply(
        t_s=t_s,
        voltage_v=voltage_v,
        open_circuit_v=stretches[0].open_circuit_v if stretches else None,
        resistance_ohm=stretches[-1].resistance_ohm if stretches and _is_known(stretches[-1]) else None,
        lowest_v=float(voltage_v.min()),
        dips=_dips(t_s, voltage_v, float(log.t_s[-1]), robot.supply.dip_v),
        energy_wh=float(energy_wh[-1]) if told else None,
        charge_ah=float(running_integral(t_s, current_a)[-1] / 3600) if told else None,
        energy_by_phase_wh=by_phase(match, t_s, energy_wh) if told and match is not None else None,
        energy_by_mechanism_wh=_by_mechanism(robot, motors),
        source=stretches,
        windows=source_windows(t_s[known], voltage_v[known], current_a[known]) if stretches else (),
        current_a=current_a,
        notes=(*notes, *_doubt(stretches)),
    )


def _is_known(stretch: SourceStretch) -> bool:
    return stretch.high_ohm - stretch.low_ohm <= 2 * _KNOWN_WITHIN * stretch.resistance_ohm


def _doubt(stretches: Sequence[SourceStretch]) -> tuple[str, ...]:
    if not stretches or _is_known(stretches[-1]):
        return ()
    return (
        "The resistance of the battery and its leads is not told: the known current hardly changed, or "
        "does not account for the voltage.",
    )


def _dips(t_s: FloatArray, voltage_v: FloatArray, end_s: float, dip_v: float) -> tuple[Dip, ...]:
    found = dips(voltage_v, dip_v, DIP_HYSTERESIS_V)
    until = np.append(t_s, end_s)
    return tuple(Dip(float(t_s[first]), float(until[last]), residual) for first, last, residual in found)


def _by_mechanism(robot: Robot, motors: Mapping[str, MotorTrace]) -> dict[str, float]:
    energies_wh: dict[str, float | None] = {}
    for name, trace in motors.items():
        power_w = motor_power_w(trace)
        energies_wh[name] = (
            None if power_w is None else float(running_integral(trace.t_s, power_w)[-1] / 3600)
        )
    return by_mechanism_wh(robot, energies_wh)


def total_current_a(
    log: Log, robot: Robot, motors: Mapping[str, MotorTrace], t_s: FloatArray
) -> tuple[FloatArray, tuple[str, ...]]:
    """Current out of the battery at each instant, shape (n,), and what is odd about its channel.

    Its channel, else the sum of the motors; positive means out of the battery. A channel wired the other way
    round is turned about, since over a match more goes out than comes back; one that is a thousand times the
    motors' sum, or a thousandth of it, is set right; one that contradicts it otherwise is left aside. NaN
    where nothing tells; a motor whose duty is not known cannot be part of a sum.
    """
    channel = log.channels.get(robot.supply.current) if robot.supply.current else None
    summed_a = _summed_a(motors, t_s)
    if channel is None or not len(channel.values):
        return summed_a, ()
    logged_a = channel.canonical()
    notes: tuple[str, ...] = ()
    if logged_a.mean() < 0:
        logged_a = -logged_a
        notes = ("The total current is logged with its sign turned about: taken the other way round.",)
    total_a = np.interp(t_s, channel.t_s, logged_a, left=np.nan, right=np.nan)
    factor, said = _scale(total_a, summed_a)
    if factor is None:
        return summed_a, (*notes, said)
    return total_a * factor, (*notes, said) if said else notes


def _summed_a(motors: Mapping[str, MotorTrace], t_s: FloatArray) -> FloatArray:
    if not motors:
        return np.full(len(t_s), np.nan)
    parts = []
    for trace in motors.values():
        drawn_a = supply_current_a(trace)
        same = trace.t_s is t_s
        parts.append(drawn_a if same else np.interp(t_s, trace.t_s, drawn_a, left=np.nan, right=np.nan))
    return np.asarray(np.sum(parts, axis=0))


def _scale(total_a: FloatArray, summed_a: FloatArray) -> tuple[float | None, str]:
    """What the total must be multiplied by to fit the motors' sum, None where nothing does; what to say."""
    loaded: BoolArray = np.isfinite(total_a) & (filled(summed_a) > _LEAST_LOAD_A)
    if np.count_nonzero(loaded) < _LEAST_LOADED:
        return 1.0, ""
    ratio = float(np.median(total_a[loaded] / summed_a[loaded]))
    if _FITS[0] <= ratio <= _FITS[1] or ratio <= 0:
        return 1.0, ""
    for factor in _UNITS:
        if _FITS[0] <= ratio * factor <= _FITS[1]:
            return (
                factor,
                f"The total current is taken {factor:g} times as logged: so it fits the motors' sum.",
            )
    if ratio > _FITS[1]:
        return 1.0, ""
    return None, (
        f"The total current is only {ratio:.2g} times the sum of the motors': their sum is taken instead."
    )

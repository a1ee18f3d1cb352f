"""What a simulated match truly holds of motor and supply troubles, worked out from its trace.

By loops at one millisecond that share nothing with the detectors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from telemetry.simulator import (
    BadJoint,
    BreakerCycling,
    Fighting,
    MotorSpec,
    MotorUnplugged,
    SimulatedMatch,
    TwinSpec,
)

__all__ = ["Trouble", "heat_levels", "truth_of"]

_SLACK_S = 0.5
_STEP_S = 0.001
_STANDS = ("stall", "near_stall")
_LEVEL_SLACK_V, _RECOVERED_V, _SHOWS_S = 0.15, 0.4, 0.2


@dataclass(frozen=True)
class Trouble:
    """A true or found trouble."""

    kind: str
    subject: str
    start_s: float
    end_s: float

    def meets(self, other: Trouble) -> bool:
        """Whether both are of one kind and subject and overlap, within half a second."""
        same = (self.kind, self.subject) == (other.kind, other.subject)
        return same and self.start_s - _SLACK_S < other.end_s and other.start_s - _SLACK_S < self.end_s


def truth_of(match: SimulatedMatch) -> tuple[tuple[Trouble, ...], tuple[Trouble, ...]]:
    """What there is to find, and what is so near its limit, or so hidden, that either answer is right."""
    sure: list[Trouble] = []
    excused: list[Trouble] = []
    for place, motor in enumerate(match.spec.motors):
        for found, unsure in (
            _stalls(match, place, motor),
            _dead(match, place, motor),
            _loads(match, place, motor),
        ):
            sure += found
            excused += unsure
    for twin in match.spec.twins:
        found, unsure = _shares(match, twin)
        sure += found
        excused += unsure
    for name in _opposed(match):
        sure = [one for one in sure if (one.subject, one.kind in _STANDS) != (name, True)]
        excused += [Trouble(kind, name, 0.0, match.plan.length_s) for kind in _STANDS]
    found, unsure = _low_voltage(match)
    sure += found
    excused += unsure
    for record in match.truth["faults"]:
        if record["kind"] == "source_resistance":
            sure.append(Trouble("source_resistance", "supply", record["start_s"] - 3, record["start_s"] + 6))
    return tuple(sure), tuple(excused)


def _stalls(match: SimulatedMatch, place: int, motor: MotorSpec) -> tuple[list[Trouble], list[Trouble]]:
    """Driven below 5 % for a quarter second, 5 to 20 % for half a second; a tenth either way is excused."""
    trace = match.trace
    duty, speed = np.abs(trace.duty[place]), trace.speed_rad_s[place] * np.sign(trace.duty[place])
    current = np.abs(trace.current_a[place])
    applied_v = duty * trace.bus_v
    free = np.maximum(applied_v - motor.free_current_a * motor.resistance_ohm, 1e-9) / motor.constant_v_s
    share = speed / free
    driven = (duty >= 0.2) & (current > 0.3 * applied_v / motor.resistance_ohm)
    sure, unsure = [], []
    for kind, low, high, least_s in (("stall", -0.05, 0.05, 0.25), ("near_stall", -0.05, 0.20, 0.5)):
        for factor, into in ((1.0, sure), (0.6, unsure)):
            edge = high * (1.0 if factor == 1.0 else 1.3)
            for start_s, end_s in _spans(driven & (share > low) & (share < edge)):
                if end_s - start_s < factor * least_s:
                    continue
                inside = slice(round(start_s * 1000), round(end_s * 1000))
                stood = any(stop - go >= 0.2 for go, stop in _spans(share[inside] < 0.05))
                told = unsure if kind == "near_stall" and stood else into
                told.append(Trouble(kind, motor.name, start_s, end_s))
    near_limit = [one for one in sure if one.end_s - one.start_s < (0.35 if one.kind == "stall" else 0.8)]
    return [one for one in sure if one not in near_limit], [*unsure, *near_limit]


def _spans(flagged: np.ndarray) -> list[tuple[float, float]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flagged, [False]]).astype(int)))
    return [(a * _STEP_S, b * _STEP_S) for a, b in edges.reshape(-1, 2).tolist()]


def _low_voltage(match: SimulatedMatch) -> tuple[list[Trouble], list[Trouble]]:
    """Dips that stay above the brownout level, and brownouts, for the whole match.

    Within 0.15 V of a level, or shorter than two readings of the slowest logger, either answer is right.
    """
    bus_v, battery = match.trace.bus_v, match.spec.battery
    edge_v = _LEVEL_SLACK_V
    falls = [
        bus_v[round(start_s * 1000) : round(end_s * 1000)]
        for start_s, end_s in _spans(bus_v < battery.dip_v + _RECOVERED_V)
    ]
    deep = [part for part in falls if part.min() < battery.brownout_v + edge_v]
    shallow = [part for part in falls if part.min() >= battery.brownout_v + edge_v]
    sure, unsure = [], []
    for kind, level_v, parts, near in (
        ("voltage_dip", battery.dip_v, shallow, falls),
        ("brownout", battery.brownout_v, deep, deep),
    ):
        whole = Trouble(kind, "supply", 0.0, match.plan.length_s)
        if any((part < level_v - edge_v).sum() * _STEP_S >= _SHOWS_S for part in parts):
            sure.append(whole)
        elif any(part.min() < level_v + edge_v for part in near):
            unsure.append(whole)
    return sure, unsure


def _dead(match: SimulatedMatch, place: int, motor: MotorSpec) -> tuple[list[Trouble], list[Trouble]]:
    """Injected interruptions, where they were long enough under command to show."""
    sure, unsure = [], []
    duty = np.abs(match.trace.duty[place]) >= 0.2
    windows = [
        (fault, start_s, min(end_s, match.plan.length_s))
        for fault in match.faults
        if isinstance(fault, MotorUnplugged | BreakerCycling) and fault.motor == motor.name
        for start_s, end_s in _windows(fault)
    ]
    seen = [
        (fault, start_s, end_s)
        for fault, start_s, end_s in windows
        if duty[round(start_s * 1000) : round(end_s * 1000)].sum() * _STEP_S >= 1.0
    ]
    cycling = [window for window in seen if isinstance(window[0], BreakerCycling)]
    if _opens_under_command(match, place, motor, [(start_s, end_s) for _, start_s, end_s in cycling]):
        sure.append(Trouble("breaker_cycling", motor.name, cycling[0][1], cycling[-1][2]))
    elif windows and isinstance(windows[0][0], BreakerCycling):
        unsure += [
            Trouble(kind, motor.name, windows[0][1], windows[-1][2])
            for kind in ("no_draw", "breaker_cycling")
        ]
    for fault, start_s, end_s in windows:
        if isinstance(fault, MotorUnplugged):
            into = sure if (fault, start_s, end_s) in seen else unsure
            into.append(Trouble("no_draw", motor.name, start_s, end_s))
        else:
            unsure.append(Trouble("no_draw", motor.name, start_s, end_s))
    if windows:
        unsure.append(Trouble("load_share", motor.mechanism, windows[0][1], windows[-1][2]))
    return sure, unsure


def _opens_under_command(
    match: SimulatedMatch, place: int, motor: MotorSpec, windows: list[tuple[float, float]]
) -> bool:
    """Whether load, none and load again follow each other twice, the current lost or back under command.

    What opens and closes again while nothing is asked of the motor is, in a log, a lead that was off.
    """
    trace = match.trace
    driven = np.abs(trace.duty[place]) >= 0.2
    draws = driven & (np.abs(trace.current_a[place]) > motor.free_current_a)

    def seconds(flagged: np.ndarray, from_s: float, to_s: float) -> float:
        return float(flagged[max(round(from_s * 1000), 0) : round(to_s * 1000)].sum() * _STEP_S)

    edges = [0.0, *(edge for window in windows for edge in window), match.plan.length_s]
    shown = [
        seconds(draws, edges[2 * number], start_s) >= 0.3
        and seconds(draws, end_s, edges[2 * number + 3]) >= 0.3
        and (
            min(seconds(draws, start_s - 0.3, start_s), seconds(driven, start_s, start_s + 0.5)) >= 0.2
            or min(seconds(driven, end_s - 0.5, end_s), seconds(draws, end_s, end_s + 0.3)) >= 0.2
        )
        for number, (start_s, end_s) in enumerate(windows)
    ]
    return sum(shown) >= 2


def _opposed(match: SimulatedMatch) -> list[str]:
    """Motors that hold each other fast, or turn one another backwards: whether they stall is a word."""
    turned = {fault.motor for fault in match.faults if isinstance(fault, Fighting) and fault.duty_factor < 0}
    return [
        name
        for twin in match.spec.twins
        if twin.motor.name in turned
        for name in (twin.motor.name, twin.beside)
    ]


def _shares(match: SimulatedMatch, twin: TwinSpec) -> tuple[list[Trouble], list[Trouble]]:
    """Two motors on one shaft: open, behind a joint that halves the current, or mostly against the rotation.

    What is milder, or seen for less than ten seconds, may be told or not.
    """
    names = [motor.name for motor in match.spec.motors]
    lead, other = names.index(twin.beside), names.index(twin.motor.name)
    end_s, mechanism = match.plan.length_s, twin.motor.mechanism
    driven = np.abs(match.trace.duty[lead]) >= 0.2
    sure, unsure = [], []
    for fault in match.faults:
        if not isinstance(fault, MotorUnplugged | BadJoint) or fault.motor not in (names[lead], names[other]):
            continue
        worked_s = driven[round(fault.from_s * 1000) :].sum() * _STEP_S
        plain = worked_s >= 10.0 and (isinstance(fault, MotorUnplugged) or fault.factor >= 1.6)
        (sure if plain else unsure).append(Trouble("load_share", mechanism, fault.from_s, end_s))
    fights = [fault.from_s for fault in match.faults if isinstance(fault, Fighting)]
    if twin.gear != 1.0 or fights:
        from_s = fights[0] if fights else 0.0
        told = sure if _against(match, lead, other, from_s) >= 0.4 else unsure
        told.append(Trouble("load_share", mechanism, from_s, end_s))
    return sure, unsure


def _against(match: SimulatedMatch, lead: int, other: int, from_s: float) -> float:
    """How much of its driven time one of two motors pushes against the rotation and the other along it."""
    trace, after = match.trace, slice(round(from_s * 1000), None)
    moving = (np.abs(trace.duty[lead]) >= 0.2)[after] & (np.abs(trace.speed_rad_s[lead]) > 5.0)[after]
    push = [np.sign(trace.current_a[place] * trace.speed_rad_s[place])[after] for place in (lead, other)]
    return float((push[0] * push[1] < 0)[moving].mean()) if moving.sum() >= 10_000 else 0.0


def _windows(fault: MotorUnplugged | BreakerCycling) -> list[tuple[float, float]]:
    if isinstance(fault, MotorUnplugged):
        return [(fault.from_s, fault.to_s)]
    starts = [fault.from_s + number * (fault.off_s + fault.on_s) for number in range(fault.times)]
    return [(start_s, start_s + fault.off_s) for start_s in starts]


def _loads(match: SimulatedMatch, place: int, motor: MotorSpec) -> tuple[list[Trouble], list[Trouble]]:
    """Heat, breaker and chain by their own levels; a fifth below to a quarter above a limit is excused.

    So is a load that is shared unevenly in truth, by the trace, though no fault made it so: a winding far
    hotter than its partner's resists the more.
    """
    trace, name = match.trace, motor.name
    whole = Trouble("", name, 0.0, match.plan.length_s)
    levels = {
        "overheat": (heat_levels(trace.current_a[place], motor).max(), 0.8),
        "breaker_risk": (_breaker(np.maximum(trace.duty[place] * trace.current_a[place], 0.0), motor), 0.8),
    }
    if motor.chain is not None:
        levels["chain_risk"] = (_chain(np.abs(trace.current_a[place]).max(), motor), 0.33)
    sure = [replace(whole, kind=kind) for kind, (level, limit) in levels.items() if level >= 1.25 * limit]
    less = [Trouble("load_share", motor.mechanism, 0.0, whole.end_s)] if _bears_less(match, place) else []
    unsure = [
        replace(whole, kind=kind) for kind, (level, limit) in levels.items() if 0.8 < level / limit < 1.25
    ]
    return sure, [*unsure, *less]


def _bears_less(match: SimulatedMatch, place: int) -> bool:
    """Whether a motor drew less than four fifths of what its partners did, each of its stall current."""
    motors, trace = match.spec.motors, match.trace
    beside = [
        number
        for number, other in enumerate(motors)
        if number != place and other.mechanism == motors[place].mechanism
    ]
    if not beside:
        return False
    driven = np.all([np.abs(trace.duty[number]) >= 0.2 for number in (place, *beside)], axis=0)
    drawn = [
        np.abs(trace.current_a[number][driven]).sum() / motors[number].stall_current_a
        for number in (place, *beside)
    ]
    return bool(drawn[0] < 0.8 * np.mean(drawn[1:]))


def heat_levels(current_a: np.ndarray, motor: MotorSpec) -> np.ndarray:
    level, levels = 0.0, []
    for square in np.square(current_a[: len(current_a) // 20 * 20]).reshape(-1, 20).mean(axis=1).tolist():
        target = square / motor.continuous_current_a**2
        constant_s = motor.heating_time_constant_s if target > level else motor.cooling_time_constant_s
        level += (target - level) * -math.expm1(-0.02 / constant_s)
        levels.append(level)
    return np.array(levels)


def _breaker(supply_a: np.ndarray, motor: MotorSpec) -> float:
    """The general curve, from 1.35 times 60 s over 2 times 4 s to 6 times 0.5 s; recovery within a minute."""
    level = peak = 0.0
    for multiple in (supply_a / motor.breaker_a)[::5].tolist():
        if multiple < 1.35:
            level *= math.exp(-0.005 / 60)
            continue
        low, high = ((1.35, 60.0), (2.0, 4.0)) if multiple < 2 else ((2.0, 4.0), (6.0, 0.5))
        slope = math.log(high[1] / low[1]) / math.log(high[0] / low[0])
        trip_s = 0.5 * (6 / multiple) ** 2 if multiple > 6 else low[1] * (multiple / low[0]) ** slope
        level += 0.005 / trip_s
        peak = max(peak, level)
    return peak


def _chain(peak_a: float, motor: MotorSpec) -> float:
    if motor.chain is None:
        return 0.0
    torque_nm = motor.constant_v_s * (peak_a - motor.free_current_a) * motor.reduction
    diameter_m = motor.chain.pitch_in * 0.0254 / math.sin(math.pi / motor.chain.sprocket_teeth)
    return 2 * torque_nm / diameter_m / (motor.chain.breaking_load_lbf * 4.4482216152605)

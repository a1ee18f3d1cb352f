"""How well motor and supply troubles are found: `python -m tests.benchmarks.motor_accuracy`.

Every robot differs from the demo robot in its motors' constants, gearing and battery, and its logger in
rate, units, shape and in which channels it writes. Truth is worked out here from the simulated trace at one
millisecond, by loops that share nothing with the detectors. Prints precision, recall and F1 by kind, what was
said of clean matches, and the errors of heat and source resistance.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

import parsers
from telemetry.analysis import Analysis
from telemetry.judge import judge
from telemetry.robot_file import read_robot
from telemetry.simulator import (
    BreakerCycling,
    ChainSpec,
    Fault,
    FeedJam,
    LimitDead,
    LimitOverrun,
    LoggerSpec,
    LooseLug,
    MatchPlan,
    MotorSpec,
    MotorUnplugged,
    RobotSpec,
    SimulatedMatch,
    relog,
    simulate_match,
    write_match,
)

KINDS = (
    "stall", "near_stall", "no_draw", "breaker_cycling", "overheat", "breaker_risk", "chain_risk",
    "source_resistance", "load_share",
)  # fmt: skip

_STEPS = ("motors", "motor_states", "supply")
RATES_HZ = (10.0, 20.0, 50.0, 100.0, 250.0)
OMITTED: tuple[tuple[str, ...], ...] = ((), ("speed",), ("duty",), ("battery",), ("speed", "battery"))
_SLACK_S = 0.5
_STEP_S = 0.001


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


@dataclass(frozen=True)
class Sheet:
    """What a scenario's match proved to hold, and what was found in one log of it."""

    name: str
    truth: tuple[Trouble, ...]
    excused: tuple[Trouble, ...]
    analysis: Analysis
    match: SimulatedMatch


def main() -> None:
    """Simulate, judge, compare, print."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--robots", type=int, default=24)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--quiet", action="store_true")
    told = arguments.parse_args()
    sheets = []
    for number in range(told.robots):
        sheets += _robot_sheets(told.seed * 1000 + number)
    _report(sheets, quiet=told.quiet)


def _robot_sheets(seed: int) -> list[Sheet]:
    rng = np.random.default_rng(seed)
    spec, plan = _robot(rng), MatchPlan(teleop_s=float(rng.uniform(70, 135)))
    sheets = []
    for name, faults, own in _scenarios(spec, plan, rng):
        match = simulate_match(own, seed=seed, faults=faults, plan=plan)
        truth, excused = _truth(match)
        for omitted in _some(OMITTED, rng, 2):
            logger = _logger(own, omitted, rng)
            again = relog(match, logger)
            label = f"{seed} {name} {logger.rate_hz:g} Hz without {','.join(omitted) or 'nothing'}"
            sheets.append(Sheet(label, truth, excused, _analysis(again, rng), again))
    return sheets


def _some(choices: Sequence[Any], rng: np.random.Generator, number: int) -> list[Any]:
    return [choices[place] for place in rng.permutation(len(choices))[:number]]


def _robot(rng: np.random.Generator) -> RobotSpec:
    """The demo robot with other motors, gears and battery, that still does its work."""
    jay = RobotSpec()
    motors = {
        role: _varied(getattr(jay, role), rng)
        for role in ("drive_left", "intake", "feed", "launcher", "hoist")
    }
    motors["drive_right"] = replace(motors["drive_left"], name="drive_right")
    battery = replace(
        jay.battery,
        open_circuit_v=float(rng.uniform(12.4, 13.0)),
        resistance_ohm=float(rng.uniform(0.012, 0.028)),
        sag_v_per_ah=float(rng.uniform(0.05, 0.3)),
    )
    return replace(jay, battery=battery, mass_kg=float(rng.uniform(40, 60)), **motors)


def _varied(motor: MotorSpec, rng: np.random.Generator) -> MotorSpec:
    faster = float(rng.uniform(0.85, 1.25))
    return replace(
        motor,
        free_speed_rpm=motor.free_speed_rpm * faster,
        reduction=motor.reduction * faster * float(rng.uniform(0.9, 1.1)),
        stall_current_a=motor.stall_current_a * float(rng.uniform(0.8, 1.4)),
        free_current_a=motor.free_current_a * float(rng.uniform(0.6, 1.5)),
        rotor_inertia_kg_m2=motor.rotor_inertia_kg_m2 * float(rng.uniform(0.6, 1.6)),
        heating_time_constant_s=float(rng.uniform(40, 140)),
        cooling_time_constant_s=float(rng.uniform(200, 600)),
        current_side="supply" if rng.random() < 0.2 else "winding",
    )


def _scenarios(
    spec: RobotSpec, plan: MatchPlan, rng: np.random.Generator
) -> Iterable[tuple[str, tuple[Fault, ...], RobotSpec]]:
    at_s = float(rng.uniform(25, 40))
    motor = str(rng.choice(["feed", "intake", "drive_left", "launcher"]))
    weak = str(rng.choice(["feed", "drive_left", "launcher"]))
    jam = FeedJam(held_s=float(rng.uniform(0.6, 4)))
    lug = LooseLug(from_s=at_s, resistance_ohm=spec.battery.resistance_ohm * float(rng.uniform(1.35, 2.5)))
    cycling = BreakerCycling(motor=motor, from_s=at_s, off_s=float(rng.uniform(1.5, 5)), on_s=6.0, times=3)
    return [
        ("clean", (), spec),
        ("jams", (jam, FeedJam(held_s=float(rng.uniform(0.4, 3)))), spec),
        ("hoist", (LimitOverrun(),) if rng.random() < 0.5 else (LimitDead(limit="hoist_high"),), spec),
        (
            "unplugged",
            (MotorUnplugged(motor=motor, from_s=at_s, to_s=float(rng.choice([at_s + 30, 1e9]))),),
            spec,
        ),
        ("cycling", (cycling,), spec),
        ("lug", (lug,), spec),
        ("weak", (jam,), _weakened(spec, weak, rng)),
    ]


def _weakened(spec: RobotSpec, name: str, rng: np.random.Generator) -> RobotSpec:
    """One motor with a small thermal limit, a small breaker and a thin chain."""
    motor = getattr(spec, name)
    weak = replace(
        motor,
        continuous_current_a=motor.continuous_current_a * float(rng.uniform(0.15, 0.5)),
        breaker_a=float(rng.choice([5, 8, 10, 15])),
        chain=ChainSpec(breaking_load_lbf=float(rng.uniform(40, 160))),
    )
    return replace(spec, **{name: weak})


def _logger(spec: RobotSpec, omitted: tuple[str, ...], rng: np.random.Generator) -> LoggerSpec:
    keys = {
        "battery": ("battery.voltage",),
        "speed": tuple(f"{name}.speed" for name in spec.motor_names),
        "duty": tuple(f"{name}.duty" for name in spec.motor_names),
    }
    return LoggerSpec(
        rate_hz=float(rng.choice(RATES_HZ)),
        jitter_s=float(rng.choice([0.002, 0.004])),
        time_unit=str(rng.choice(["s", "ms"])),  # type: ignore[arg-type]
        current_unit=str(rng.choice(["A", "mA"])),  # type: ignore[arg-type]
        voltage_unit=str(rng.choice(["V", "mV"])),  # type: ignore[arg-type]
        speed_unit=str(rng.choice(["rpm", "rad_s"])),  # type: ignore[arg-type]
        omit=(*(key for what in omitted for key in keys[what]), *(("total",) if rng.random() < 0.4 else ())),
    )


def _analysis(match: SimulatedMatch, rng: np.random.Generator) -> Analysis:
    with tempfile.TemporaryDirectory() as folder:
        form = "long" if rng.random() < 0.15 and match.logger.rate_hz <= 50 else "parquet"
        path = write_match(match, Path(folder), form)  # type: ignore[arg-type]
        robot = read_robot(Path(folder) / "robot.toml")
        analysis = judge(parsers.read_log(path, overrides=robot.log), robot, name="match")[0]
    broken = [one for one in analysis.failures if one.split(":")[0].split(" of ")[0] in (*KINDS, *_STEPS)]
    if broken:
        raise RuntimeError(f"a step broke: {broken}")
    return analysis


# Truth, from the trace


def _truth(match: SimulatedMatch) -> tuple[tuple[Trouble, ...], tuple[Trouble, ...]]:
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
                if kind == "near_stall" and stood:
                    into = unsure
                into.append(Trouble(kind, motor.name, start_s, end_s))
    near_limit = [one for one in sure if one.end_s - one.start_s < (0.35 if one.kind == "stall" else 0.8)]
    return [one for one in sure if one not in near_limit], [*unsure, *near_limit]


def _spans(flagged: np.ndarray) -> list[tuple[float, float]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flagged, [False]]).astype(int)))
    return [(a * _STEP_S, b * _STEP_S) for a, b in edges.reshape(-1, 2).tolist()]


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
    if len(cycling) >= 2:
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
    if motor.mechanism == "drive" and windows:
        unsure.append(Trouble("load_share", "drive", windows[0][1], windows[-1][2]))
    return sure, unsure


def _windows(fault: MotorUnplugged | BreakerCycling) -> list[tuple[float, float]]:
    if isinstance(fault, MotorUnplugged):
        return [(fault.from_s, fault.to_s)]
    starts = [fault.from_s + number * (fault.off_s + fault.on_s) for number in range(fault.times)]
    return [(start_s, start_s + fault.off_s) for start_s in starts]


def _loads(match: SimulatedMatch, place: int, motor: MotorSpec) -> tuple[list[Trouble], list[Trouble]]:
    """Heat, breaker and chain by their own levels; a fifth below to a quarter above a limit is excused."""
    trace, name = match.trace, motor.name
    whole = Trouble("", name, 0.0, match.plan.length_s)
    levels = {
        "overheat": (_heat(trace.current_a[place], motor).max(), 0.8),
        "breaker_risk": (_breaker(np.maximum(trace.duty[place] * trace.current_a[place], 0.0), motor), 0.8),
    }
    if motor.chain is not None:
        levels["chain_risk"] = (_chain(np.abs(trace.current_a[place]).max(), motor), 0.33)
    sure = [replace(whole, kind=kind) for kind, (level, limit) in levels.items() if level >= 1.25 * limit]
    unsure = [
        replace(whole, kind=kind) for kind, (level, limit) in levels.items() if 0.8 < level / limit < 1.25
    ]
    return sure, unsure


def _heat(current_a: np.ndarray, motor: MotorSpec) -> np.ndarray:
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


# The table


def _report(sheets: Sequence[Sheet], *, quiet: bool) -> None:
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for sheet in sheets:
        _count(sheet, counts, quiet=quiet)
    print(f"{len(sheets)} logs")
    heads = ("kind", "true", "found", "missed", "false", "precision", "recall", "F1", "not judged")
    print("{:18} {:>5} {:>6} {:>7} {:>6} {:>10} {:>7} {:>6} {:>11}".format(*heads))
    for kind in KINDS:
        right, missed, false = (counts[kind][what] for what in ("right", "missed", "false"))
        precision = right / (right + false) if right + false else math.nan
        recall = right / (right + missed) if right + missed else math.nan
        f1 = 2 * right / (2 * right + missed + false) if right + missed + false else math.nan
        print(
            f"{kind:18} {right + missed:5} {right:6} {missed:7} {false:6} "
            f"{precision:10.3f} {recall:7.3f} {f1:6.3f} {counts[kind]['not judged']:11}"
        )
    clean = [sheet for sheet in sheets if not sheet.match.faults and not sheet.truth]
    said = sum(finding.kind in KINDS for sheet in clean for finding in sheet.analysis.findings)
    print(f"clean matches: {len(clean)}, findings in them: {said}")
    _report_figures(sheets)


def _count(sheet: Sheet, counts: dict[str, Counter[str]], *, quiet: bool) -> None:
    found = [
        Trouble(finding.kind, finding.subject, finding.start_s, finding.end_s)
        for finding in sheet.analysis.findings
        if finding.kind in KINDS
    ]
    judged = {
        (check.kind, check.subject) for check in sheet.analysis.checks if check.verdict != "not_evaluated"
    }
    for true in sheet.truth:
        hit = any(true.meets(one) for one in found)
        if not hit and (true.kind, true.subject) not in judged:
            counts[true.kind]["not judged"] += 1
            continue
        counts[true.kind]["right" if hit else "missed"] += 1
        if not hit and not quiet:
            print("missed", sheet.name, true)
    for one in found:
        if not any(one.meets(true) for true in (*sheet.truth, *sheet.excused)):
            counts[one.kind]["false"] += 1
            if not quiet:
                print("false ", sheet.name, one)


def _report_figures(sheets: Sequence[Sheet]) -> None:
    heat, ohms = [], []
    for sheet in sheets:
        for place, motor in enumerate(sheet.match.spec.motors):
            use = sheet.analysis.motor_use.get(motor.name)
            if use is None or use.peak_heat is None:
                continue
            levels = _heat(sheet.match.trace.current_a[place], motor)
            errors = (abs(use.peak_heat - levels.max()), abs(use.end_heat - levels[-1]))
            heat.append((*errors, sheet.name, motor, float(levels.max())))
        supply = sheet.analysis.supply
        if supply is not None and supply.resistance_ohm is not None:
            true_ohm = sheet.match.truth["supply"]["resistance_ohm"]
            ohms.append((abs(supply.resistance_ohm / true_ohm - 1), sheet.name))
    for side in ("winding", "supply"):
        of_side = [one for one in heat if one[3].current_side == side]
        if not of_side:
            continue
        right = sum(max(one[:2]) <= 0.03 * max(1.0, one[4]) for one in of_side)
        worst = max(of_side, key=lambda one: max(one[:2]) / max(1.0, one[4]))
        print(
            f"heat by {side}-side current: {right} of {len(of_side)} within 0.03 (3 % above 1.0); "
            f"worst {max(worst[:2]):.3f} of {worst[4]:.2f} ({worst[2]}, {worst[3].name})"
        )
    near = sum(one[0] <= 0.05 for one in ohms) / len(ohms)
    print(
        f"source resistance: {near:.1%} of {len(ohms)} within 5 %; worst {max(ohms)[0]:.1%} ({max(ohms)[1]})"
    )


if __name__ == "__main__":
    sys.exit(main())

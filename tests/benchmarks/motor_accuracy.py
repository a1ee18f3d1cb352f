"""How well motor and supply troubles are found: `python -m tests.benchmarks.motor_accuracy`.

Every robot differs from the demo robot in its motors' constants, gearing and battery, and its logger in
rate, units, shape and in which channels it writes. Truth is worked out in `motor_truth.py`. Prints precision,
recall and F1 by kind, what was said of clean matches, and the errors of heat and source resistance.
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
from tests.benchmarks.motor_truth import Trouble, heat_levels, truth_of

KINDS = (
    "stall", "near_stall", "no_draw", "breaker_cycling", "overheat", "breaker_risk", "chain_risk",
    "source_resistance", "load_share",
)  # fmt: skip

_STEPS = ("motors", "motor_states", "supply")
RATES_HZ = (10.0, 20.0, 50.0, 100.0, 250.0)
OMITTED: tuple[tuple[str, ...], ...] = ((), ("speed",), ("duty",), ("battery",), ("speed", "battery"))


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
        truth, excused = truth_of(match)
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
            levels = heat_levels(sheet.match.trace.current_a[place], motor)
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

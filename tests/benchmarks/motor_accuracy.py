"""How well motor and supply troubles are found: `python -m tests.benchmarks.motor_accuracy`.

Robots, faults and loggers are those of `motor_robots.py`, the truth is worked out in `motor_truth.py`. Prints
precision, recall and F1 by kind, what was said of clean matches, and the errors of heat and resistance.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import parsers
from telemetry.analysis import Analysis
from telemetry.judge import judge
from telemetry.robot_file import read_robot
from telemetry.simulator import MatchPlan, MotorSpec, SimulatedMatch, relog, simulate_match, write_match
from tests.benchmarks.motor_robots import OMITTED, draw_logger, draw_robot, scenarios
from tests.benchmarks.motor_truth import Trouble, heat_levels, truth_of

KINDS = (
    "stall", "near_stall", "no_draw", "breaker_cycling", "overheat", "breaker_risk", "chain_risk",
    "source_resistance", "load_share",
)  # fmt: skip

_STEPS = ("motors", "motor_states", "supply")


@dataclass(frozen=True)
class Sheet:
    """What a scenario's match proved to hold, and what was found in one log of it."""

    name: str
    truth: tuple[Trouble, ...]
    excused: tuple[Trouble, ...]
    analysis: Analysis
    match: SimulatedMatch

    @property
    def clean(self) -> bool:
        """Whether nothing was put in: no fault, no weak part, no wrong gear."""
        mild = any(twin.gear != 1.0 for twin in self.match.spec.twins)
        return not (self.match.faults or self.truth or mild)


def main() -> None:
    """Simulate, judge, compare, print."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--robots", type=int, default=24)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--only", action="append", default=[], help="a scenario; may be given again")
    arguments.add_argument("--quiet", action="store_true")
    told = arguments.parse_args()
    sheets = []
    for number in range(told.robots):
        sheets += _robot_sheets(told.seed * 1000 + number, told.only)
    _report(sheets, quiet=told.quiet)


def _robot_sheets(seed: int, only: Sequence[str]) -> list[Sheet]:
    rng = np.random.default_rng(seed)
    spec, plan = draw_robot(rng), MatchPlan(teleop_s=float(rng.uniform(70, 135)))
    sheets = []
    for number, (name, faults, own) in enumerate(scenarios(spec, plan, rng)):
        if only and name not in only:
            continue
        rng = np.random.default_rng([seed, number])
        match = simulate_match(own, seed=seed, faults=faults, plan=plan)
        truth, excused = truth_of(match)
        for omitted in _some(OMITTED, rng, 2):
            logger = draw_logger(own, omitted, rng)
            again = relog(match, logger)
            label = f"{seed} {name} {logger.rate_hz:g} Hz without {','.join(omitted) or 'nothing'}"
            sheets.append(Sheet(label, truth, excused, _analysis(again, rng), again))
    return sheets


def _some(choices: Sequence[Any], rng: np.random.Generator, number: int) -> list[Any]:
    return [choices[place] for place in rng.permutation(len(choices))[:number]]


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
    clean = [sheet for sheet in sheets if sheet.clean]
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
    heat: dict[str, list[tuple[float, float, str]]] = defaultdict(list)
    ohms = []
    for sheet in sheets:
        for place, motor in enumerate(sheet.match.spec.motors):
            use = sheet.analysis.motor_use.get(motor.name)
            if use is None or use.peak_heat is None or use.end_heat is None:
                continue
            levels = heat_levels(sheet.match.trace.current_a[place], motor)
            error = max(abs(use.peak_heat - levels.max()), abs(use.end_heat - levels[-1]))
            heat[_told(sheet, motor)].append(
                (error, max(1.0, float(levels.max())), f"{sheet.name}, {motor.name}")
            )
        supply = sheet.analysis.supply
        if supply is not None and supply.resistance_ohm is not None:
            true_ohm = sheet.match.truth["supply"]["resistance_ohm"]
            ohms.append((abs(supply.resistance_ohm / true_ohm - 1), sheet.name))
    for told, errors in sorted(heat.items()):
        right = sum(error <= 0.03 * level for error, level, _ in errors)
        error, _level, where = max(errors, key=lambda one: one[0] / one[1])
        print(
            f"heat, {told}: {right} of {len(errors)} within 0.03 (3 % above 1.0); worst {error:.3f} ({where})"
        )
    near = sum(one[0] <= 0.05 for one in ohms) / max(len(ohms), 1)
    worst = max(ohms, default=(math.nan, "none"))
    print(f"source resistance: {near:.1%} of {len(ohms)} within 5 %; worst {worst[0]:.1%} ({worst[1]})")


def _told(sheet: Sheet, motor: MotorSpec) -> str:
    """What a motor's heat had to be worked out from."""
    if motor.current_side == "winding":
        return "winding current"
    omitted = {key.split(".")[-1] for key in sheet.match.logger.omit}
    return "supply current" + "".join(f", no {what}" for what in ("duty", "speed") if what in omitted)


if __name__ == "__main__":
    sys.exit(main())

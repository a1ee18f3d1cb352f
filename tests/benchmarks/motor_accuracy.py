"""How well motor and supply troubles are found: `python -m tests.benchmarks.motor_accuracy`.

Robots, faults and loggers are those of `motor_robots.py`, the truth is worked out in `motor_truth.py`. Prints
precision, recall and F1 by kind, what was said of clean matches, and the errors of heat and resistance.
`--keep DIR` keeps the simulated logs there for the next run.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import parsers
from telemetry.analysis import Analysis
from telemetry.finding import Finding
from telemetry.judge import judge
from telemetry.robot_file import read_robot
from tests.benchmarks.motor_cases import Case, cases
from tests.benchmarks.motor_truth import Trouble

KINDS = (
    "stall", "near_stall", "no_draw", "breaker_cycling", "overheat", "breaker_risk", "chain_risk",
    "load_share", "source_resistance", "voltage_dip", "brownout",
)  # fmt: skip

_STEPS = ("motors", "motor_states", "supply")


@dataclass(frozen=True)
class Sheet:
    """A log's truth, and what was found in it."""

    case: Case
    analysis: Analysis

    @property
    def name(self) -> str:
        """Robot, scenario, rate and what is left out."""
        return self.case.name


def main() -> None:
    """Simulate, judge, compare, print."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--robots", type=int, default=4)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--only", action="append", default=[], help="a scenario; may be given again")
    arguments.add_argument("--quiet", action="store_true")
    arguments.add_argument("--keep", type=Path, help="a folder for the simulated logs")
    told = arguments.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = told.keep or Path(scratch)
        seeds = range(told.seed * 1000, told.seed * 1000 + told.robots)
        _report(_sheets(seeds, told.only, folder), quiet=told.quiet)


def _sheets(seeds: Sequence[int], only: Sequence[str], folder: Path) -> Iterator[Sheet]:
    for seed in seeds:
        for case in cases(seed, only, folder):
            yield Sheet(case, _analysis(Path(case.log)))


def _analysis(path: Path) -> Analysis:
    robot = read_robot(path.parent / "robot.toml")
    analysis = judge(parsers.read_log(path, overrides=robot.log), robot, name="match")[0]
    broken = [one for one in analysis.failures if one.split(":")[0].split(" of ")[0] in (*KINDS, *_STEPS)]
    if broken:
        raise RuntimeError(f"a step broke: {broken}")
    return analysis


# The table


def _report(sheets: Iterator[Sheet], *, quiet: bool) -> None:
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    heat: dict[str, list[tuple[float, float, str]]] = defaultdict(list)
    ohms: list[tuple[float, str]] = []
    logs = clean = said = 0
    for sheet in sheets:
        logs += 1
        _count(sheet, counts, quiet=quiet)
        _measure(sheet, heat, ohms)
        if sheet.case.clean:
            clean += 1
            said += sum(not _is_true_dip(sheet.case, finding) for finding in sheet.analysis.findings)
    _print_kinds(logs, counts)
    print(f"clean matches: {clean}, findings in them, true dips aside: {said}")
    _print_figures(heat, ohms)


def _is_true_dip(case: Case, finding: Finding) -> bool:
    """Whether the voltage did fall so low; or the finding is of none of the kinds measured here."""
    return finding.kind not in KINDS or any(one.kind == finding.kind == "voltage_dip" for one in case.excused)


def _count(sheet: Sheet, counts: dict[str, Counter[str]], *, quiet: bool) -> None:
    found = [
        Trouble(finding.kind, finding.subject, finding.start_s, finding.end_s)
        for finding in sheet.analysis.findings
        if finding.kind in KINDS
    ]
    checks = sheet.analysis.checks
    judged = {(check.kind, check.subject) for check in checks if check.verdict != "not_evaluated"}
    for true in sheet.case.truth:
        hit = any(true.meets(one) for one in found)
        if not hit and (true.kind, true.subject) not in judged:
            counts[true.kind]["not judged"] += 1
            continue
        counts[true.kind]["right" if hit else "missed"] += 1
        if not hit and not quiet:
            print("missed", sheet.name, true, flush=True)
    for one in found:
        if not any(one.meets(true) for true in (*sheet.case.truth, *sheet.case.excused)):
            counts[one.kind]["false"] += 1
            if not quiet:
                print("false ", sheet.name, one, flush=True)


def _measure(
    sheet: Sheet, heat: dict[str, list[tuple[float, float, str]]], ohms: list[tuple[float, str]]
) -> None:
    for true in sheet.case.heat:
        use = sheet.analysis.motor_use.get(true.motor)
        if use is not None and use.peak_heat is not None and use.end_heat is not None:
            error = max(abs(use.peak_heat - true.peak), abs(use.end_heat - true.end))
            heat[true.told].append((error, max(1.0, true.peak), f"{sheet.name}, {true.motor}"))
    supply = sheet.analysis.supply
    if supply is not None and supply.resistance_ohm is not None:
        ohms.append((abs(supply.resistance_ohm / sheet.case.source_ohm - 1), sheet.name))


def _print_kinds(logs: int, counts: dict[str, Counter[str]]) -> None:
    print(f"{logs} logs")
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


def _print_figures(heat: dict[str, list[tuple[float, float, str]]], ohms: list[tuple[float, str]]) -> None:
    for told, errors in sorted(heat.items()):
        right = sum(error <= 0.03 * level for error, level, _ in errors)
        error, _level, where = max(errors, key=lambda one: one[0] / one[1])
        print(
            f"heat, {told}: {right} of {len(errors)} within 0.03 (3 % above 1.0); worst {error:.3f} ({where})"
        )
    near = sum(one[0] <= 0.05 for one in ohms)
    worst = max(ohms, default=(math.nan, "none"))
    print(f"source resistance: {near} of {len(ohms)} within 5 %; worst {worst[0]:.1%} ({worst[1]})")


if __name__ == "__main__":
    sys.exit(main())

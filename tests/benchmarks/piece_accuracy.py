"""How right the story of the pieces is: `python -m tests.benchmarks.piece_accuracy`.

Simulates robots with each beam dead, dying, stuck, loose and chattering in turn, reads their logs back and
compares the count at every instant, the totals, their ranges, the releases and the cycles with the truth; and
what it says of how sure it is with how often it is right.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from telemetry.analysis import Analysis
from telemetry.estimators.cycles import SAME_VOLLEY_S
from tests.benchmarks.piece_calibration import Calibration
from tests.benchmarks.piece_population import piece_cases
from tests.benchmarks.simulated import Judged, judged

__all__ = ["Tally", "main", "measure", "report"]

_STEP_S, _RELEASE_S, _CYCLE_S = 0.02, 0.25, 0.3


@dataclass
class Tally:
    """What was counted over the logs of one row of the table."""

    logs: int = 0
    right: list[float] = field(default_factory=list)
    exact: int = 0
    within_one: int = 0
    ranges: int = 0
    held: int = 0
    releases: int = 0
    found: int = 0
    told: int = 0
    cycles: int = 0
    cycles_right: int = 0
    calibration: Calibration = field(default_factory=Calibration)


def measure(folder: Path, *, quick: bool, seed: int, only: str, remarks: bool) -> Mapping[str, Tally]:
    """Tallies by robot and by trouble; `folder` keeps the simulated logs."""
    rows: dict[str, Tally] = defaultdict(Tally)
    for case in piece_cases(quick=quick, seed=seed):
        if only not in case.name:
            continue
        for one in judged(case, folder):
            robot, trouble = case.name.split("-", 1)
            kind = trouble.rsplit("-", 1)[0]
            health = "healthy" if case.clean else "faulty"
            for row in (kind, f"robot {robot}, {health}", f"all, {health}"):
                _count(rows[row], one)
            if remarks:
                alone = Tally()
                _count(alone, one)
                print(f"{case.name:22} {one.logging:12} {_figures(alone)}", flush=True)
    return rows


def _count(tally: Tally, one: Judged) -> None:
    if one.analysis.failures:
        raise ValueError(f"{one.case.name}: {one.analysis.failures}")
    pieces, truth = one.analysis.pieces, one.truth
    tally.logs += 1
    if pieces is None:
        tally.right.append(0.0)
        return
    tally.right.append(_right(one.analysis, truth))
    collected = sum(1 for p in truth["pieces"] if p["entered_s"] is not None and not p["preload"])
    released = np.array(truth["releases_s"])
    off = [abs(pieces.collected.estimate - collected), abs(pieces.released.estimate - len(released))]
    tally.exact += max(off) == 0
    tally.within_one += max(off) <= 1
    tally.ranges += 2
    tally.held += pieces.collected.low <= collected <= pieces.collected.high
    tally.held += pieces.released.low <= len(released) <= pieces.released.high
    found = _paired(released, np.array(pieces.releases_s), _RELEASE_S)
    tally.releases, tally.told = tally.releases + len(released), tally.told + len(pieces.releases_s)
    tally.found += found
    tally.calibration.add(pieces, truth, collected)
    ends = _volley_ends(truth)
    told = np.array([cycle.end_s for cycle in one.analysis.cycles if not cycle.open])
    tally.cycles += len(ends)
    tally.cycles_right += _paired(ends, told, _CYCLE_S)


def _right(analysis: Analysis, truth: Mapping[str, Any]) -> float:
    """Share of the match in which the count told is the true one."""
    assert analysis.pieces is not None
    at_s = np.arange(analysis.match.start_s, analysis.match.end_s, _STEP_S)
    true = _held([s["start_s"] for s in truth["timeline"]], [s["aboard"] for s in truth["timeline"]], at_s)
    told = analysis.pieces.timeline
    return float((true == _held([s.start_s for s in told], [s.aboard for s in told], at_s)).mean())


def _held(start_s: Sequence[float], value: Sequence[int], at_s: np.ndarray) -> np.ndarray:
    return np.asarray(value)[np.maximum(np.searchsorted(start_s, at_s, side="right") - 1, 0)]


def _volley_ends(truth: Mapping[str, Any]) -> np.ndarray:
    released = np.array(truth["releases_s"])
    entered = np.sort([p["entered_s"] for p in truth["pieces"] if p["entered_s"] and not p["preload"]])
    if not len(released):
        return released
    fresh = np.diff(np.searchsorted(entered, released)) > 0
    return np.asarray(released[np.append((np.diff(released) >= SAME_VOLLEY_S) | fresh, True)])


def _paired(true: np.ndarray, told: np.ndarray, within_s: float) -> int:
    """How many of the true instants have one told of their own, each told one used once."""
    free, paired = list(told), 0
    for at_s in true:
        near = min(free, key=lambda t: abs(t - at_s), default=None)
        if near is not None and abs(near - at_s) <= within_s:
            free.remove(near)
            paired += 1
    return paired


def _figures(tally: Tally) -> str:
    recall = tally.found / max(tally.releases, 1)
    precision = tally.found / max(tally.told, 1)
    f1 = 2 * recall * precision / max(recall + precision, 1e-9)
    shares = (tally.exact / tally.logs, tally.within_one / tally.logs, tally.held / max(tally.ranges, 1))
    columns = (np.mean(tally.right), *shares, f1, tally.cycles_right / max(tally.cycles, 1))
    return " | ".join(f"{share:.3f}" for share in columns)


def report(rows: Mapping[str, Tally]) -> str:
    """The table as text in Markdown."""
    lines = [
        "| what | logs | right count | totals exact | within one | ranges hold | releases F1 | cycles |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    lines += [f"| {row} | {tally.logs} | {_figures(tally)} |" for row, tally in sorted(rows.items())]
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--quick", action="store_true", help="every third case only")
    parser.add_argument("--keep", type=Path, help="folder in which the simulated logs stay for the next run")
    parser.add_argument("--seed", type=int, default=9000, help="of the first match; another, other matches")
    parser.add_argument("--only", default="", help="cases whose name holds this")
    parser.add_argument("--remarks", action="store_true", help="a line for each log")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as scratch:
        rows = measure(
            asked.keep or Path(scratch),
            quick=asked.quick,
            seed=asked.seed,
            only=asked.only,
            remarks=asked.remarks,
        )
    print(report(rows))
    for row in ("all, healthy", "all, faulty"):
        if row in rows:
            print(f"\nHow sure it is of {row}:\n\n{rows[row].calibration.report()}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

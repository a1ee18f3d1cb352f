"""Precision and recall on simulated robots: `python -m tests.benchmarks.accuracy`.

Simulates robots with injected faults, writes their logs, reads them back, judges them, and prints a table a
kind, how far confidences can be trusted, and what was found on matches without a fault.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from tests.benchmarks.population import cases
from tests.benchmarks.scoring import CONFIDENCE_BINS, KINDS, Score, score
from tests.benchmarks.simulated import judged

__all__ = ["main", "measure", "report"]

_CONTACTS = ("contacts, accelerometer", "contacts, drive current")


def measure(folder: Path, *, quick: bool = False, only: str = "", seed: int = 7000) -> Score:
    """Judge every case; `folder` keeps the simulated logs, `only` is a part of a case's name."""
    total = Score()
    for case in cases(quick=quick, seed=seed):
        if only in case.name:
            for one in judged(case, folder):
                score(total, one)
    return total


def report(total: Score) -> str:
    """The tables as text in Markdown."""
    titles = (*(kind.title for kind in KINDS), *_CONTACTS)
    lines = [
        "| what | found | missed | false | recall | precision |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    lines += [_row(total, title) for title in titles]
    lines += ["", "| confidence | findings | true |", "| --- | --- | --- |"]
    for place, (low, high) in enumerate(pairwise(CONFIDENCE_BINS)):
        of = total.all_by_bin[place]
        lines.append(f"| {low:g} to {high:g} | {of} | {_share(total.true_by_bin[place], of)} |")
    false = sum(total.clean_false.values())
    lines += [
        "",
        f"False fix or watch findings on {total.clean_logs} clean logs: {false} {dict(total.clean_false)}",
        f"True time of death inside the interval ± 1 s: {total.deaths_inside} of {total.deaths}",
    ]
    return "\n".join(lines)


def _row(total: Score, title: str) -> str:
    found, missed, false = (of[title] for of in (total.found, total.missed, total.false))
    recall, precision = _share(found, found + missed), _share(found, found + false)
    return f"| {title} | {found} | {missed} | {false} | {recall} | {precision} |"


def _share(part: int, whole: int) -> str:
    return f"{part / whole:.3f}" if whole else "–"


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the tables; 1 where a step of an analysis broke."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--quick", action="store_true", help="every fourth case only")
    parser.add_argument("--keep", type=Path, help="folder in which the simulated logs stay for the next run")
    parser.add_argument("--seed", type=int, default=7000, help="of the first match; another, other matches")
    parser.add_argument("--only", default="", help="cases whose name holds this")
    parser.add_argument("--remarks", action="store_true", help="name every miss and every false finding")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as scratch:
        total = measure(asked.keep or Path(scratch), quick=asked.quick, only=asked.only, seed=asked.seed)
    if asked.remarks:
        print("\n".join(total.remarks))
    print(report(total))
    print("\n".join(total.failures))
    return 1 if total.failures else 0


if __name__ == "__main__":
    raise SystemExit(main())

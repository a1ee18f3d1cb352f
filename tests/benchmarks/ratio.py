"""Times in interleaved rounds, each as a ratio to a floor of the same run: only ratios outlive a machine."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median

__all__ = ["Bar", "measured", "table"]

Work = Callable[[], object]


@dataclass(frozen=True)
class Bar:
    """What is measured, the floor it is measured by, and the most it may take as a multiple of that."""

    title: str
    work: Work
    floor: Work
    most: float


def measured(bars: Sequence[Bar], rounds: int = 7) -> list[tuple[Bar, float, float]]:
    """Each bar with the median seconds of its work and of its floor, all run once a round, in turn."""
    jobs = [job for bar in bars for job in (bar.floor, bar.work)]
    for job in jobs:
        job()
    taken = [[_seconds(job) for job in jobs] for _ in range(rounds)]
    medians = [median(column) for column in zip(*taken, strict=True)]
    return [(bar, medians[2 * i + 1], medians[2 * i]) for i, bar in enumerate(bars)]


def _seconds(job: Work) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def table(results: Sequence[tuple[Bar, float, float]]) -> str:
    """The results as a table in Markdown, with a mark where a bar is missed."""
    lines = ["| what | seconds | floor | ratio | at most |", "| --- | --- | --- | --- | --- |"]
    for bar, work_s, floor_s in results:
        ratio = work_s / floor_s
        missed = "" if ratio <= bar.most else " (missed)"
        lines.append(f"| {bar.title} | {work_s:.3f} | {floor_s:.3f} | {ratio:.2f} | {bar.most:g}{missed} |")
    return "\n".join(lines)

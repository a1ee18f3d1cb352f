"""The cycles of a match as bars: stages stacked, one bar a cycle, hits marked."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import accumulate

from markupsafe import Markup

from reports.drawing import at, label, path, tag
from reports.lanes import LETTER_SHARE
from reports.piece_lanes import STAGES
from reports.power_lanes import nice_ceiling
from reports.words import clock, counted, duration
from telemetry.analysis import Analysis, Contact
from telemetry.dataclass import dataclass
from telemetry.records.pieces import Cycle

__all__ = ["CycleChart", "cycle_chart"]

_ROW_PX = 26
_BAR_PX = 18
_NAMES = 0.10
"""Share of the width that the numbers of the cycles take; another such share is left for the lengths."""


_STAGE_WORDS = {
    "collect": "getting the first piece",
    "load": "loading (first to last piece)",
    "carry": "carrying (last piece to first release)",
    "release": "releasing",
}
_TOLD_S = 0.1


@dataclass(frozen=True)
class CycleChart:
    """The drawing, its height, and which cycle was the slowest and why, in a sentence."""

    drawing: Markup
    height_px: int
    summary: str


def cycle_chart(analysis: Analysis) -> CycleChart | None:
    """None where there is no cycle."""
    if not analysis.cycles:
        return None
    longest_s = nice_ceiling(max(max(cycle.end_s - cycle.start_s for cycle in analysis.cycles), 1.0))
    rows = [
        tag("svg", {"y": _ROW_PX * row, "width": "100%", "height": _ROW_PX},
            *_bar(cycle, analysis.contacts, longest_s))
        for row, cycle in enumerate(analysis.cycles)
    ]  # fmt: skip
    height_px = _ROW_PX * len(rows) + 16
    return CycleChart(Markup("").join([*rows, *_ticks(longest_s, height_px)]), height_px, _summary(analysis))


def _x(seconds: float, longest_s: float) -> str:
    return f"{(_NAMES + (1 - 2 * _NAMES) * seconds / longest_s) * 100:.5g}%"


def _width(seconds: float, longest_s: float) -> str:
    return f"{(1 - 2 * _NAMES) * seconds / longest_s * 100:.5g}%"


def _bar(cycle: Cycle, contacts: tuple[Contact, ...], longest_s: float) -> Iterator[Markup]:
    lengths = [cycle.stages.get(stage) or 0.0 for stage in STAGES]
    length_s = cycle.end_s - cycle.start_s
    yield label("0%", 16, str(cycle.number), kind="t n")
    for stage, length, end in zip(STAGES, lengths, accumulate(lengths), strict=True):
        if length > 0:
            place = {"x": _x(end - length, longest_s), "width": _width(length, longest_s)}
            yield tag("rect", {"class": f"stage stage-{stage}", "y": 3, "height": _BAR_PX, **place})
    frame = {"x": _x(0, longest_s), "width": _width(length_s, longest_s), "y": 3, "height": _BAR_PX}
    yield tag("rect", {"class": "cycle open" if cycle.open else "cycle", **frame})
    for contact in contacts:
        if cycle.start_s <= contact.t_s < cycle.end_s:
            yield at(_x(contact.t_s - cycle.start_s, longest_s), 12, path("hit", "M0-6 6 0 0 6-6 0z"))
    words, end = (
        f"{duration(length_s)}{', open' if cycle.open else ''}",
        (1 - 2 * _NAMES) * length_s / longest_s,
    )
    outside = _NAMES + end + (len(words) + 1) * LETTER_SHARE * 1.8 < 1
    x = f"{(_NAMES + end) * 100 + (0.8 if outside else -0.8):.5g}%"
    yield label(x, 16, words, kind="t n", anchor="start" if outside else "end")


def _ticks(longest_s: float, height_px: int) -> Iterator[Markup]:
    for part in range(6):
        seconds = longest_s * part / 5
        yield label(_x(seconds, longest_s), height_px - 3, f"{seconds:g} s", kind="t s-small tc")


def _summary(analysis: Analysis) -> str:
    """Which whole cycle was the slowest, and which of its stages was furthest beyond the usual."""
    closed = [cycle for cycle in analysis.cycles if not cycle.open]
    if not closed:
        return "No cycle was finished."
    slow = max(closed, key=lambda cycle: cycle.end_s - cycle.start_s)
    told = (
        f"Slowest: cycle {slow.number}, {duration(slow.end_s - slow.start_s)}, from "
        f"{clock(slow.start_s, analysis.match.start_s)}"
    )
    if len(closed) > 2:
        beyond = {stage: _beyond_usual(slow, closed, stage) for stage in STAGES}
        stage = max(beyond, key=lambda stage: beyond[stage])
        if beyond[stage] > 0:
            told += f"; {_STAGE_WORDS[stage]} took {duration(beyond[stage])} longer than usual"
    hits = sum(slow.start_s <= contact.t_s < slow.end_s for contact in analysis.contacts)
    faulty_s = slow.faulty_sensor_s
    burdens = [counted(hits, "hit")] if hits else []
    burdens += _stalls_within(analysis, slow)
    burdens += [f"{duration(faulty_s)} with a faulty sensor"] if faulty_s >= _TOLD_S else []
    burdens += ["the end of autonomous"] if _ends_autonomous(analysis, slow) else []
    return f"{told}. In that cycle: {', '.join(burdens)}." if burdens else f"{told}."


def _ends_autonomous(analysis: Analysis, cycle: Cycle) -> bool:
    phases = [phase for phase in analysis.match.phases if phase.phase == "autonomous"]
    return any(cycle.start_s < phase.end_s < cycle.end_s for phase in phases)


def _stalls_within(analysis: Analysis, cycle: Cycle) -> list[str]:
    stalled = [
        finding.subject
        for finding in analysis.findings
        if finding.kind == "stall" and finding.start_s < cycle.end_s and finding.end_s > cycle.start_s
    ]
    return [f"{name} stalled" for name in dict.fromkeys(stalled)]


def _beyond_usual(cycle: Cycle, closed: list[Cycle], stage: str) -> float:
    from statistics import median

    return (cycle.stages.get(stage) or 0.0) - median(other.stages.get(stage) or 0.0 for other in closed)

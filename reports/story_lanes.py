"""Lanes that tell the story: phases, findings, contacts, pieces aboard, cycles and releases."""

from __future__ import annotations

from itertools import pairwise
from statistics import median

import numpy as np
from markupsafe import Markup

from reports.drawing import Axis, at, label, path, stretched, tag
from reports.envelope import steps_path
from reports.lanes import FAULT_BAND_PX, Fault, Lane, Strip, fault_marks
from reports.readings import words_reading
from reports.words import clock, counted, duration, kind_words, number, percent
from telemetry.analysis import Analysis, Contact, Cycle, Pieces

__all__ = ["contact_lane", "cycle_lane", "finding_lane", "phase_lane", "piece_lane"]

_MARK_SHARE = 26 / 560
_STAGES = ("collect", "load", "carry", "release")


def phase_lane(analysis: Analysis, strip: Strip, faults: tuple[Fault, ...]) -> Lane:
    """The time axis with the phases of the match, and gaps of the log."""
    axis, phases = strip.axis, analysis.match.phases
    top = FAULT_BAND_PX if faults else 0
    bands = [
        tag("rect", {"class": f"phase phase-{phase.phase}", "x": axis.percent(phase.start_s), "y": f"{top:g}",
                     "width": axis.width(phase.start_s, phase.end_s), "height": 20})
        for phase in phases
    ]  # fmt: skip
    names = [
        label(f"{(axis.share(phase.start_s) + axis.share(phase.end_s)) * 50:.6g}%", top + 14, phase.phase,
              kind="t tc")
        for phase in phases
        if axis.share(phase.end_s) - axis.share(phase.start_s) > 0.08
    ]  # fmt: skip
    told = [f"{phase.phase} from {clock(phase.start_s, axis.zero_s)}" for phase in phases]
    return Lane(
        "phase", "match", "Phase", "match time, m:ss", f"Phases: {', '.join(told)}.", "", 40 + top,
        Markup("").join([*bands, *names, ticks(axis, top + 34), fault_marks(faults, axis, top + 20)]),
        (words_reading(strip.grid, [(phase.start_s, phase.phase) for phase in phases], "disabled"),),
    )  # fmt: skip


def ticks(axis: Axis, baseline: float) -> Markup:
    """The labels of the time axis."""
    return Markup("").join(
        label(axis.percent(t_s), baseline, text, kind="t n", anchor=_anchor(axis.share(t_s)))
        for t_s, text in axis.ticks(12)
    )


def _anchor(share: float) -> str:
    return "start" if share < 0.02 else "end" if share > 0.98 else "middle"


def finding_lane(analysis: Analysis, strip: Strip) -> Lane:
    """A numbered mark for each finding, leading to its place on the page."""
    rows = _mark_rows([strip.axis.share(finding.start_s) for finding in analysis.findings])
    marks = [
        at(strip.axis.percent(finding.start_s), 2 + 27 * row, _finding_mark(number_, finding.severity,
           f"Finding {number_}: {finding.subject} {kind_words(finding.kind).title}"))
        for number_, (finding, row) in enumerate(zip(analysis.findings, rows, strict=True), 1)
    ]  # fmt: skip
    changes = sorted({t for finding in analysis.findings for t in (finding.start_s, finding.end_s)})
    told = [(t_s, _open_findings(analysis, t_s)) for t_s in changes]
    count = counted(len(analysis.findings), "finding")
    return Lane(
        "findings", "match", "Findings", "numbered by time", f"{count}, numbered in the order of time.", count,
        30 + 27 * max(rows, default=0), Markup("").join(marks), (words_reading(strip.grid, told, "none open"),),
        linked=True,
    )  # fmt: skip


def _mark_rows(shares: list[float]) -> list[int]:
    """The first row in which each mark finds room, left to right."""
    free: list[float] = []
    rows = []
    for share in shares:
        row = next((row for row, taken in enumerate(free) if share >= taken), len(free))
        free[row : row + 1] = [share + _MARK_SHARE]
        rows.append(row)
    return rows


def _finding_mark(number_: int, severity: str, name: str) -> Markup:
    shape = {
        "fix": tag("rect", {"x": -12, "width": 24, "height": 24, "class": "m m-fix"}),
        "watch": tag("rect", {"x": -11, "y": 1, "width": 22, "height": 22, "rx": 11, "class": "m m-watch"}),
    }.get(severity, tag("rect", {"x": -11, "y": 1, "width": 22, "height": 22, "class": "m m-note"}))
    text = tag("text", {"y": 16.5, "class": f"t tc mt-{severity}"}, str(number_))
    return tag("a", {"href": f"#finding-{number_}", "aria-label": name}, shape, text)


def _open_findings(analysis: Analysis, t_s: float) -> str:
    numbered = enumerate(analysis.findings, 1)
    titles = [f"{n} {kind_words(f.kind).title}" for n, f in numbered if f.start_s <= t_s < f.end_s]
    return ", ".join(titles) or "none open"


def contact_lane(analysis: Analysis, strip: Strip) -> Lane:
    """Hits as discs whose area grows with the peak, with the number beside them."""
    axis, contacts = strip.axis, analysis.contacts
    hardest = max((contact.peak_g for contact in contacts if contact.peak_g is not None), default=None)
    discs = [_disc(contact, axis, hardest) for contact in contacts]
    numbers = [_peak_label(contact, axis) for contact in _loudest_apart(contacts, axis)]
    told: list[tuple[float, str]] = []
    for contact in contacts:
        told += [
            (contact.t_s, f"hit {_peak(contact)}"),
            (contact.t_s + max(contact.duration_s, 0.3), "no hit"),
        ]
    count = counted(len(contacts), "hit")
    worst = f", the hardest {number(hardest, 'g', 2)}" if hardest is not None else ""
    return Lane(
        "contacts", "match", "Hits", "peak in g", f"{count} in the match{worst}.", count + worst, 44,
        Markup("").join([*discs, *numbers]), (words_reading(strip.grid, sorted(told), "no hit"),),
    )  # fmt: skip


def _peak(contact: Contact) -> str:
    return "not measured in g" if contact.peak_g is None else number(contact.peak_g, "g", 2)


def _disc(contact: Contact, axis: Axis, hardest: float | None) -> Markup:
    if contact.peak_g is None or not hardest:
        return at(
            axis.percent(contact.t_s), 30, path("hit-unknown", "M0-7 7 0 0 7-7 0z")
        )
    radius = 3 + 9 * (contact.peak_g / hardest) ** 0.5
    return tag("circle", {"class": "hit", "cx": axis.percent(contact.t_s), "cy": 30, "r": f"{radius:.1f}"})


def _loudest_apart(contacts: tuple[Contact, ...], axis: Axis) -> list[Contact]:
    """The hits whose numbers have room beside each other, the hardest chosen first."""
    kept: list[Contact] = []
    for contact in sorted(contacts, key=lambda contact: -(contact.peak_g or 0.0)):
        if all(abs(axis.share(contact.t_s) - axis.share(other.t_s)) > 0.055 for other in kept):
            kept.append(contact)
    return kept


def _peak_label(contact: Contact, axis: Axis) -> Markup:
    words = "no g" if contact.peak_g is None else number(contact.peak_g, "g", 2)
    return label(axis.percent(contact.t_s), 12, words, kind="t n", anchor=_anchor(axis.share(contact.t_s)))


def piece_lane(analysis: Analysis, pieces: Pieces, strip: Strip) -> Lane:
    """Pieces aboard as a step, with the band that holds the truth nine times in ten."""
    axis, steps, piece = strip.axis, pieces.timeline, analysis.robot.robot.piece
    most = max([step.high for step in steps] + [analysis.robot.robot.capacity or 1])
    t_s = np.array([step.start_s for step in steps], dtype=float)
    aboard, low, high = (
        np.array([getattr(step, name) for step in steps], dtype=float) for name in ("aboard", "low", "high")
    )
    end_s, bottom, top = analysis.match.window_s[1], -0.25, most + 0.25
    band = steps_path(t_s, high, end_s, axis, bottom, top) + _backwards(t_s, low, end_s, axis, bottom, top)
    line = steps_path(t_s, aboard, end_s, axis, bottom, top)
    levels = [path("g", f"M0 {_level(n, bottom, top)}H1200") for n in range(most + 1)]
    drawing = stretched(
        *levels, path("band", band), path("l l-pieces", line)
    )
    told = [
        (step.start_s, _aboard_words(step.aboard, step.low, step.high, step.probability)) for step in steps
    ]
    flow = f"{pieces.collected.estimate} collected, {pieces.released.estimate} released"
    return Lane(
        "pieces", "match", f"{piece.capitalize()}s aboard", f"0 to {most}", f"{piece}s aboard, 0 to {most}: {flow}.",
        flow, 26 + 14 * most, drawing, (words_reading(strip.grid, told),),
    )  # fmt: skip


def _level(value: float, low: float, high: float) -> str:
    return f"{100 - (value - low) / (high - low) * 100:.0f}"


def _backwards(t_s: np.ndarray, low: np.ndarray, end_s: float, axis: Axis, bottom: float, top: float) -> str:
    """The lower edge, joined to the upper one so that both enclose the band."""
    from reports.envelope import _levels

    edges = np.clip(np.append(t_s, end_s), axis.start_s, axis.end_s)
    x = np.rint((edges - axis.start_s) / axis.span_s * 1200).astype(int)
    y = _levels(low, bottom, top)
    corners = zip(np.stack([x[1:], x[:-1]], 1)[::-1].ravel(), np.repeat(y[::-1], 2), strict=True)
    return "".join(f"L{a} {b}" for a, b in corners) + "z"


def _aboard_words(aboard: int, low: int, high: int, probability: float) -> str:
    between = "" if low == high else f", {low} to {high}"
    return f"{aboard}{between} ({percent(probability)} sure)"


def cycle_lane(analysis: Analysis, strip: Strip) -> Lane:
    """Cycles end to end with their stages, and a tick for every release."""
    axis, cycles = strip.axis, analysis.cycles
    bars = [_cycle_bar(cycle, axis) for cycle in cycles]
    releases = analysis.pieces.releases_s if analysis.pieces else ()
    marks = [at(axis.percent(t), 0, path("release", "M0 9 4 1H-4z")) for t in releases]
    closed = [cycle.end_s - cycle.start_s for cycle in cycles if not cycle.open]
    typical = f", median {duration(median(closed))}" if closed else ""
    told = [change for cycle in cycles for change in _stage_words(cycle)]
    told += [(cycles[-1].end_s, "")] if cycles else []
    flow = f"{counted(len(cycles), 'cycle')}{typical}"
    return Lane(
        "cycles", "match", "Cycles", "▾ a release", f"{flow}, {counted(len(releases), 'release')}.", flow, 40,
        Markup("").join([*bars, *marks]), (words_reading(strip.grid, told),), linked=True,
    )  # fmt: skip


def _cycle_bar(cycle: Cycle, axis: Axis) -> Markup:
    bounds = np.cumsum([cycle.start_s, *(cycle.stages.get(stage, 0.0) for stage in _STAGES)])
    stages = [
        tag("rect", {"class": f"stage stage-{stage}", "x": axis.percent(a), "y": 12, "width": axis.width(a, b),
                     "height": 24})
        for stage, (a, b) in zip(_STAGES, pairwise(bounds.tolist()), strict=True)
        if b > a
    ]  # fmt: skip
    frame = tag("rect", {"class": "cycle open" if cycle.open else "cycle", "x": axis.percent(cycle.start_s), "y": 12,
                         "width": axis.width(cycle.start_s, cycle.end_s), "height": 24})  # fmt: skip
    middle = f"{(axis.share(cycle.start_s) + axis.share(cycle.end_s)) * 50:.6g}%"
    text = label(middle, 28, str(cycle.number), kind="t tc")
    name = f"Cycle {cycle.number}, {duration(cycle.end_s - cycle.start_s)}"
    return tag("a", {"href": f"#cycle-{cycle.number}", "aria-label": name}, *stages, frame, text)


def _stage_words(cycle: Cycle) -> list[tuple[float, str]]:
    bounds = np.cumsum([cycle.start_s, *(cycle.stages.get(stage, 0.0) for stage in _STAGES)]).tolist()
    spans = zip(_STAGES, pairwise(bounds), strict=True)
    return [(a, f"{cycle.number}, {stage}") for stage, (a, b) in spans if b > a]

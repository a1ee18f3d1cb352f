"""Lanes that tell the story: phases, findings, contacts."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from reports.drawing import Axis, at, label, path, tag
from reports.lanes import FAULT_BAND_PX, LETTER_SHARE, Fault, Lane, Strip, fault_marks
from reports.readings import words_reading
from reports.words import clock, counted, heading, kind_words, number
from telemetry.analysis import Analysis, Contact
from telemetry.finding import Finding
from telemetry.match import Phase

__all__ = ["contact_lane", "finding_lane", "phase_lane", "ticks"]

_MARK_SHARE = 26 / 560
_MARK_SHAPES = {
    "fix": {"width": 24, "height": 24},
    "watch": {"width": 24, "height": 24, "rx": 12},
    "note": {"width": 24, "height": 24},
}
_SHORT = {"autonomous": "auto", "disabled": "off", "endgame": "end"}
_NUMBER_SHARE = 0.042


def phase_lane(analysis: Analysis, strip: Strip, faults: tuple[Fault, ...]) -> Lane:
    """The time axis with the phases of the match, and gaps of the log."""
    axis, phases = strip.axis, analysis.match.phases
    top = FAULT_BAND_PX if faults else 0
    bands = [
        tag("rect", {"class": f"phase phase-{phase.phase}", "y": f"{top:g}", "height": 20,
                     "x": axis.percent(phase.start_s), "width": axis.width(phase.start_s, phase.end_s)})
        for phase in phases
    ]  # fmt: skip
    names = [_phase_name(phase, axis, top + 14) for phase in phases]
    told = [f"{phase.phase} from {clock(phase.start_s, axis.zero_s)}" for phase in phases]
    hatches = fault_marks(faults, axis, top + 20)
    return Lane(
        key="phase",
        group="match",
        name="Phase",
        span="time as m:ss",
        summary=f"Phases: {', '.join(told)}.",
        rest="",
        height_px=40 + top,
        drawing=Markup("").join([*bands, *names, ticks(axis, top + 34), hatches]),
        readings=(words_reading(strip.grid, [(p.start_s, p.phase) for p in phases], "disabled"),),
    )


def _phase_name(phase: Phase, axis: Axis, baseline: float) -> Markup:
    """The phase's name, or its short one, where the narrowest strip has room for it between the edges."""
    start, end = axis.share(phase.start_s), axis.share(phase.end_s)
    for words in (phase.phase, _SHORT.get(phase.phase, "")):
        if words and end - start >= (len(words) + 1) * LETTER_SHARE:
            return label(f"{(start + end) * 50:.6g}%", baseline, words, kind="t tc")
    return Markup("")


def ticks(axis: Axis, baseline: float, most: int = 12) -> Markup:
    """The labels of the time axis."""
    return Markup("").join(
        label(axis.percent(t_s), baseline, text, kind="t n", anchor=_anchor(axis.share(t_s)))
        for t_s, text in axis.ticks(most)
    )


def _anchor(share: float) -> str:
    return "start" if share < 0.02 else "end" if share > 0.98 else "middle"


def finding_lane(analysis: Analysis, strip: Strip) -> Lane:
    """A numbered mark for each finding, leading to its place on the page."""
    rows = _mark_rows([strip.axis.share(finding.start_s) for finding in analysis.findings])
    placed = enumerate(zip(analysis.findings, rows, strict=True), 1)
    marks = [
        _finding_mark(number_, finding, strip.axis.percent(finding.start_s), 2 + 27 * row)
        for number_, (finding, row) in placed
    ]
    changes = sorted({t for finding in analysis.findings for t in (finding.start_s, finding.end_s)})
    told = [(t_s, _open_findings(analysis, t_s)) for t_s in changes]
    count = counted(len(analysis.findings), "finding")
    return Lane(
        key="findings",
        group="match",
        name="Findings",
        span="",
        summary=f"{count}, numbered in the order of time.",
        rest=count,
        height_px=30 + 27 * max(rows, default=0),
        drawing=Markup("").join(marks),
        readings=(words_reading(strip.grid, told, "none open"),),
        linked=True,
    )


def _mark_rows(shares: list[float]) -> list[int]:
    """The first row in which each mark finds room, left to right."""
    free: list[float] = []
    rows = []
    for share in shares:
        row = next((row for row, taken in enumerate(free) if share >= taken), len(free))
        free[row : row + 1] = [share + _MARK_SHARE]
        rows.append(row)
    return rows


def _finding_mark(number_: int, finding: Finding, percent: str, top: float) -> Markup:
    level, name = str(finding.severity), heading(finding.kind, finding.subject, finding.role)
    place = {"x": percent, "y": top, "transform": "translate(-12 0)"}
    shape = tag("rect", {"class": f"m m-{level}", **place, **_MARK_SHAPES[level]})
    text = label(percent, top + 16.5, str(number_), kind=f"t tc mt-{level}")
    return tag("a", {"href": f"#finding-{number_}", "aria-label": f"Finding {number_}: {name}"}, shape, text)


def _open_findings(analysis: Analysis, t_s: float) -> str:
    numbered = enumerate(analysis.findings, 1)
    titles = [f"{n} {kind_words(f.kind).title}" for n, f in numbered if f.start_s <= t_s < f.end_s]
    return ", ".join(titles) or "none open"


def contact_lane(analysis: Analysis, strip: Strip) -> Lane:
    """Hits as discs whose area grows with the peak, with the number beside them."""
    axis, contacts = strip.axis, analysis.contacts
    hardest = max((contact.peak_g for contact in contacts if contact.peak_g is not None), default=None)
    discs = [_disc(contact, axis, hardest) for contact in contacts]
    above = _loudest_apart(contacts, axis)
    below = _loudest_apart([contact for contact in contacts if contact not in above], axis)
    numbers = [_peak_label(contact, axis, 12) for contact in above]
    numbers += [_peak_label(contact, axis, 54) for contact in below]
    told: list[tuple[float, str]] = []
    for contact in contacts:
        told += [
            (contact.t_s, f"hit {_peak(contact)}"),
            (contact.t_s + max(contact.duration_s, 0.3), "no hit"),
        ]
    count = counted(len(contacts), "hit")
    worst = f", the hardest {number(hardest, 'g', 2)}" if hardest is not None else ""
    return Lane(
        key="contacts",
        group="match",
        name="Hits",
        span="peak in g",
        summary=f"{count} in the match{worst}.",
        rest=count + worst,
        height_px=60 if below else 44,
        drawing=Markup("").join([*discs, *numbers]),
        readings=(words_reading(strip.grid, sorted(told), "no hit"),),
    )


def _peak(contact: Contact) -> str:
    return "not measured in g" if contact.peak_g is None else number(contact.peak_g, "g", 2)


def _disc(contact: Contact, axis: Axis, hardest: float | None) -> Markup:
    if contact.peak_g is None or not hardest:
        return at(axis.percent(contact.t_s), 30, path("hit-unknown", "M0-7 7 0 0 7-7 0z"))
    radius = 3 + 9 * (contact.peak_g / hardest) ** 0.5
    return tag("circle", {"class": "hit", "cx": axis.percent(contact.t_s), "cy": 30, "r": f"{radius:.1f}"})


def _loudest_apart(contacts: Sequence[Contact], axis: Axis) -> list[Contact]:
    """The hits whose numbers have room beside each other, the hardest chosen first."""
    kept: list[Contact] = []
    for contact in sorted(contacts, key=lambda contact: -(contact.peak_g or 0.0)):
        if all(abs(axis.share(contact.t_s) - axis.share(other.t_s)) > _NUMBER_SHARE for other in kept):
            kept.append(contact)
    return kept


def _peak_label(contact: Contact, axis: Axis, baseline: float) -> Markup:
    words = "no g" if contact.peak_g is None else number(contact.peak_g, digits=2)
    return label(
        axis.percent(contact.t_s), baseline, words, kind="t n", anchor=_anchor(axis.share(contact.t_s))
    )

"""What a lane of the match strip is, and how troubles are marked on one: by hatch and by label."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from reports.drawing import Axis, at, label, tag
from reports.readings import Grid, Reading
from reports.samples import Signal
from reports.words import kind_words
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.finding import Finding

__all__ = ["FAULT_BAND_PX", "LETTER_SHARE", "Fault", "Lane", "Strip", "fault_marks", "faults_by_subject"]

FAULT_BAND_PX = 18
"""Room above a lane's drawing for the labels of its troubles."""

LETTER_SHARE = 6.4 / 560
"""How much of the narrowest strip one letter takes."""

_LONG_SHARE = 0.5
"""A trouble that fills more than this of the strip, or comes and goes, is a band above, not over the lane."""


@dataclass(frozen=True)
class Strip:
    """What all lanes share: the axis they are drawn on and the grid they are read on."""

    axis: Axis
    grid: Grid


@dataclass(frozen=True)
class Lane:
    """One lane: its words, its drawing, and what the cursor reads on it.

    `span` is unit and range, `summary` one sentence for those who do not see the drawing, `rest` what stands
    in the place of the reading while there is no cursor; `signals` are its samples, drawn as one zooms in;
    `linked` tells that the drawing holds links.
    """

    key: str
    group: str
    name: str
    span: str
    summary: str
    rest: str
    height_px: int
    drawing: Markup
    readings: tuple[Reading, ...] = ()
    signals: tuple[Signal, ...] = ()
    linked: bool = False


@dataclass(frozen=True)
class Fault:
    """A finding with the number it bears on the page."""

    number: int
    finding: Finding


Faults = Mapping[tuple[str, str], tuple[Fault, ...]]


def faults_by_subject(analysis: Analysis) -> Faults:
    """The findings that concern each (role, name) that has a lane."""
    found: dict[tuple[str, str], list[Fault]] = {}
    for number, finding in enumerate(analysis.findings, 1):
        for key in _concerned(analysis, finding):
            found.setdefault(key, []).append(Fault(number, finding))
    return {key: tuple(faults) for key, faults in found.items()}


def _concerned(analysis: Analysis, finding: Finding) -> list[tuple[str, str]]:
    if finding.role == "mechanism":
        motors = analysis.robot.motors.items()
        return [("motor", name) for name, motor in motors if motor.mechanism == finding.subject]
    if finding.role == "harness":
        lost = finding.evidence.get("lost", ())
        names = [str(name) for name in lost] if isinstance(lost, list | tuple) else []
        parts = {"beam": analysis.beams, "limit": analysis.limits, "motor": analysis.motors}
        return [(role, name) for name in names for role, known in parts.items() if name in known]
    return [(finding.role, finding.subject)]


def fault_marks(faults: Sequence[Fault], axis: Axis, height_px: float) -> Markup:
    """Hatch over the stretch of each trouble, and above it the number and kind."""
    shown = [fault for fault in faults if axis.covers(fault.finding.start_s, fault.finding.end_s)]
    return Markup("").join([_hatch(fault.finding, axis, height_px) for fault in shown] + _labels(shown, axis))


def _hatch(finding: Finding, axis: Axis, height_px: float) -> Markup:
    share = axis.share(finding.end_s) - axis.share(finding.start_s)
    long = share > _LONG_SHARE or "together_s" in finding.evidence
    top, height = (FAULT_BAND_PX - 5, 5.0) if long else (FAULT_BAND_PX, height_px - FAULT_BAND_PX)
    look = {"class": f"h h-{finding.severity}", "y": f"{top:g}", "height": f"{height:g}"}
    if share < 0.004:
        return at(axis.percent(finding.start_s), 0, tag("rect", {**look, "x": -2, "width": 4}))
    place = {"x": axis.percent(finding.start_s), "width": axis.width(finding.start_s, finding.end_s)}
    return tag("rect", {**look, **place})


def _labels(faults: Sequence[Fault], axis: Axis) -> list[Markup]:
    """Labels from left to right, each at its trouble: number and kind where both have room, else the number.

    Where not even two numbers have room beside each other, the later joins the earlier one.
    """
    ordered = sorted(faults, key=lambda fault: fault.finding.start_s)
    groups: list[list[Fault]] = []
    for fault in ordered:
        if groups and _start(fault, axis) < _start(groups[-1][0], axis) + _room(_numbers(groups[-1])):
            groups[-1].append(fault)
        else:
            groups.append([fault])
    ends: list[float | None] = [*(_start(group[0], axis) for group in groups[1:]), None]
    return [_group_label(group, axis, end) for group, end in zip(groups, ends, strict=False)]


def _start(fault: Fault, axis: Axis) -> float:
    return axis.share(fault.finding.start_s)


def _room(words: str) -> float:
    """How much of the narrowest strip a label takes, with the space after it."""
    return (len(words) + 1) * LETTER_SHARE


def _numbers(group: Sequence[Fault]) -> str:
    return ", ".join(str(fault.number) for fault in group)


def _in_full(group: Sequence[Fault]) -> str:
    kinds = list(dict.fromkeys(kind_words(fault.finding.kind).title for fault in group))
    if len(kinds) == 1:
        return f"{_numbers(group)} {kinds[0]}"
    return ", ".join(f"{fault.number} {kind_words(fault.finding.kind).title}" for fault in group)


def _group_label(group: Sequence[Fault], axis: Axis, until: float | None) -> Markup:
    """A label that ends before `until`, where the next one begins; the last may end at the right edge."""
    start = _start(group[0], axis)
    worst = min(group, key=lambda fault: ("fix", "watch", "note").index(fault.finding.severity))
    kind = f"t f-{worst.finding.severity}"
    words = _in_full(group)
    if until is None and start + _room(words) > 1:
        return label("100%", 11, words, kind=kind, anchor="end")
    if until is not None and start + _room(words) > until:
        words = _numbers(group)
    return label(f"{start * 100:.6g}%", 11, words, kind=kind)

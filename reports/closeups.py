"""A close-up of each finding: a few seconds around it, with the channels that matter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from markupsafe import Markup

from reports.drawing import Axis, at, label, path, stretched, tag
from reports.envelope import line_path
from reports.lanes import LETTER_SHARE, Strip
from reports.power_lanes import greatest, nice_ceiling
from reports.readings import grid_of
from reports.sensor_lanes import switching_bars
from reports.story_lanes import ticks
from reports.words import clock, counted, duration, heading, number
from telemetry.analysis import Analysis, Contact
from telemetry.dataclass import dataclass
from telemetry.finding import Finding
from telemetry.log import FloatArray, Kind
from telemetry.records.motors import MotorTrace
from telemetry.records.supply import Supply

__all__ = ["CloseUp", "close_up"]

_PAD_S = 1.5
_LONGEST_S = 12.0
_NAME_PX = 14
_GAP_PX = 8
_BAND_PX = 9
_COLUMNS = 600
_MOMENTS = ("t_s", "lowest_t_s", "peak_s", "peak_t_s", "first_contradiction_s")
_LEVEL_ROOM_PX = 11
_LINE_PX = 44
_PEAK_SHARE = 0.12
_MOST_BEAMS = 4
_SHOWN_WHOLE = (
    "load_share",
    "friction_trend",
    "source_resistance",
    "indicator_tell",
    "overheat",
    "chain_risk",
)


@dataclass(frozen=True)
class CloseUp:
    """One close-up: its drawing, what it shows in a sentence, and the span it covers in words."""

    drawing: Markup
    height_px: int
    summary: str
    span: str


@dataclass(frozen=True)
class _Row:
    name: str
    height_px: int
    drawing: Markup


def close_up(analysis: Analysis, finding: Finding) -> CloseUp:
    """The rows that matter for a finding, over the seconds around it (around its start where it is long)."""
    axis = _window(analysis, finding)
    strip = Strip(axis, grid_of(axis))
    rows = list(_rows(analysis, finding, strip))
    top, names, drawn = _BAND_PX + 3, [], []
    for row in rows:
        names.append(label("0%", top + 11, row.name, kind="t name"))
        drawn.append(tag("svg", {"y": top + _NAME_PX, "width": "100%", "height": row.height_px}, row.drawing))
        top += _NAME_PX + row.height_px + _GAP_PX
    drawn = [
        _extent(finding, axis, top),
        *_moments(finding, axis, top),
        *drawn,
        *names,
        ticks(axis, top + 10, most=6),
    ]
    whole = finding.end_s <= axis.end_s and finding.start_s >= axis.start_s
    span = f"{clock(axis.start_s, axis.zero_s)} to {clock(axis.end_s, axis.zero_s)}"
    shown = "its start" if _lowest_of_a_long_one(finding) is None else "its lowest"
    cut = "" if whole else f"; it lasts {duration(finding.end_s - finding.start_s)}, {shown} is shown"
    summary = (
        f"{heading(finding.kind, finding.subject, finding.role)} at "
        f"{clock(finding.start_s, axis.zero_s)}. Rows: "
        f"{', '.join(row.name for row in rows)}."
    )
    return CloseUp(Markup("").join(drawn), top + 16, summary, span + cut)


def _window(analysis: Analysis, finding: Finding) -> Axis:
    first, last = analysis.match.window_s
    length = finding.end_s - finding.start_s
    longest = max(last - first, _LONGEST_S) if finding.kind in _SHOWN_WHOLE else _LONGEST_S
    pad = max(_PAD_S, 0.3 * min(length, _LONGEST_S))
    lowest = _lowest_of_a_long_one(finding)
    if lowest is not None:
        around = max(lowest - _LONGEST_S / 3, first), lowest + _LONGEST_S / 3
        return Axis(*around, analysis.match.start_s, columns=_COLUMNS)
    start = max(finding.start_s - pad, first)
    end = min(finding.end_s + pad, start + longest, max(last, finding.start_s + 0.5))
    return Axis(start, max(end, start + 0.5), analysis.match.start_s, columns=_COLUMNS)


def _lowest_of_a_long_one(finding: Finding) -> float | None:
    """The instant to show of a trouble that comes and goes over a long time."""
    lowest = finding.evidence.get("lowest_t_s")
    long = finding.end_s - finding.start_s > _LONGEST_S
    return float(lowest) if long and isinstance(lowest, int | float) else None


def _extent(finding: Finding, axis: Axis, height_px: float) -> Markup:
    """Where the trouble lasts: a hatched band on top, its edges drawn down through all rows."""
    start, end = axis.percent(finding.start_s), axis.percent(finding.end_s)
    short = axis.share(finding.end_s) - axis.share(finding.start_s) < 0.008
    place = {"x": start, "width": "4" if short else axis.width(finding.start_s, finding.end_s)}
    band = tag("rect", {"class": f"h h-{finding.severity}", "y": 1, "height": _BAND_PX - 1, **place})
    wash = tag("rect", {"class": "wash", "y": _BAND_PX, "height": f"{height_px - _BAND_PX:g}", **place})
    edges = [
        tag(
            "line",
            {"class": f"edge edge-{finding.severity}", "x1": x, "x2": x, "y1": 0, "y2": f"{height_px:g}"},
        )
        for x, shown in ((start, finding.start_s >= axis.start_s), (end, finding.end_s <= axis.end_s))
        if shown
    ]
    return Markup("").join([wash, band, *edges])


def _moments(finding: Finding, axis: Axis, height_px: float) -> list[Markup]:
    """The instants that the evidence names: a full line down through all rows."""
    shown = [t_s for t_s in _named_s(finding) if axis.start_s <= t_s <= axis.end_s]
    return [
        tag("line", {"class": "moment-line", "x1": x, "x2": x, "y1": _BAND_PX, "y2": f"{height_px:g}"})
        for x in map(axis.percent, shown)
    ]


def _named_s(finding: Finding) -> list[float]:
    named = [finding.evidence.get(key) for key in _MOMENTS]
    return [float(t_s) for t_s in named if isinstance(t_s, int | float)]


def _rows(analysis: Analysis, finding: Finding, strip: Strip) -> Iterator[_Row]:
    yield from _SUBJECT_ROWS.get(finding.role, _log_rows)(analysis, finding, strip)
    if analysis.contacts and finding.role in ("beam", "limit", "harness", "supply", "range", "indicator"):
        yield _contact_row(analysis, finding, strip)


def _beam_rows(analysis: Analysis, finding: Finding, strip: Strip) -> Iterator[_Row]:
    order = [name for name in analysis.robot.beams_in_order() if name in analysis.beams] or list(
        analysis.beams
    )
    place = order.index(finding.subject) if finding.subject in order else 0
    beside = order if len(order) <= _MOST_BEAMS else order[max(place - 1, 0) : place + 2]
    near = [name for name in beside if name in analysis.beams]
    yield from (
        _switch_row(analysis, "beam", name, strip)
        for name in sorted(near, key=lambda n: n != finding.subject)
    )


def _limit_rows(analysis: Analysis, finding: Finding, strip: Strip) -> Iterator[_Row]:
    limit = analysis.robot.limits.get(finding.subject)
    limits = analysis.robot.limits
    ends = [name for name in limits if limit and limit.motor and limits[name].motor == limit.motor]
    for name in dict.fromkeys([finding.subject, *ends]):
        if name in analysis.limits:
            yield _switch_row(analysis, "limit", name, strip)
    trace = analysis.motors.get(limit.motor) if limit and limit.motor else None
    if trace and limit and limit.motor:
        yield _current_row(limit.motor, trace, strip)
        yield from _command_row(limit.motor, trace, strip)


def _motor_rows(analysis: Analysis, finding: Finding, strip: Strip) -> Iterator[_Row]:
    trace = analysis.motors.get(finding.subject)
    if trace is None:
        return
    motor = analysis.robot.motors.get(finding.subject)
    if (
        finding.kind in ("breaker_risk", "breaker_cycling")
        and motor is not None
        and motor.breaker_a is not None
    ):
        yield _breaker_row(finding.subject, trace, motor.breaker_a, strip)
    else:
        yield _current_row(finding.subject, trace, strip)
    if finding.kind in ("overheat", "stall", "near_stall") and np.isfinite(trace.heat).any():
        top = max(greatest(trace.heat) or 0.0, 1.0) * 1.15
        levels = ((1.0, "limit 1.0"),)
        yield _line_row(f"{finding.subject}, heat", trace.t_s, trace.heat, "heat", (0.0, top), strip, levels)
    if finding.kind not in ("overheat", "breaker_risk", "chain_risk"):
        yield from _share_row(finding.subject, trace, strip)
        yield from _command_row(finding.subject, trace, strip)


def _mechanism_rows(analysis: Analysis, finding: Finding, strip: Strip) -> Iterator[_Row]:
    motors = analysis.robot.motors
    names = [name for name in analysis.motors if name in motors and motors[name].mechanism == finding.subject]
    top = max((greatest(analysis.motors[name].current_a) or 1.0 for name in names), default=1.0)
    yield from (_current_row(name, analysis.motors[name], strip, top) for name in names[:4])


def _supply_rows(analysis: Analysis, finding: Finding, strip: Strip) -> Iterator[_Row]:
    if analysis.supply is not None:
        volts = analysis.supply.voltage_v[np.isfinite(analysis.supply.voltage_v)]
        low, high = (np.floor(volts.min()), np.ceil(volts.max())) if len(volts) else (0.0, 13.0)
        name = f"supply, V, {low:g} to {high:g}"
        known = analysis.robot.supply
        levels = (
            (known.dip_v, f"dip {known.dip_v:g} V"),
            (known.brownout_v, f"brownout {known.brownout_v:g} V"),
        )
        volts = analysis.supply.voltage_v
        yield _line_row(name, analysis.supply.t_s, volts, "voltage", (low, high), strip, levels)
    if finding.kind == "source_resistance" and analysis.supply is not None:
        yield from _supply_current_row(analysis.supply, strip)
        return
    inside = {name: _peak_within(trace, strip.axis) for name, trace in analysis.motors.items()}
    for name in sorted(inside, key=lambda name: -inside[name])[:2]:
        yield _current_row(name, analysis.motors[name], strip)


def _harness_rows(analysis: Analysis, finding: Finding, strip: Strip) -> Iterator[_Row]:
    lost = finding.evidence.get("lost", ())
    for name in list(lost)[:5] if isinstance(lost, list | tuple) else []:
        if name in analysis.motors:
            yield _current_row(str(name), analysis.motors[name], strip)
        for role, known in (("beam", analysis.beams), ("limit", analysis.limits)):
            if name in known:
                yield _switch_row(analysis, role, str(name), strip)


def _range_rows(analysis: Analysis, finding: Finding, strip: Strip) -> Iterator[_Row]:
    sensor = analysis.robot.ranges.get(finding.subject)
    channel = analysis.log.channels.get(sensor.signal) if sensor else None
    if channel is not None and len(channel.values):
        low, high = float(np.nanmin(channel.values)), float(np.nanmax(channel.values))
        name = f"{finding.subject}, {channel.unit or 'as logged'}, {low:g} to {high:g}"
        near = sensor.near if sensor else None
        levels = ((near, f"near {near:g}"),) if near is not None else ()
        yield _line_row(name, channel.t_s, channel.values, "beam", (low, high), strip, levels)


def _indicator_rows(analysis: Analysis, finding: Finding, strip: Strip) -> Iterator[_Row]:
    light = analysis.robot.indicator
    channel = analysis.log.channels.get(light.signal) if light and light.signal else None
    if channel is not None and channel.kind is not Kind.TEXT and len(channel.values):
        yield _line_row("light, lit where high", channel.t_s, channel.values, "limit", (-0.1, 1.1), strip)
    if analysis.pieces is not None:
        told = f"{counted(len(analysis.pieces.releases_s), 'release')} in the match"
        yield _Row(f"hits below; {told}", 2, Markup(""))


def _log_rows(analysis: Analysis, finding: Finding, strip: Strip) -> Iterator[_Row]:
    if analysis.supply is not None:
        yield next(_supply_rows(analysis, finding, strip))
    for name in list(analysis.motors)[:2]:
        yield _current_row(name, analysis.motors[name], strip)


_SUBJECT_ROWS = {
    "beam": _beam_rows, "limit": _limit_rows, "motor": _motor_rows, "mechanism": _mechanism_rows,
    "supply": _supply_rows, "harness": _harness_rows, "range": _range_rows, "indicator": _indicator_rows,
}  # fmt: skip


def _switch_row(analysis: Analysis, role: str, name: str, strip: Strip) -> _Row:
    signal = (analysis.beams if role == "beam" else analysis.limits)[name]
    word = "broken" if role == "beam" else "pressed"
    return _Row(f"{name} {role}, bar = {word}", 20, switching_bars(signal, strip, f"bar bar-{role}"))


def _current_row(name: str, trace: MotorTrace, strip: Strip, top_a: float | None = None) -> _Row:
    ceiling = nice_ceiling(top_a or greatest(trace.current_a) or 1.0)
    return _line_row(
        f"{name}, A, 0 to {ceiling:g}", trace.t_s, trace.current_a, "current", (0.0, ceiling), strip
    )


def _share_row(name: str, trace: MotorTrace, strip: Strip) -> Iterator[_Row]:
    if np.isfinite(trace.speed_share).any():
        words = f"{name}, speed, 1 = free speed (unloaded)"
        levels = ((0.05, "stalled below 0.05"),)
        yield _line_row(words, trace.t_s, np.abs(trace.speed_share), "speed", (0.0, 1.1), strip, levels)


def _command_row(name: str, trace: MotorTrace, strip: Strip) -> Iterator[_Row]:
    if np.isfinite(trace.command).any():
        yield _line_row(
            f"{name}, command, −1 to 1", trace.t_s, trace.command, "command", (-1.05, 1.05), strip
        )


def _breaker_row(name: str, trace: MotorTrace, breaker_a: float, strip: Strip) -> _Row:
    """What it takes through its breaker, with the rating; the winding's current where that is not known."""
    through = trace.supply_a if len(trace.supply_a) == len(trace.t_s) else trace.current_a
    ceiling = nice_ceiling(max(greatest(through) or 1.0, breaker_a * 1.1))
    words = f"{name}, A through its breaker, 0 to {ceiling:g}"
    levels = ((breaker_a, f"rating {breaker_a:g} A"),)
    return _line_row(words, trace.t_s, through, "current", (0.0, ceiling), strip, levels)


def _supply_current_row(supply: Supply, strip: Strip) -> Iterator[_Row]:
    if len(supply.current_a) == len(supply.t_s) and np.isfinite(supply.current_a).any():
        ceiling = nice_ceiling(greatest(supply.current_a) or 1.0)
        words = f"current out of the battery, A, 0 to {ceiling:g}"
        yield _line_row(words, supply.t_s, supply.current_a, "current", (0.0, ceiling), strip)


def _line_row(
    name: str,
    t_s: FloatArray,
    values: FloatArray,
    pen: str,
    bounds: tuple[float, float],
    strip: Strip,
    levels: tuple[tuple[float, str], ...] = (),
) -> _Row:
    """A signal between two bounds; `levels` are thresholds, dotted and named where they lie inside."""
    low, high = bounds
    inside = [(value, words) for value, words in levels if low < value < high]
    line = line_path(t_s, values, strip.axis, *bounds)
    base = path("g", "M0 0H1200M0 100H1200")
    dotted = [path("limit-line", f"M0 {(high - value) / (high - low) * 100:.0f}H1200") for value, _ in inside]
    named = _level_labels(inside, t_s, values, bounds, strip.axis) if inside else []
    return _Row(name, _LINE_PX, Markup("").join([stretched(base, *dotted, path(f"l l-{pen}", line)), *named]))


def _level_labels(
    levels: Sequence[tuple[float, str]],
    t_s: FloatArray,
    values: FloatArray,
    bounds: tuple[float, float],
    axis: Axis,
) -> list[Markup]:
    shares = (t_s - axis.start_s) / axis.span_s
    heights = (bounds[1] - np.asarray(values, dtype=float)) / (bounds[1] - bounds[0]) * _LINE_PX
    return [_level_label(value, words, bounds, shares, heights) for value, words in levels]


def _level_label(
    value: float, words: str, bounds: tuple[float, float], shares: FloatArray, heights: FloatArray
) -> Markup:
    """A threshold's name above or below its line, at the end where the signal is least in the way."""
    line = (bounds[1] - value) / (bounds[1] - bounds[0]) * _LINE_PX
    wide = (len(words) + 1) * LETTER_SHARE
    baselines = [line - 3] if line > _LEVEL_ROOM_PX + 3 else []
    baselines += [line + _LEVEL_ROOM_PX] if line < _LINE_PX - _LEVEL_ROOM_PX else []
    places = [(end, y) for y in baselines or [line - 3] for end in (1.0, 0.0)]

    def in_the_way(place: tuple[float, float]) -> int:
        end, y = place
        near = shares > 1 - wide if end else shares < wide
        near &= (shares >= 0) & (shares <= 1)
        return int((near & (heights > y - _LEVEL_ROOM_PX) & (heights < y + 2)).sum())

    end, y = min(places, key=in_the_way)
    return label(f"{end:.0%}", y, words, kind="t s-small", anchor="end" if end else "start")


def _contact_row(analysis: Analysis, finding: Finding, strip: Strip) -> _Row:
    """A line for each hit, its peak on the side where neither a hit nor an edge of the trouble stands."""
    axis = strip.axis
    shown = [contact for contact in analysis.contacts if axis.covers(contact.t_s, contact.t_s)]
    lines_s = [*(contact.t_s for contact in shown), finding.start_s, finding.end_s, *_named_s(finding)]
    shares = [axis.share(t_s) for t_s in lines_s if axis.start_s <= t_s <= axis.end_s]
    marks = [
        at(axis.percent(hit.t_s), 0, path("hit-line", "M0 0V20"), _peak(hit, axis.share(hit.t_s), shares))
        for hit in shown
    ]
    return _Row(
        "hits" if shown else "hits: none in these seconds", 20 if shown else 2, Markup("").join(marks)
    )


def _peak(contact: Contact, share: float, lines: Sequence[float]) -> Markup:
    """The peak of a hit at its right or its left, or nothing where lines stand on both sides."""
    right = share + _PEAK_SHARE <= 1 and not any(share < line < share + _PEAK_SHARE for line in lines)
    left = share - _PEAK_SHARE >= 0 and not any(share - _PEAK_SHARE < line < share for line in lines)
    if not right and not left:
        return Markup("")
    place = {"x": 6, "y": 14} if right else {"x": -6, "y": 14, "text-anchor": "end"}
    return tag("text", {**place, "class": "t n"}, number(contact.peak_g, "g", 2))


def _peak_within(trace: MotorTrace, axis: Axis) -> float:
    first, last = np.searchsorted(trace.t_s, [axis.start_s, axis.end_s])
    return greatest(trace.current_a[first:last]) or 0.0

"""The match strip: the match rebuilt as lanes over one time axis, with what the cursor reads on each."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator

import numpy as np
from markupsafe import Markup

from reports.drawing import Axis, tag
from reports.events import events_of
from reports.lanes import Lane, Strip, faults_by_subject
from reports.piece_lanes import cycle_lane, piece_lane
from reports.power_lanes import motor_lane, supply_lane
from reports.readings import grid_of
from reports.samples import Packed, pack
from reports.sensor_lanes import switch_lane
from reports.story_lanes import contact_lane, finding_lane, phase_lane
from reports.words import clock, fixed, heading, visible
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.records.sensors import Switching

__all__ = [
    "NumbersTable", "cursor_data", "grid_drawing", "lanes_of", "numbers_table", "samples_of", "strip_of",
]  # fmt: skip

_BEFORE_S = 10.0
_AFTER_S = 20.0
_ROW_S = (10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0)
_MOST_ROWS = 24


@dataclass(frozen=True)
class NumbersTable:
    """The strip as a table: what each lane did in each stretch of time."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    row_s: float


def strip_of(analysis: Analysis) -> Strip:
    """The axis and grid of a match: the match with what the log holds just before and after it."""
    match = analysis.match
    start = max(match.window_s[0], match.start_s - _BEFORE_S)
    end = min(match.window_s[1], match.end_s + _AFTER_S)
    times = [t for finding in analysis.findings for t in (finding.start_s, finding.end_s)]
    inside = [t for t in times if match.window_s[0] <= t <= match.window_s[1]]
    axis = Axis(min([start, *inside]), max([end, start + 1.0, *inside]), match.start_s)
    return Strip(axis, grid_of(axis))


def lanes_of(analysis: Analysis, strip: Strip) -> tuple[Lane, ...]:
    """Every lane of the strip, in the order in which they are shown."""
    return tuple(_lanes(analysis, strip))


def _lanes(analysis: Analysis, strip: Strip) -> Iterator[Lane]:
    faults = faults_by_subject(analysis)
    yield phase_lane(analysis, strip, faults.get(("log", "log"), ()))
    if analysis.findings:
        yield finding_lane(analysis, strip)
    if _sees_hits(analysis):
        yield contact_lane(analysis, strip)
    if analysis.pieces:
        yield piece_lane(analysis, analysis.pieces, strip)
    if analysis.cycles or (analysis.pieces and analysis.pieces.releases_s):
        yield cycle_lane(analysis, strip)
    for role, signals in (("beam", analysis.beams), ("limit", analysis.limits)):
        for place, name in enumerate(_in_order(analysis, role, signals)):
            yield switch_lane(
                f"{role}-{place}", role, name, signals[name], faults.get((role, name), ()), strip
            )
    for place, (name, trace) in enumerate(analysis.motors.items()):
        yield motor_lane(f"motor-{place}", name, trace, faults.get(("motor", name), ()), strip)
    if analysis.supply is not None:
        levels = analysis.robot.supply
        troubles = faults.get(("supply", "supply"), ())
        yield supply_lane(analysis.supply, levels.dip_v, levels.brownout_v, troubles, strip)


def _sees_hits(analysis: Analysis) -> bool:
    """Whether anything could have told a hit: without that, no hit is not the same as none."""
    source = analysis.robot.contact
    return bool(analysis.contacts or source.accelerometer or source.drive)


def _in_order(analysis: Analysis, role: str, names: Iterable[str]) -> list[str]:
    known = list(names)
    if role != "beam":
        return known
    return [name for name in analysis.robot.beams_in_order() if name in known] + [
        name for name in known if name not in analysis.robot.beams
    ]


def grid_drawing(analysis: Analysis, strip: Strip) -> Markup:
    """What lies behind all lanes: faint lines at round match times, stronger ones where a phase begins."""
    axis = strip.axis
    lines = [(t_s, "g") for t_s, _ in axis.ticks(12)]
    lines += [(phase.start_s, "p") for phase in analysis.match.phases]
    return Markup("").join(
        tag("line", {"class": kind, "x1": axis.percent(t_s), "x2": axis.percent(t_s), "y2": "100%"})
        for t_s, kind in lines
        if axis.start_s < t_s < axis.end_s
    )


def samples_of(lanes: tuple[Lane, ...], strip: Strip) -> Packed:
    """Every lane's samples, packed for the page's script."""
    axis = strip.axis
    signals = [(lane.key, signal) for lane in lanes for signal in lane.signals]
    return pack(signals, start_s=axis.start_s, end_s=axis.end_s, zero_s=axis.zero_s)


def cursor_data(analysis: Analysis, lanes: tuple[Lane, ...], strip: Strip, samples: Packed) -> str:
    """The JSON that the page's script reads: grid, lanes, events, findings; safe inside a script element."""
    grid = strip.grid
    data = {
        "start": round(grid.start_s - strip.axis.zero_s, 4),
        "step": round(grid.step_s, 6),
        "count": grid.count,
        "from": round(strip.axis.start_s - strip.axis.zero_s, 4),
        "to": round(strip.axis.end_s - strip.axis.zero_s, 4),
        "lanes": {lane.key: list(lane.readings) for lane in lanes if lane.readings},
        "findings": [
            [
                round(finding.start_s - strip.axis.zero_s, 4),
                visible(f"{number_}. {heading(finding.kind, finding.subject, finding.role)}"),
            ]
            for number_, finding in enumerate(analysis.findings, 1)
        ],
        "events": [
            [round(event.t_s - strip.axis.zero_s, 4), visible(event.words)]
            for event in events_of(analysis)
            if strip.axis.start_s <= event.t_s <= strip.axis.end_s
        ],
        "phases": [round(phase.start_s - strip.axis.zero_s, 4) for phase in analysis.match.phases],
        "samples": samples.head,
    }
    written = json.dumps(data, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return written.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def numbers_table(analysis: Analysis, strip: Strip) -> NumbersTable:
    """Every lane in figures, a row for each stretch of at least ten seconds."""
    axis = strip.axis
    row_s = next((step for step in _ROW_S if axis.span_s / step <= _MOST_ROWS), axis.span_s / _MOST_ROWS)
    first = axis.zero_s - row_s * np.ceil((axis.zero_s - axis.start_s) / row_s - 1e-9)
    edges = np.arange(first, axis.end_s + row_s * 0.999, row_s)
    columns = {"from": [clock(edge, axis.zero_s) for edge in edges[:-1]]}
    columns |= dict(_column_figures(analysis, edges))
    return NumbersTable(tuple(columns), tuple(zip(*columns.values(), strict=True)), row_s)


def _column_figures(analysis: Analysis, edges: FloatArray) -> Iterator[tuple[str, list[str]]]:
    if _sees_hits(analysis):
        hits = np.histogram([contact.t_s for contact in analysis.contacts], edges)[0]
        yield "hits", [str(count) for count in hits]
    if analysis.pieces:
        yield "aboard at the end", _aboard(analysis, edges)
        yield "releases", [str(count) for count in np.histogram(analysis.pieces.releases_s, edges)[0]]
    for role, signals in (("beam", analysis.beams), ("limit", analysis.limits)):
        for name, signal in signals.items():
            yield f"{role} {name}, changes", _changes(signal, edges)
    for name, trace in analysis.motors.items():
        yield f"{name}, peak A", _extreme(trace.t_s, trace.current_a, edges, np.fmax, 1)
        if np.isfinite(trace.heat).any():
            yield f"{name}, heat", _extreme(trace.t_s, trace.heat, edges, np.fmax, 2)
    if analysis.supply is not None:
        yield "supply, lowest V", _extreme(analysis.supply.t_s, analysis.supply.voltage_v, edges, np.fmin, 1)


def _aboard(analysis: Analysis, edges: FloatArray) -> list[str]:
    assert analysis.pieces is not None  # noqa: S101 - narrowed by the caller
    steps = analysis.pieces.timeline
    latest = np.searchsorted([step.start_s for step in steps], edges[1:], side="right") - 1
    return [str(steps[at].aboard) if at >= 0 else "–" for at in latest]


def _changes(signal: Switching, edges: FloatArray) -> list[str]:
    return [str(count) for count in np.histogram(signal.t_s[1:], edges)[0]]


def _extreme(
    t_s: FloatArray, values: FloatArray, edges: FloatArray, pick: np.ufunc, places: int
) -> list[str]:
    bounds = np.searchsorted(t_s, edges)
    return [
        fixed(float(pick.reduce(values[a:b])) if b > a else None, places)
        for a, b in zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True)
    ]

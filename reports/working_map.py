"""The working map of a motor: how long it ran at which speed and current, against its data-sheet line.

Current is scaled to the nominal voltage (times nominal over applied), speed to the free speed at the voltage
applied; then the steady states of a permanent-magnet motor lie on one line, from stall current at rest to
free current at free speed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from markupsafe import Markup

from reports.drawing import COLUMNS, LEVELS, label, path, stretched, tag
from reports.envelope import gap_limit_s
from reports.power_lanes import nice_ceiling
from reports.tables import Cell, Table
from reports.words import duration, number, percent
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor

__all__ = ["WorkingMap", "map_states", "map_table", "working_maps"]

_ACROSS, _DOWN = 50, 25
_MOST_SHARE = 1.1
_STALL_SHARE, _NEAR_STALL_SHARE = 0.05, 0.2
_BANDS = (0.0, _STALL_SHARE, _NEAR_STALL_SHARE, 0.5, 0.8)
_LEAST_V = 2.0
_MOST_A = 1e6
_SIZES_S = ((0.0, 0.4), (0.2, 0.7), (1.0, 1.0))
"""From how many seconds on a cell is filled to which part of its sides."""

_HEIGHT_PX = 170
_BAND_PX = 9


@dataclass(frozen=True)
class WorkingMap:
    """One motor's map: its drawing, a sentence for those who do not see it, times in words, a table's row."""

    name: str
    drawing: Markup
    height_px: int
    summary: str
    times: str
    figures: tuple[str, ...]


def working_maps(analysis: Analysis) -> Iterator[WorkingMap]:
    """A map for each motor whose data sheet and speed are known and that was driven."""
    for name, trace in analysis.motors.items():
        motor = analysis.robot.motors.get(name)
        if motor is None or motor.stall_current_a is None or motor.free_current_a is None:
            continue
        share, current_a, time_s = map_states(trace, motor)
        if len(share):
            yield _map(name, motor.stall_current_a, motor.free_current_a, share, current_a, time_s)


def map_table(maps: Sequence[WorkingMap]) -> Table:
    """The maps in figures: how long each motor ran in each band of speed, and its middle current there."""
    bounds = [f"{percent(low)} to {percent(high)}" for low, high in pairwise(_BANDS)]
    columns = ("Motor", *bounds, f"over {percent(_BANDS[-1])}", "Data sheet, at rest to free")
    rows = tuple((Cell(m.name), *(Cell(text, number=True) for text in m.figures)) for m in maps)
    return Table("Time in each band of speed, and the middle current in it", columns, rows)


def _figures(share: FloatArray, current_a: FloatArray, time_s: FloatArray) -> Iterator[str]:
    bands = np.searchsorted(_BANDS, share, side="right") - 1
    for band in range(len(_BANDS)):
        inside = bands == band
        spent_s = float(time_s[inside].sum())
        current = number(float(np.median(current_a[inside])), "A") if spent_s else ""
        yield f"{duration(spent_s)}, {current}" if spent_s else "–"


def map_states(trace: MotorTrace, motor: Motor) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Speed share, current at nominal voltage and duration of each sample on the map; shapes (n,).

    On the map is what was driven and turned with its drive, or stood still: not braked against the voltage,
    and not pushed faster than it can run by itself.
    """
    if len(trace.t_s) < 2:
        return np.empty(0), np.empty(0), np.empty(0)
    steps_s = np.diff(trace.t_s, append=trace.t_s[-1])
    time_s = np.where(steps_s <= gap_limit_s(trace.t_s), steps_s, 0.0)
    share = trace.speed_share
    least_share = -_STALL_SHARE if trace.speed_source == "channel" else -_NEAR_STALL_SHARE
    with_drive = (share >= least_share) & (share <= _MOST_SHARE)
    usable = trace.driven & with_drive & (trace.applied_v >= _LEAST_V) & (trace.current_a < _MOST_A)
    scale = motor.nominal_v / trace.applied_v[usable]
    return np.maximum(share[usable], 0.0), trace.current_a[usable] * scale, time_s[usable]


def _map(
    name: str, stall_a: float, free_a: float, share: FloatArray, current_a: FloatArray, time_s: FloatArray
) -> WorkingMap:
    top_a = nice_ceiling(1.05 * max(stall_a, float(np.quantile(current_a, 0.995))))
    start, end = (1 - stall_a / top_a) * LEVELS, (1 - free_a / top_a) * LEVELS
    inside = stretched(
        path("cells", _cells(share, current_a, time_s, top_a)),
        path("sheet-line", f"M0 {start:.1f}L{COLUMNS / _MOST_SHARE:.0f} {end:.1f}"),
        height=_HEIGHT_PX,
    )
    drawing = Markup("").join([*_regions(), inside, *_words(top_a)])
    times = _time_words(share, time_s)
    figures = (*_figures(share, current_a, time_s), f"{stall_a:g} A to {free_a:g} A")
    return WorkingMap(name, drawing, _HEIGHT_PX + 18, f"{name}: {times}", times, figures)


def _time_words(share: FloatArray, time_s: FloatArray) -> str:
    slow = share < _STALL_SHARE
    labouring = ~slow & (share < _NEAR_STALL_SHARE)
    return (
        f"{duration(float(time_s.sum()))} driven, {duration(float(time_s[slow].sum()))} of it under 5 % of "
        f"the free speed, {duration(float(time_s[labouring].sum()))} between 5 and 20 %, starts included."
    )


def _regions() -> list[Markup]:
    """The strips of stall and near stall: a hatched band on top, a dashed edge down the map."""
    drawn = []
    for level, start, end in (("fix", 0.0, _STALL_SHARE), ("watch", _STALL_SHARE, _NEAR_STALL_SHARE)):
        edge = _across(end)
        place = {"x": _across(start), "width": _across(end - start)}
        line = {"x1": edge, "x2": edge, "y1": 0, "y2": _HEIGHT_PX}
        drawn.append(tag("rect", {"class": f"h h-{level}", "y": 0, "height": _BAND_PX, **place}))
        drawn.append(tag("line", {"class": f"edge edge-{level}", **line}))
    return drawn


def _words(top_a: float) -> list[Markup]:
    speeds = [
        label(
            _across(share), _HEIGHT_PX + 13, percent(share), kind="t n", anchor="middle" if share else "start"
        )
        for share in (0.0, 0.25, 0.5, 0.75, 1.0)
    ]
    top = label("99.5%", 12, f"{top_a:g} A", kind="t n", anchor="end")
    beside = _across(_NEAR_STALL_SHARE + 0.015)
    return [*speeds, top, label(beside, _BAND_PX, "stalled, nearly stalled", kind="t s-small")]


def _across(share: float) -> str:
    return f"{share / _MOST_SHARE * 100:.4g}%"


def _cells(share: FloatArray, current_a: FloatArray, time_s: FloatArray, top_a: float) -> str:
    """A rectangle for each cell of the map, larger the longer the motor was there."""
    box = [[0.0, _MOST_SHARE], [0.0, top_a]]
    spent_s = np.histogram2d(
        share, np.minimum(current_a, top_a), bins=(_ACROSS, _DOWN), range=box, weights=time_s
    )[0]
    width, height = COLUMNS / _ACROSS, LEVELS / _DOWN
    drawn = []
    for column, row in np.argwhere(spent_s > 0).tolist():
        size = next(size for least, size in reversed(_SIZES_S) if spent_s[column, row] > least)
        x, y = (column + (1 - size) / 2) * width, (_DOWN - 1 - row + (1 - size) / 2) * height
        drawn.append(f"M{x:.1f} {y:.1f}h{size * width:.1f}v{size * height:.1f}h-{size * width:.1f}z")
    return "".join(drawn)

"""Small multiples of an event for a poster or a notebook, drawn with matplotlib: one chart a series."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from reports.figures import figure_file
from reports.palette import LIGHT
from reports.trend_figures import trend_title
from telemetry.event import Event
from telemetry.plain import shown
from telemetry.trends import Trend

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["event_figure_files", "trends_figure"]

_COLUMNS = 3
_PANEL_IN = (3.3, 1.9)
_MOST_NUMBERED = 10


def event_figure_files(event: Event, kind: str) -> tuple[tuple[str, bytes], ...]:
    """(file name, content) of the event's figures; none where nothing is followed from match to match."""
    content = figure_file(lambda: trends_figure(event.trends, len(event.matches)), kind)
    return ((f"trends.{kind}", content),) if content else ()


def trends_figure(trends: Sequence[Trend], matches: int) -> Figure | None:
    """Every series as a small chart of its own, those with a trend first; None without any."""
    if not trends:
        return None
    from matplotlib.figure import Figure

    columns = min(_COLUMNS, len(trends))
    rows = math.ceil(len(trends) / columns)
    figure = Figure(figsize=(columns * _PANEL_IN[0], rows * _PANEL_IN[1]), layout="constrained")
    for place, trend in enumerate(trends, 1):
        _draw(figure.add_subplot(rows, columns, place), trend, matches)
    return figure


def _draw(axes: Axes, trend: Trend, matches: int) -> None:
    series = trend.series
    known = [(at, value) for at, value in enumerate(series.values, 1) if value is not None]
    at, values = [number for number, _ in known], [value for _, value in known]
    line = LIGHT["fix"] if trend.worse else LIGHT["current"]
    axes.plot(at, values, color=line, marker="o", markersize=4.5, linewidth=0.8)
    if trend.found:
        _draw_slope(axes, trend, at, values)
    axes.set_title(shown(trend_title(trend), 40), fontweight="bold" if trend.found else "normal")
    axes.set_ylabel(series.unit)
    axes.set_xlabel("match, in order")
    axes.set_xlim(0.5, matches + 0.5)
    axes.set_xticks(range(1, matches + 1, max(1, math.ceil(matches / _MOST_NUMBERED))))
    axes.set_ylim(bottom=0.0, top=max([*values, 0.0]) * 1.15 + 0.05)
    axes.grid(visible=True, color=LIGHT["grid"], linewidth=0.6)
    axes.set_axisbelow(True)


def _draw_slope(axes: Axes, trend: Trend, at: Sequence[int], values: Sequence[float]) -> None:
    """The line of Theil and Sen through the median of what it leaves over."""
    rests = sorted(value - trend.slope_per_match * place for place, value in zip(at, values, strict=True))
    ends = (at[0], at[-1])
    heights = [rests[len(rests) // 2] + trend.slope_per_match * end for end in ends]
    axes.plot(ends, heights, color=LIGHT["ink"], linewidth=1.4, linestyle="--")

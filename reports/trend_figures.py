"""Small multiples of an event: each figure that is followed, match by match, as one image."""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reports.palette import LIGHT
from reports.words import kind_words, listed, visible
from telemetry.plain import shown
from telemetry.trends import Trend

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["TrendFigure", "trend_figure", "trend_title"]

_MOST_PANELS = 12
_COLUMNS = 3
_PANEL_IN = (3.3, 1.9)
_DPI = 130


@dataclass(frozen=True)
class TrendFigure:
    """An image as a data URI with its size in pixels, what it shows in a sentence, and what it leaves out."""

    source: str
    width: int
    height: int
    summary: str
    left_out: int


def trend_title(trend: Trend) -> str:
    """What a series is called: `entry: dropped out`, `Cycle time`."""
    series = trend.series
    if series.kind == "cycle_time":
        return "Cycle time, median"
    if series.kind == "friction_trend":
        return f"{visible(series.subject)}: running current"
    if series.kind == "source_resistance":
        return f"{visible(series.subject)}: resistance of the supply"
    return f"{visible(series.subject)}: {kind_words(series.kind).title}"


def trend_figure(trends: Sequence[Trend], matches: Sequence[str]) -> TrendFigure | None:
    """All series as small multiples, those with a trend first; None without any.

    The same trends give the same bytes.
    """
    if not trends:
        return None
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    drawn = trends[:_MOST_PANELS]
    columns = min(_COLUMNS, len(drawn))
    rows = math.ceil(len(drawn) / columns)
    size = (columns * _PANEL_IN[0], rows * _PANEL_IN[1])
    figure = Figure(figsize=size, dpi=_DPI, facecolor="none", layout="constrained")
    FigureCanvasAgg(figure)
    for place, trend in enumerate(drawn, 1):
        _panel(figure.add_subplot(rows, columns, place), trend, len(matches))
    written = io.BytesIO()
    figure.savefig(written, format="png", metadata={"Software": None})
    source = "data:image/png;base64," + base64.b64encode(written.getvalue()).decode("ascii")
    width, height = (round(inches * _DPI) for inches in size)
    return TrendFigure(source, width, height, _summary(drawn), len(trends) - len(drawn))


def _panel(axes: Axes, trend: Trend, matches: int) -> None:
    series = trend.series
    known = [(at, value) for at, value in enumerate(series.values, 1) if value is not None]
    at, values = [number for number, _ in known], [value for _, value in known]
    ink, line = LIGHT["ink"], LIGHT["fix"] if trend.worse else LIGHT["current"]
    axes.set_facecolor("none")
    axes.plot(at, values, color=line, marker="o", markersize=4.5, linewidth=0.8 if trend.found else 0.5)
    if trend.found:
        _slope_line(axes, trend, at, values)
    title = shown(trend_title(trend), 40).replace("$", r"\$")
    axes.set_title(title, fontsize=9.5, color=ink, loc="left", fontweight="bold" if trend.found else "normal")
    axes.set_ylabel(series.unit, fontsize=8.5, color=ink)
    axes.set_xlabel("match, in order", fontsize=8, color=ink)
    axes.tick_params(labelsize=8, colors=ink)
    axes.set_xlim(0.5, matches + 0.5)
    step = max(1, math.ceil(matches / 10))
    axes.set_xticks(range(1, matches + 1, step))
    low, high = min(values), max(values)
    room = max((high - low) * 0.15, abs(high) * 0.05, 0.05)
    axes.set_ylim(min(0.0, low) if series.unit == "a match" else low - room, high + room)
    axes.grid(visible=True, color=LIGHT["grid"], linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)


def _slope_line(axes: Axes, trend: Trend, at: Sequence[int], values: Sequence[float]) -> None:
    """The Theil–Sen line through the median point."""
    middle = sorted(value - trend.slope_per_match * place for place, value in zip(at, values, strict=True))
    rest = middle[len(middle) // 2]
    ends = (at[0], at[-1])
    axes.plot(
        ends, [rest + trend.slope_per_match * end for end in ends],
        color=LIGHT["ink"], linewidth=1.6, linestyle="--",
    )  # fmt: skip


def _summary(trends: Sequence[Trend]) -> str:
    found = [f"{trend_title(trend)} {trend.direction}" for trend in trends if trend.found]
    return f"{len(trends)} small charts by match. " + (
        f"A trend is shown in {listed(found)}." if found else "None of them shows a trend."
    )

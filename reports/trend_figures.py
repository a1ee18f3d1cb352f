"""Small multiples of an event: each figure that is followed, match by match, as a drawing of its own."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from markupsafe import Markup

from reports.drawing import COLUMNS, LEVELS, label, path, stretched, tag
from reports.words import kind_words, listed, number, visible
from telemetry.dataclass import dataclass
from telemetry.trends import Trend

__all__ = ["TrendChart", "TrendFigure", "trend_figure", "trend_title"]

_MOST_CHARTS = 12
_MOST_NAMED = 12
"""More matches than this have no room for each one's value and number."""

_TOP_PX = 22
_PLOT_PX = 84
_BASE_PX = _TOP_PX + _PLOT_PX
_HEIGHT_PX = _BASE_PX + 20


@dataclass(frozen=True)
class TrendChart:
    """One series: its name and unit, its drawing with its height, and what it shows in a sentence."""

    name: str
    unit: str
    drawing: Markup
    height_px: int
    summary: str
    worse: bool


@dataclass(frozen=True)
class TrendFigure:
    """The charts, what they show in a sentence, and how many series they leave out."""

    charts: tuple[TrendChart, ...]
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

    Each is drawn from 0, so that what looks small is small, with the value beside every point.
    """
    if not trends:
        return None
    drawn = trends[:_MOST_CHARTS]
    charts = tuple(_chart(trend, matches) for trend in drawn)
    return TrendFigure(charts, _summary(drawn), len(trends) - len(drawn))


def _chart(trend: Trend, matches: Sequence[str]) -> TrendChart:
    known = [(at, value) for at, value in enumerate(trend.series.values) if value is not None]
    plot = _Plot(len(matches), max([value for _, value in known] + [0.0]) or 1.0)
    drawing = Markup("").join([
        stretched(*_lines(trend, known, plot), top=_TOP_PX, height=_PLOT_PX),
        *_points(trend, known, plot),
        *_match_numbers(plot),
    ])  # fmt: skip
    told = ", ".join(f"{matches[at]} {_value(trend, at, value)}" for at, value in known)
    summary = f"{trend_title(trend)}, {trend.series.unit}, by match: {told}."
    unit = f"{trend.series.unit}; + only suspected" if any(trend.series.suspected) else trend.series.unit
    return TrendChart(trend_title(trend), unit, drawing, _HEIGHT_PX, summary, trend.worse)


@dataclass(frozen=True)
class _Plot:
    """Places on a chart of so many matches whose greatest value is `top`."""

    matches: int
    top: float

    def share(self, at: float) -> float:
        return (at + 0.5) / max(self.matches, 1)

    def percent(self, at: int) -> str:
        return f"{self.share(at) * 100:.5g}%"

    def down(self, value: float) -> float:
        """0 at the greatest value, 1 at zero."""
        return min(max(1 - value / self.top, 0.0), 1.0)


def _lines(trend: Trend, known: Sequence[tuple[int, float]], plot: _Plot) -> Iterator[Markup]:
    yield path("base", f"M0 {LEVELS}H{COLUMNS}")
    yield path("l l-trend", _line([(at, value) for at, value in known], plot))
    if trend.found:
        middle = sorted(value - trend.slope_per_match * at for at, value in known)
        rest = middle[len(middle) // 2]
        ends = [(at, rest + trend.slope_per_match * at) for at in (known[0][0], known[-1][0])]
        yield path("l l-slope", _line(ends, plot))


def _line(points: Sequence[tuple[int, float]], plot: _Plot) -> str:
    places = [f"{plot.share(at) * COLUMNS:.0f} {plot.down(value) * LEVELS:.1f}" for at, value in points]
    return "M" + "L".join(places) if places else ""


def _points(trend: Trend, known: Sequence[tuple[int, float]], plot: _Plot) -> Iterator[Markup]:
    kind = "dot dot-worse" if trend.worse else "dot"
    greatest = max(known, key=lambda point: point[1], default=None)
    for point in known:
        at, value = point
        y = _TOP_PX + plot.down(value) * _PLOT_PX
        yield tag("circle", {"class": kind, "cx": plot.percent(at), "cy": f"{y:.1f}", "r": 4})
        if plot.matches <= _MOST_NAMED or point in (known[0], known[-1], greatest):
            yield label(plot.percent(at), y - 8, _value(trend, at, value), kind="t n tc")


def _value(trend: Trend, at: int, value: float) -> str:
    """A figure, or a count; as `4+1` where one more was only suspected."""
    if not trend.series.counts or value != round(value):
        return number(value)
    suspected = trend.series.suspected[at]
    return f"{value - suspected:.0f}+{suspected}" if suspected and value >= suspected else f"{value:.0f}"


def _match_numbers(plot: _Plot) -> Iterator[Markup]:
    for at in range(0, plot.matches, max(1, math.ceil(plot.matches / _MOST_NAMED))):
        yield label(plot.percent(at), _HEIGHT_PX - 5, str(at + 1), kind="t n tc s-small")


def _summary(trends: Sequence[Trend]) -> str:
    found = [f"{trend_title(trend)} {trend.direction}" for trend in trends if trend.found]
    return f"{len(trends)} small charts by match. " + (
        f"A trend is shown in {listed(found)}." if found else "None of them shows a trend."
    )

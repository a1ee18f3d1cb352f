"""Trends over the matches of an event: is it getting worse?

Each series (a fault's count, a motor's running current, a battery's resistance, the cycle time) gets its
Theil–Sen slope and a Mann–Kendall test; counts, which that test reads badly, are judged as counts instead
(see `count_trends`). Over the faults, and over the measured figures, the false discovery rate is held
(Benjamini and Hochberg). What is too small to matter is not called a trend, however regular.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import fmean, median

from telemetry.count_trends import CountTrend, count_trend
from telemetry.dataclass import dataclass
from telemetry.event_series import Series, series_of
from telemetry.match_facts import MatchFacts
from telemetry.rank_statistics import mann_kendall, pettitt, theil_sen
from telemetry.statistics import adjusted_p
from telemetry.wording import counted

__all__ = ["LEAST_MATCHES", "Trend", "find_trends", "settled_part"]

LEAST_MATCHES = 4
"""Fewer matches say nothing of a trend."""

_LEVEL = 0.05
_MOST_P = 0.02
"""The most that Mann–Kendall's p may be by itself, however few figures share the level (our choice). Counts
are held to the level alone: three tests must agree, and seldom do by chance."""
_LEAST_MORE_FAULTS = 1.0
_LEAST_SHARE = {"friction_trend": 0.10, "source_resistance": 0.15, "cycle_time": 0.20}
"""Change over the event, against the median, from which it matters (our choice)."""
_LEAST_RISES = 4
"""So many rises in a row strike the eye, and are said even where they are no proof (our choice). Of figures
without any order one in 65 ends so, by now or a match ago (2/5! - 1/6!)."""


@dataclass(frozen=True)
class Trend:
    """A series with its trend.

    Attributes:
        slope_per_match, low, high: Theil–Sen with its 95 % interval (None with fewer than five values).
        p: Mann–Kendall, both sides.
        counts: the same question put to the counts, where the series is one of counts; that judges it.
        adjusted_p: the p that judges the series, over all counts or all measured figures of the event.
        direction: `rising`, `falling`, or `none shown`.
        share: change over the event as a share of the median; None for counts.
        step_after: the match after which it likeliest changed, where a trend was found.
        hint: what strikes the eye though no trend is shown, in a sentence; empty where nothing does.
    """

    series: Series
    slope_per_match: float
    low: float | None
    high: float | None
    p: float
    adjusted_p: float
    direction: str
    share: float | None
    step_after: str | None
    text: str
    counts: CountTrend | None = None
    hint: str = ""

    @property
    def count_p(self) -> float | None:
        """The p by the counts, where the series is one of counts."""
        return self.counts.p if self.counts else None

    @property
    def judging_p(self) -> float:
        """The p by which the series is judged."""
        return self.counts.p if self.counts else self.p

    @property
    def found(self) -> bool:
        """Whether a trend is shown, and large enough to matter."""
        return self.direction != "none shown"

    @property
    def worse(self) -> bool:
        """Whether it is getting worse."""
        return self.direction == "rising"


def find_trends(
    facts: Sequence[MatchFacts], batteries: Sequence[str | None] | None = None
) -> tuple[Trend, ...]:
    """The trend of every series of at least four matches; matches in the order in which they were played.

    `batteries` names each match's battery where the match sheet knows better than the logs.
    """
    names = [one.name for one in facts]
    told = [one.battery for one in facts] if batteries is None else list(batteries)
    trends = [_trend(series) for series in series_of(facts, told) if _known(series) >= LEAST_MATCHES]
    adjusted = _adjusted(trends)
    judged = [_judged(trend, adjusted.get(number, 1.0), names) for number, trend in enumerate(trends)]
    return tuple(sorted(judged, key=lambda trend: (not trend.found, trend.adjusted_p, trend.judging_p)))


def _adjusted(trends: Sequence[Trend]) -> dict[int, float]:
    """P-values by place, adjusted over the series that could show a trend at all.

    Faults and measured figures are two questions, each at its own level: a dozen motors that run free do not
    hide a loose lead. Among faults, what was met oftenest has the largest share of the level: it can tell
    most, and how often it was met says nothing of its order.
    """
    found: dict[int, float] = {}
    for counted_series in (True, False):
        own = [n for n, trend in enumerate(trends) if bool(trend.series.counts) is counted_series]
        testable = [n for n in own if _testable(trends[n].series)]
        weights = [_weight(trends[n].series) for n in testable]
        p_values = adjusted_p([trends[n].judging_p for n in testable], weights).tolist()
        found |= dict(zip(testable, p_values, strict=True))
    return found


def _weight(series: Series) -> float:
    return float(sum(count or 0 for count in series.counts)) or 1.0


def _known(series: Series) -> int:
    return sum(value is not None for value in series.values)


def _points(series: Series) -> tuple[list[int], list[float]]:
    known = [(number, value) for number, value in enumerate(series.values) if value is not None]
    return [number for number, _ in known], [value for _, value in known]


def _testable(series: Series) -> bool:
    """Whether these values could show a trend that matters in some order; others take no share of it.

    Both halves look at the values without their order, and their order is all that the test uses. Source for
    leaving out what cannot reach the level: Tarone, Biometrics 46 (1990).
    """
    values = sorted(_points(series)[1])
    typical = median(values)
    share = _change(values) / typical if typical > 0 else None
    least_p = _counts(series, in_order_of_rate=True).p if series.counts else mann_kendall(values).p
    return least_p <= _LEVEL and _matters(series, _change(values), share)


def _counts(series: Series, *, in_order_of_rate: bool = False) -> CountTrend:
    """The trend in the counts as they came, or as clear as these counts could show one."""
    at = _points(series)[0]
    counted_in = [(series.counts[n] or 0, series.exposures[n]) for n in at]
    if in_order_of_rate:
        counted_in.sort(key=lambda count: count[0] / count[1])
    return count_trend([count for count, _ in counted_in], [over for _, over in counted_in], at)


def _trend(series: Series) -> Trend:
    at, values = _points(series)
    slope, p = theil_sen(at, values), mann_kendall(values).p
    counts = _counts(series) if series.counts else None
    return Trend(series, slope.slope, slope.low, slope.high, p, 1.0, "none shown", None, None, "", counts)


def _judged(trend: Trend, adjusted: float, names: Sequence[str]) -> Trend:
    series = trend.series
    at, values = _points(series)
    change = _change(values)
    typical = median(values)
    share = change / typical if series.unit != "a match" and typical > 0 else None
    most_p = _LEVEL if trend.counts else _MOST_P
    agree = trend.counts is None or trend.counts.rises == (change > 0)
    found = adjusted <= _LEVEL and trend.judging_p <= most_p and agree and _matters(series, change, share)
    direction = ("rising" if change > 0 else "falling") if found else "none shown"
    step = names[at[pettitt(values).after - 1]] if found else None
    judged = replace(trend, adjusted_p=adjusted, direction=direction, share=share, step_after=step)
    hint = "" if found else _hint(judged, at, values, names)
    return replace(judged, text=_text(judged, values), hint=hint)


def _hint(trend: Trend, at: Sequence[int], values: Sequence[float], names: Sequence[str]) -> str:
    """A run of rises in a row up to the last match or the one before, where it could be seen in the chart."""
    series, (first, last) = trend.series, _longest_rise(values)
    rise = values[last] - values[first]
    typical = median(values)
    if last - first < _LEAST_RISES or last < len(values) - 2:
        return ""
    if not _matters(series, rise, rise / typical if typical > 0 else None):
        return ""
    told = [f"{_figure(values[n], series)} in {names[at[n]]}" for n in (first, *range(last, len(values)))]
    after = f", then {told[2]}" if len(told) > 2 else ""
    times = f"{last - first} times in a row, from {told[0]} to {told[1]}{after}"
    return f"{_subject_words(series)} rose {times}: not yet proof of a trend (p = {trend.judging_p:.2g})."


def _longest_rise(values: Sequence[float]) -> tuple[int, int]:
    """First and last place of the longest run in which each value is above the one before."""
    longest, start = (0, 0), 0
    for end in range(1, len(values)):
        start = start if values[end] > values[end - 1] else end
        if end - start > longest[1] - longest[0]:
            longest = start, end
    return longest


def _change(values: Sequence[float]) -> float:
    """From the first third of the matches to the last."""
    third = max(len(values) // 3, 1)
    return fmean(values[-third:]) - fmean(values[:third])


def _matters(series: Series, change: float, share: float | None) -> bool:
    if series.unit == "a match":
        return abs(change) >= _LEAST_MORE_FAULTS
    return share is not None and abs(share) >= _LEAST_SHARE.get(series.kind, 0.1)


def _text(trend: Trend, values: Sequence[float]) -> str:
    series = trend.series
    over = counted(len(values), "match", "matches")
    figures = f"from {_figure(values[0], series)} to {_figure(values[-1], series)} over {over}"
    if suspected := sum(series.suspected):
        figures += f", {suspected} in all only suspected"
    what = _subject_words(series)
    if not trend.found:
        return f"{what}: no trend shown ({figures}; p = {trend.judging_p:.2g})."
    bounds = (
        f", 95 % interval {trend.low:+.2g} to {trend.high:+.2g}"
        if trend.low is not None and trend.high is not None
        else ""
    )
    unit = "" if series.unit == "a match" else f" {series.unit}"
    words = {"rising": "rises", "falling": "falls"}[trend.direction]
    by = "" if trend.counts is None else " by the counts" + (" for the hits taken" if series.by_hits else "")
    return (
        f"{what} {words}: {figures}, {trend.slope_per_match:+.2g}{unit} a match{bounds} "
        f"(p = {trend.judging_p:.2g}{by}, {trend.adjusted_p:.2g} over all alike)."
    )


def _subject_words(series: Series) -> str:
    named = {
        "friction_trend": f"Running current of {series.subject}",
        "source_resistance": f"Source resistance of {series.subject}",
        "cycle_time": "Cycle time",
    }
    return named.get(series.kind, f"{series.kind.replace('_', ' ').capitalize()} of {series.subject}")


def _figure(value: float, series: Series) -> str:
    return f"{value:.3g}" if series.unit == "a match" else f"{value:.3g} {series.unit}"


def settled_part(values: Sequence[object], found: bool) -> int:
    """From which match on the present state holds: the later half (three at least) where there is a trend."""
    if not found:
        return 0
    return max(0, min(len(values) // 2, len(values) - 3))

"""Trends over the matches of an event: is it getting worse?

Each series (a fault's count, a motor's running current, a battery's resistance, the cycle time) gets its
Theil–Sen slope and a Mann–Kendall test; over all of them the false discovery rate is held (Benjamini and
Hochberg). What is too small to matter is not called a trend, however regular.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean, median

from telemetry.match_facts import MatchFacts, MotorFacts
from telemetry.rank_statistics import mann_kendall, pettitt, theil_sen
from telemetry.statistics import adjusted_p
from telemetry.wording import counted

__all__ = ["LEAST_MATCHES", "Series", "Trend", "find_trends", "series_of", "settled_part"]

LEAST_MATCHES = 4
"""Fewer matches say nothing of a trend."""

_LEVEL = 0.05
_MOST_P = 0.02
"""The most that p may be by itself, however few figures share the level (our choice)."""
_LEAST_FAULTS = 3
_LEAST_MORE_FAULTS = 1.0
_LEAST_SHARE = {"friction_trend": 0.10, "source_resistance": 0.15, "cycle_time": 0.20}
"""Change over the event, against the median, from which it matters (our choice)."""
_USUAL_MATCH_S = 150.0
_LEAST_DUTY_TIME_S = 2.0
_MOST_SPREAD = 0.25
"""A motor whose lower currents lie farther apart within a match has no floor of friction (our choice)."""


@dataclass(frozen=True)
class Series:
    """One figure by match; None where a match does not tell it. `unit` is spelled after the figure."""

    kind: str
    subject: str
    role: str
    unit: str
    values: tuple[float | None, ...]


@dataclass(frozen=True)
class Trend:
    """A series with its trend.

    Attributes:
        slope_per_match, low, high: Theil–Sen with its 95 % interval (None with fewer than five values).
        p: Mann–Kendall, both sides; adjusted_p: the same over all series of the event.
        direction: `rising`, `falling`, or `none shown`.
        share: change over the event as a share of the median; None for counts.
        step_after: the match after which it likeliest changed, where a trend was found.
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
    trends = [_trend(series, names) for series in series_of(facts, told) if _known(series) >= LEAST_MATCHES]
    testable = [number for number, trend in enumerate(trends) if _testable(trend.series)]
    adjusted = dict(zip(testable, adjusted_p([trends[n].p for n in testable]).tolist(), strict=True))
    judged = [_judged(trend, adjusted.get(number, 1.0), names) for number, trend in enumerate(trends)]
    return tuple(sorted(judged, key=lambda trend: (not trend.found, trend.adjusted_p, trend.p)))


def series_of(facts: Sequence[MatchFacts], batteries: Sequence[str | None]) -> list[Series]:
    """Every figure that is followed from match to match, in a fixed order."""
    cycles = tuple(one.summary.median_cycle_s for one in facts)
    found = [*_fault_series(facts), *_friction_series(facts), *_battery_series(facts, batteries)]
    return [*found, Series("cycle_time", "robot", "robot", "s", cycles)]


def _fault_series(facts: Sequence[MatchFacts]) -> Iterator[Series]:
    """Faults a usual match, of what was met at least three times; a match's length is allowed for."""
    roles = {(f.kind, f.subject): f.role for one in facts for f in one.faults}
    for (kind, subject), role in sorted(roles.items()):
        counts = [_count(one, kind, subject, role) for one in facts]
        if kind != "friction_trend" and sum(count or 0 for count in counts) >= _LEAST_FAULTS:
            usual_s = median([one.active_s for one in facts if one.active_s > 0] or [_USUAL_MATCH_S])
            values = tuple(_per_match(c, one, usual_s) for c, one in zip(counts, facts, strict=True))
            yield Series(kind, subject, role, "a match", values)


def _count(one: MatchFacts, kind: str, subject: str, role: str) -> int | None:
    """A harness has no check of its own: it is clear where its devices could be judged."""
    count = one.count(kind, subject)
    if count is None and role == "harness" and any(f.kind == kind for f in one.faults):
        return 0
    return count


def _per_match(count: int | None, one: MatchFacts, usual_s: float) -> float | None:
    if count is None or one.active_s < 0.2 * usual_s:
        return None
    return count * usual_s / one.active_s if abs(one.active_s / usual_s - 1) > 0.1 else float(count)


def _friction_series(facts: Sequence[MatchFacts]) -> Iterator[Series]:
    """Motors that have a floor of friction; a drive's current tells of its driver, and is left out."""
    for name in sorted({name for one in facts for name in one.motors}):
        motors = [one.motors.get(name) for one in facts]
        values = _running_index(motors) if _spread_share(motors) <= _MOST_SPREAD else None
        if values:
            yield Series("friction_trend", name, "motor", "A", values)


def _spread_share(motors: Sequence[MotorFacts | None]) -> float:
    """How much the running current varies within one match, as a share, in the median over all duties."""
    running = [r for motor in motors if motor for r in motor.running if r.time_s >= _LEAST_DUTY_TIME_S]
    return median([r.spread_a / r.current_a for r in running if r.current_a > 0] or [0.0])


def _running_index(motors: Sequence[MotorFacts | None]) -> tuple[float | None, ...] | None:
    """Running current of one motor by match at a like command, in amperes; None where there is none.

    Duties are compared each with itself: a match's index is the mean of its ratios to the duty's median over
    the matches, weighted by time, times the current at the duty that ran longest.
    """
    by_match = [
        {r.duty_tenths: (r.current_a, r.time_s) for r in motor.running if r.time_s >= _LEAST_DUTY_TIME_S}
        if motor
        else {}
        for motor in motors
    ]
    usual: dict[int, float] = {}
    time_s: dict[int, float] = {}
    for duty in sorted({duty for one in by_match for duty in one}):
        met = [one[duty] for one in by_match if duty in one]
        typical = median(current for current, _ in met)
        if len(met) >= max(3, len(motors) / 2) and typical > 0:
            usual[duty], time_s[duty] = typical, sum(lasted for _, lasted in met)
    if not usual:
        return None
    scale = usual[max(time_s, key=lambda duty: time_s[duty])]
    return tuple(_index(one, usual, scale) for one in by_match)


def _index(
    running: Mapping[int, tuple[float, float]], usual: Mapping[int, float], scale: float
) -> float | None:
    shared = [(running[d][0] / usual[d], running[d][1]) for d in usual if d in running]
    total_s = sum(lasted for _, lasted in shared)
    return scale * sum(ratio * lasted for ratio, lasted in shared) / total_s if total_s > 0 else None


def _battery_series(facts: Sequence[MatchFacts], batteries: Sequence[str | None]) -> Iterator[Series]:
    for battery in sorted({name or "" for name in batteries}):
        values = tuple(
            one.resistance_ohm * 1000 if one.resistance_ohm and (name or "") == battery else None
            for one, name in zip(facts, batteries, strict=True)
        )
        yield Series("source_resistance", battery or "supply", "supply", "mΩ", values)


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
    return mann_kendall(values).p <= _LEVEL and _matters(series, _change(values), share)


def _trend(series: Series, names: Sequence[str]) -> Trend:
    at, values = _points(series)
    slope = theil_sen(at, values)
    p = mann_kendall(values).p
    return Trend(series, slope.slope, slope.low, slope.high, p, 1.0, "none shown", None, None, "")


def _judged(trend: Trend, adjusted: float, names: Sequence[str]) -> Trend:
    at, values = _points(trend.series)
    change = _change(values)
    typical = median(values)
    share = change / typical if trend.series.unit != "a match" and typical > 0 else None
    found = adjusted <= _LEVEL and trend.p <= _MOST_P and _matters(trend.series, change, share)
    direction = ("rising" if change > 0 else "falling") if found else "none shown"
    step = names[at[pettitt(values).after - 1]] if found else None
    judged = replace(trend, adjusted_p=adjusted, direction=direction, share=share, step_after=step)
    return replace(judged, text=_text(judged, values))


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
    what = _subject_words(series)
    if not trend.found:
        return f"{what}: no trend shown ({figures}; p = {trend.p:.2g})."
    bounds = (
        f", 95 % interval {trend.low:+.2g} to {trend.high:+.2g}"
        if trend.low is not None and trend.high is not None
        else ""
    )
    unit = "" if series.unit == "a match" else f" {series.unit}"
    words = {"rising": "rises", "falling": "falls"}[trend.direction]
    return (
        f"{what} {words}: {figures}, {trend.slope_per_match:+.2g}{unit} a match{bounds} "
        f"(p = {trend.p:.2g}, {trend.adjusted_p:.2g} over all that was looked at)."
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

"""The page of an event: its matches, what gets worse, what comes back, what the next match may bring."""

from __future__ import annotations

from datetime import UTC, datetime

from reports.page import render
from reports.trend_figures import trend_figure, trend_title
from reports.words import counted, log_words, number
from telemetry.event import Event, Group, MatchRecord, MatchSummary, Trouble, light_words
from telemetry.finding import Severity
from telemetry.trends import LEAST_MATCHES, Trend

__all__ = ["event_page", "verdict_words"]

_LEAST_CHANCE = 0.10
_LEAST_HEAT = 0.05
_WARM = 0.20
"""A share of its heat limit at the start from which a motor is named by itself (our choice)."""
_ORDERS = {
    "match sheet": "In the order of the match sheet",
    "clock": "In the order of the logs' own clocks",
    "name": "In the order of their names: no clock and no match sheet tells another",
    "given": "In the order in which they were given",
}


def event_page(event: Event) -> str:
    """The whole HTML of an event's page; links lead to `<match name>/index.html` beside it."""
    figure = trend_figure(event.trends, [summary.name for summary in event.matches])
    return render(
        "event.html.j2",
        script="",
        title=f"All matches – {event.robot}" if event.robot else "All matches",
        event=event,
        sentence=_sentence(event),
        order=_ORDERS[event.ordered_by],
        rows=list(zip(event.matches, _records(event), strict=True)),
        has_sheet=any(record and record.row for record in _records(event)),
        start_words=start_words,
        verdict_words=verdict_words,
        found_words=_found_words,
        log_words=log_words,
        suspected=_suspected,
        once=[t for t in event.troubles if t.occurrences and not t.recurring and len(event.matches) > 1],
        whole_event=[trouble for trouble in event.troubles if not trouble.occurrences],
        dropouts=_likely_dropouts(event),
        warm=[f for f in event.forecasts if f.kind == "heat" and f.high >= _WARM],
        cold=_cold_words(event),
        heat=_heat_table(event),
        figure=figure,
        trend_title=trend_title,
        trend_cells=_trend_cells,
        least_matches=LEAST_MATCHES,
        groups=_group_tables(event),
        light=light_words(event.light) if event.light else None,
    )


def verdict_words(summary: MatchSummary) -> str:
    """What is said of a match in one phrase."""
    fix, watch = summary.parts.get(Severity.FIX, 0), summary.parts.get(Severity.WATCH, 0)
    return {
        "fix": f"{counted(fix, 'part')} to fix" + (f", {watch} to watch" if watch else ""),
        "watch": f"{counted(watch, 'part')} to watch",
        "clear": "nothing found",
        "not_judged": "nothing could be judged",
    }[summary.verdict]


def start_words(start_s: float | None) -> str:
    """A start as date and time (UTC), or as time of day; a dash where it is not known."""
    if start_s is None:
        return "–"
    if start_s < 2 * 86_400:
        hours, minutes = divmod(int(start_s) // 60, 60)
        return f"{hours:02d}:{minutes:02d}"
    try:
        return datetime.fromtimestamp(start_s, UTC).strftime("%Y-%m-%d %H:%M UTC")
    except (OverflowError, OSError, ValueError):
        return "–"


def _found_words(summary: MatchSummary) -> str:
    """The findings of a match by severity, those that there are: `3 fix, 1 watch`."""
    told = [f"{summary.counts[level]} {level}" for level in Severity if summary.counts.get(level)]
    return ", ".join(told) or "–"


def _suspected(event: Event, trouble: Trouble, match: str) -> int:
    """How often a trouble is only suspected in a match."""
    since = event.since_of(trouble)
    return dict(since.suspected_in).get(match, 0) if since else 0


def _cold_words(event: Event) -> str:
    """That the motors start nearly cold, where they do; empty where one is warm, or none is followed."""
    heat = [forecast for forecast in event.forecasts if forecast.kind == "heat"]
    warmest = max(heat, key=lambda forecast: forecast.high, default=None)
    if warmest is None or warmest.high >= _WARM:
        return ""
    share = f"{warmest.high:.0%}".replace("%", " %")
    return f"No motor starts the next match above {share} of its heat limit, after the shortest pause too."


def _records(event: Event) -> list[MatchRecord | None]:
    return [*event.records] if event.records else [None for _ in event.matches]


def _sentence(event: Event) -> str:
    matches = counted(len(event.matches), "match", "matches")
    if not event.matches:
        return "No match could be read"
    risen = {t.series.subject for t in event.worsening if t.series.kind == "source_resistance"}
    stepped = sum(step.battery not in risen for step in event.battery_steps)
    back, worse = len(event.recurring), len(event.worsening) + stepped
    gone = sum(since.gone for trouble in event.recurring if (since := event.since_of(trouble)))
    parts = [
        f"{counted(worse, 'figure')} getting worse" if worse else "",
        f"{counted(back, 'trouble')} found in more than one{f', {gone} gone since' if gone else ''}"
        if back
        else "no trouble came back",
    ]
    return "; ".join([matches, *filter(None, parts)])


def _likely_dropouts(event: Event) -> list[object]:
    """Dropouts to reckon with: those met before, or more than unlikely."""
    met = {trouble.subject for trouble in event.troubles if trouble.kind == "dropout"}
    return [
        forecast
        for forecast in event.forecasts
        if forecast.kind == "dropout"
        and (forecast.subject in met or (forecast.probability or 0) >= _LEAST_CHANCE)
    ]


def _heat_table(event: Event) -> tuple[list[str], list[tuple[str, str, list[str]]]]:
    """Motors that get warm at all, and for each match its pause and their heat at start and peak."""
    motors = sorted(
        {name for record in event.records for name, heat in record.heat.items() if heat.peak >= _LEAST_HEAT}
    )
    rows = []
    for summary, record in zip(event.matches, event.records, strict=False):
        cells = []
        for name in motors:
            heat = record.heat.get(name)
            start = "?" if heat is None or heat.start is None else f"{heat.start:.0%}".replace("%", " %")
            cells.append("–" if heat is None else f"{start} → {heat.peak:.0%}".replace("0%", "0 %"))
        pause = "not known" if record.pause_s is None else f"{record.pause_s / 60:.0f} min"
        rows.append((summary.name, pause, [cell.replace("%", " %").replace("  %", " %") for cell in cells]))
    return motors, rows


def _trend_cells(trend: Trend) -> list[str]:
    series = trend.series
    unit = "" if series.unit == "a match" else series.unit
    interval = (
        "too few matches"
        if trend.low is None or trend.high is None
        else f"{number(trend.low)} to {number(trend.high, unit)}"
    )
    verdict = {"rising": "gets worse", "falling": "gets better"}.get(trend.direction, "no trend shown")
    p_values = [number(p) if p is not None else "–" for p in (trend.p, trend.count_p, trend.adjusted_p)]
    return [verdict, number(trend.slope_per_match, unit), interval, *p_values]


def _group_tables(event: Event) -> list[tuple[str, list[tuple[Group, str]]]]:
    found = []
    for by in ("driver", "battery"):
        groups = [(group, _shift_words(group)) for group in event.groups if group.by == by]
        if groups:
            found.append((by, groups))
    return found


def _shift_words(group: Group) -> str:
    if group.shift_s is None or group.p is None:
        return "–"
    way = "longer" if group.shift_s > 0 else "shorter"
    bounds = (
        f", {number(group.low_s)} to {number(group.high_s, 's')}"
        if group.low_s is not None and group.high_s is not None
        else ""
    )
    told = "" if group.p <= 0.05 else "; not told apart from chance"
    return f"{number(abs(group.shift_s), 's')} {way} than the others{bounds} (p = {group.p:.2g}{told})"

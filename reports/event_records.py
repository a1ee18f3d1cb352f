"""An event as data: `event.json`, by the contract of schema 1."""

from __future__ import annotations

from typing import Any

from reports.json_values import SCHEMA, document
from telemetry.battery_steps import BatteryStep
from telemetry.clean_since import CleanSince
from telemetry.event import Event, Group, MatchRecord, MatchSummary, Trouble, light_words
from telemetry.finding import Severity
from telemetry.forecast import Forecast
from telemetry.trends import Trend

__all__ = ["event_json"]


def event_json(event: Event) -> dict[str, Any]:
    """The event: matches in order, trends, forecasts, and every trouble with its history."""
    return document(
        {
            "schema": SCHEMA,
            "robot": event.robot,
            "ordered_by": event.ordered_by,
            "matches": [
                {**_summary(summary), **extra}
                for summary, extra in zip(event.matches, _matches(event), strict=True)
            ],
            "trends": [_trend(trend) for trend in event.trends],
            "forecasts": [_chance(forecast) for forecast in event.forecasts if forecast.kind != "heat"],
            "starting_heat": [
                _starting_heat(forecast) for forecast in event.forecasts if forecast.kind == "heat"
            ],
            "next_supply": [_weak(step) for step in event.battery_steps],
            "findings": [_trouble(trouble, event.since_of(trouble)) for trouble in event.troubles],
            "groups": [_group(group) for group in event.groups],
            "indicator": _light(event),
            "unusable": [dict(vars(file)) for file in event.unusable],
            "sheet_notes": list(event.sheet_notes),
        }
    )


def _matches(event: Event) -> list[dict[str, Any]]:
    """For each match: its line of the sheet, start, pause, battery, and each motor's heat carried over."""
    if not event.records:
        return [{} for _ in event.matches]
    return [_added(record) for record in event.records]


def _trend(trend: Trend) -> dict[str, Any]:
    """A trend by contract, with the figures it rests on."""
    series = trend.series
    return {
        "kind": series.kind,
        "subject": series.subject,
        "role": series.role,
        "unit": series.unit,
        "slope_per_match": trend.slope_per_match,
        "low": trend.low,
        "high": trend.high,
        "p": trend.p,
        "count_p": trend.count_p,
        "counted_over": ("hits" if series.by_hits else "time") if trend.counts else None,
        "suspected": sum(series.suspected),
        "adjusted_p": trend.adjusted_p,
        "direction": trend.direction,
        "found": trend.found,
        "change_share": trend.share,
        "step_after": trend.step_after,
        "values": list(series.values),
        "text": trend.text,
        "hint": trend.hint,
    }


def _group(group: Group) -> dict[str, Any]:
    """The matches of one driver or battery against all others."""
    return {**vars(group), "matches": list(group.matches)}


def _light(event: Event) -> dict[str, Any] | None:
    """Hits while the light was lit against hits while it was dark; None where no light was followed."""
    if event.light is None:
        return None
    return {**vars(event.light.counts), **vars(event.light.rates), "text": light_words(event.light)}


def _added(record: MatchRecord) -> dict[str, Any]:
    row = record.row
    return {
        "sheet": None if row is None else dict(vars(row)),
        "start_clock_s": record.start_s,
        "pause_before_s": record.pause_s,
        "battery": record.battery,
        "heat": {name: dict(vars(carried)) for name, carried in record.heat.items()},
    }


def _chance(forecast: Forecast) -> dict[str, Any]:
    return {
        name: getattr(forecast, name) for name in ("kind", "subject", "probability", "low", "high", "text")
    }


def _starting_heat(forecast: Forecast) -> dict[str, Any]:
    return {name: getattr(forecast, name) for name in ("subject", "level", "low", "high", "pause_s", "text")}


def _weak(step: BatteryStep) -> dict[str, Any]:
    """A battery that stepped up, and what to reckon with in the next match."""
    kept = ("match", "resistance_ohm", "low_ohm", "high_ohm", "usual_ohm", "compared", "with_own", "lowest_v")
    return {
        "subject": step.battery,
        **{name: getattr(step, name) for name in kept},
        "text": step.text,
        "forecast": step.forecast,
    }


def _summary(summary: MatchSummary) -> dict[str, Any]:
    counts = {str(level): summary.counts.get(level, 0) for level in Severity}
    parts = {str(level): summary.parts.get(level, 0) for level in Severity}
    rest = {key: value for key, value in vars(summary).items() if key not in ("name", "counts", "parts")}
    return {"name": summary.name, "findings": counts, "parts": parts, **rest}


def _trouble(trouble: Trouble, since: CleanSince | None) -> dict[str, Any]:
    return {
        "kind": trouble.kind,
        "subject": trouble.subject,
        "role": trouble.role,
        "severity": str(trouble.severity),
        "recurring": trouble.recurring,
        "matches": list(trouble.matches),
        "text": trouble.text,
        "advice": trouble.advice,
        "history": [dict(vars(occurrence)) for occurrence in trouble.occurrences],
        "since": _since(since) if since else None,
    }


def _since(since: CleanSince) -> dict[str, Any]:
    """What the matches after the last with a trouble show."""
    return {
        "faults": since.faults,
        "suspected": dict(since.suspected_in),
        "last_match": since.last,
        "clean_matches": since.clean,
        "not_judged": since.not_judged,
        "clean_matches_needed": since.needed,
        "gone": since.gone,
        "text": since.text,
    }

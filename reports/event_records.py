"""What an event adds to its matches, as records for `event.json`."""

from __future__ import annotations

from typing import Any

from telemetry.event import Event, Group, MatchRecord, light_words
from telemetry.trends import Trend

__all__ = ["group_record", "light_record", "match_records", "trend_record"]


def match_records(event: Event) -> list[dict[str, Any]]:
    """For each match: its line of the sheet, start, pause, battery, and each motor's heat carried over."""
    if not event.records:
        return [{} for _ in event.matches]
    return [_match(record) for record in event.records]


def trend_record(trend: Trend) -> dict[str, Any]:
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
        "adjusted_p": trend.adjusted_p,
        "direction": trend.direction,
        "found": trend.found,
        "change_share": trend.share,
        "step_after": trend.step_after,
        "values": list(series.values),
        "text": trend.text,
    }


def group_record(group: Group) -> dict[str, Any]:
    """The matches of one driver or battery against all others."""
    return {**vars(group), "matches": list(group.matches)}


def light_record(event: Event) -> dict[str, Any] | None:
    """Hits while the light was lit against hits while it was dark; None where no light was followed."""
    if event.light is None:
        return None
    return {**vars(event.light.counts), **vars(event.light.rates), "text": light_words(event.light)}


def _match(record: MatchRecord) -> dict[str, Any]:
    row = record.row
    return {
        "sheet": None if row is None else dict(vars(row)),
        "start_clock_s": record.start_s,
        "pause_before_s": record.pause_s,
        "battery": record.battery,
        "heat": {name: dict(vars(carried)) for name, carried in record.heat.items()},
    }

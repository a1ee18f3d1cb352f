"""The results as data: `analysis.json`, `findings.csv` and `event.json`, by the contract of schema 1."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping
from typing import Any

from reports.event_records import group_record, light_record, match_records, trend_record
from reports.log_json import log_json
from reports.words import clock
from telemetry.analysis import Analysis
from telemetry.event import Event, MatchSummary, Trouble
from telemetry.finding import Finding, Severity
from telemetry.forecast import Forecast
from telemetry.records.motors import MotorUse
from telemetry.records.pieces import Cycle, Pieces
from telemetry.records.sensors import RangeUse, SensorState
from telemetry.records.supply import Supply

__all__ = ["SCHEMA", "analysis_json", "event_json", "findings_csv", "json_text"]

SCHEMA = 1

_TIME_PLACES = 4
_DIGITS = 6
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_CSV_COLUMNS = (
    "number", "kind", "subject", "role", "severity", "confidence", "match_time", "start_s", "end_s", "text",
    "advice", "minutes", "cautions", "evidence",
)  # fmt: skip


def analysis_json(analysis: Analysis) -> dict[str, Any]:
    """Everything that was found in one match, JSON-able: no NaN or infinity, times to 0.1 ms."""
    return _document(
        {
            "schema": SCHEMA,
            "log": log_json(analysis.log),
            "match": _match(analysis),
            "robot": analysis.robot.robot.name,
            "settings": dict(analysis.settings),
            "contacts": [_fields(contact) for contact in analysis.contacts],
            "findings": [_finding(finding) for finding in analysis.findings],
            "checks": [
                _check(check.kind, check.subject, check.verdict, check.reason) for check in analysis.checks
            ],
            "sensors": {name: _sensor(state) for name, state in analysis.sensors.items()},
            "travels": [
                {**_fields(travel), "travel_s": travel.end_s - travel.start_s} for travel in analysis.travels
            ],
            "ranges": {name: _range(use) for name, use in analysis.range_use.items()},
            "motors": {name: _motor(analysis, name, use) for name, use in analysis.motor_use.items()},
            "supply": _supply(analysis.supply),
            "pieces": _pieces(analysis.pieces),
            "cycles": [_cycle(cycle) for cycle in analysis.cycles],
            "driving": None if analysis.driving is None else _fields(analysis.driving),
            "pit_list": [_fields(action) for action in analysis.pit_list],
            "guesses": [_fields(guess) for guess in analysis.guesses],
            "notes": list(analysis.notes),
            "failures": list(analysis.failures),
        }
    )


def event_json(event: Event) -> dict[str, Any]:
    """The event: matches in order, trends, forecasts, and every trouble with its history."""
    return _document(
        {
            "schema": SCHEMA,
            "robot": event.robot,
            "ordered_by": event.ordered_by,
            "matches": [
                {**_summary(summary), **extra}
                for summary, extra in zip(event.matches, match_records(event), strict=True)
            ],
            "trends": [trend_record(trend) for trend in event.trends],
            "forecasts": [_chance(forecast) for forecast in event.forecasts if forecast.kind != "heat"],
            "starting_heat": [_heat(forecast) for forecast in event.forecasts if forecast.kind == "heat"],
            "findings": [_trouble(trouble) for trouble in event.troubles],
            "groups": [group_record(group) for group in event.groups],
            "indicator": light_record(event),
            "unusable": [_fields(file) for file in event.unusable],
            "sheet_notes": list(event.sheet_notes),
        }
    )


def _chance(forecast: Forecast) -> dict[str, Any]:
    return {
        name: getattr(forecast, name) for name in ("kind", "subject", "probability", "low", "high", "text")
    }


def _heat(forecast: Forecast) -> dict[str, Any]:
    return {name: getattr(forecast, name) for name in ("subject", "level", "low", "high", "pause_s", "text")}


def json_text(document: Mapping[str, Any]) -> str:
    """A document as it stands in a file: indented, in its own order, with a line end."""
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def findings_csv(analysis: Analysis) -> str:
    """The findings as a spreadsheet (RFC 4180), no text of which a spreadsheet takes for a formula."""
    written = io.StringIO()
    writer = csv.writer(written)
    writer.writerow(_CSV_COLUMNS)
    for number, finding in enumerate(analysis.findings, 1):
        writer.writerow([_formula_safe(cell) for cell in _row(analysis, number, finding)])
    return written.getvalue()


def _row(analysis: Analysis, number: int, finding: Finding) -> list[object]:
    evidence = json.dumps(_tidy(finding.evidence), ensure_ascii=False, allow_nan=False)
    return [
        number, finding.kind, finding.subject, finding.role, str(finding.severity),
        _rounded(finding.confidence, _DIGITS),
        clock(finding.start_s, analysis.match.start_s), round(finding.start_s, _TIME_PLACES),
        round(finding.end_s, _TIME_PLACES), finding.text, finding.advice, _rounded(finding.minutes, _DIGITS),
        " ".join(finding.cautions), evidence,
    ]  # fmt: skip


def _formula_safe(cell: object) -> object:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA_STARTS) else cell


def _fields(record: object) -> dict[str, Any]:
    return dict(vars(record))


def _match(analysis: Analysis) -> dict[str, Any]:
    match = analysis.match
    return {
        "name": match.name,
        "start_s": match.start_s,
        "end_s": match.end_s,
        "window_s": list(match.window_s),
        "source": match.source,
        "phases": [_fields(phase) for phase in match.phases],
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {**_fields(finding), "severity": str(finding.severity), "evidence": dict(finding.evidence)}


def _check(kind: str, subject: str, verdict: str, reason: str | None) -> dict[str, Any]:
    found = {"kind": kind, "subject": subject, "verdict": str(verdict)}
    return found if reason is None else {**found, "reason": reason}


def _sensor(state: SensorState) -> dict[str, Any]:
    association = state.contact_association
    return {
        "role": state.role,
        "transitions": state.transitions,
        "state": state.state,
        "dead_since_s": state.dead_since_s,
        "dead_interval_s": state.dead_interval_s,
        "contact_association": None if association is None else _fields(association),
        "contact_p_adjusted": state.contact_p_adjusted,
        "contact_words": state.contact_words,
    }


def _range(use: RangeUse) -> dict[str, Any]:
    figures = {key: value for key, value in _fields(use).items() if key != "jumps_s"}
    return {**figures, "jumps": len(use.jumps_s)}


def _motor(analysis: Analysis, name: str, use: MotorUse) -> dict[str, Any]:
    trace = analysis.motors.get(name)
    return {**_fields(use), "speed_source": trace.speed_source if trace else None}


def _supply(supply: Supply | None) -> dict[str, Any] | None:
    if supply is None:
        return None
    return {
        "open_circuit_v": supply.open_circuit_v,
        "resistance_ohm": supply.resistance_ohm,
        "lowest_v": supply.lowest_v,
        "dips": [_fields(dip) for dip in supply.dips],
        "energy_wh": supply.energy_wh,
    }


def _pieces(pieces: Pieces | None) -> dict[str, Any] | None:
    if pieces is None:
        return None
    return {
        "collected": _fields(pieces.collected),
        "released": _fields(pieces.released),
        "timeline": [_fields(step) for step in pieces.timeline],
        "entries_s": pieces.entries_s,
        "releases_s": pieces.releases_s,
        "entry_chances": pieces.entry_chances,
        "release_chances": pieces.release_chances,
        "beam_health": {
            beam: [_fields(stretch) for stretch in stretches]
            for beam, stretches in pieces.beam_health.items()
        },
    }


def _cycle(cycle: Cycle) -> dict[str, Any]:
    return {**_fields(cycle), "stages": dict(cycle.stages)}


def _summary(summary: MatchSummary) -> dict[str, Any]:
    counts = {str(level): summary.counts.get(level, 0) for level in Severity}
    parts = {str(level): summary.parts.get(level, 0) for level in Severity}
    rest = {key: value for key, value in _fields(summary).items() if key not in ("name", "counts", "parts")}
    return {"name": summary.name, "findings": counts, "parts": parts, **rest}


def _trouble(trouble: Trouble) -> dict[str, Any]:
    return {
        "kind": trouble.kind,
        "subject": trouble.subject,
        "role": trouble.role,
        "severity": str(trouble.severity),
        "recurring": trouble.recurring,
        "matches": list(trouble.matches),
        "text": trouble.text,
        "advice": trouble.advice,
        "history": [_fields(occurrence) for occurrence in trouble.occurrences],
    }


def _document(values: Mapping[str, object]) -> dict[str, Any]:
    return {key: _tidy(value, key) for key, value in values.items()}


def _tidy(value: object, key: str = "") -> Any:
    """JSON values: numbers rounded (times to 4 places, others to 6 digits), NaN and infinity as null."""
    if isinstance(value, Mapping):
        return {str(name): _tidy(item, str(name)) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_tidy(item, key) for item in value]
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return _tidy_float(float(value), key)
    if hasattr(value, "tolist"):
        return _tidy(value.tolist(), key)
    return str(value)


def _tidy_float(value: float, key: str) -> float | None:
    if not math.isfinite(value):
        return None
    return round(value, _TIME_PLACES) if key.endswith("_s") else _rounded(value, _DIGITS)


def _rounded(value: float, digits: int) -> float:
    return float(f"{value:.{digits}g}")

"""The results of one match as data: `analysis.json` and `findings.csv`, by the contract of schema 1."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

from reports.json_values import SCHEMA, TIME_PLACES, document, rounded, tidy
from reports.log_json import log_json
from reports.words import clock
from telemetry.analysis import Analysis
from telemetry.finding import Finding
from telemetry.records.motors import MotorUse
from telemetry.records.pieces import Cycle, Pieces
from telemetry.records.sensors import RangeUse, SensorState
from telemetry.records.supply import Supply

__all__ = ["analysis_json", "findings_csv"]

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_CSV_COLUMNS = (
    "number", "kind", "subject", "role", "severity", "confidence", "match_time", "start_s", "end_s", "text",
    "advice", "minutes", "cautions", "evidence",
)  # fmt: skip


def analysis_json(analysis: Analysis) -> dict[str, Any]:
    """Everything that was found in one match, JSON-able: no NaN or infinity, times to 0.1 ms."""
    return document(
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
            "start_heat": None if analysis.start_heat is None else _fields(analysis.start_heat),
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


def findings_csv(analysis: Analysis) -> str:
    """The findings as a spreadsheet (RFC 4180), no text of which a spreadsheet takes for a formula."""
    written = io.StringIO()
    writer = csv.writer(written)
    writer.writerow(_CSV_COLUMNS)
    for number, finding in enumerate(analysis.findings, 1):
        writer.writerow([_formula_safe(cell) for cell in _row(analysis, number, finding)])
    return written.getvalue()


def _row(analysis: Analysis, number: int, finding: Finding) -> list[object]:
    evidence = json.dumps(tidy(finding.evidence), ensure_ascii=False, allow_nan=False)
    return [
        number, finding.kind, finding.subject, finding.role, str(finding.severity),
        rounded(finding.confidence),
        clock(finding.start_s, analysis.match.start_s), round(finding.start_s, TIME_PLACES),
        round(finding.end_s, TIME_PLACES), finding.text, finding.advice, rounded(finding.minutes),
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
    figures = {key: value for key, value in _fields(use).items() if key not in ("jumps_s", "crossings_s")}
    return {**figures, "jumps": len(use.jumps_s)}


def _motor(analysis: Analysis, name: str, use: MotorUse) -> dict[str, Any]:
    trace = analysis.motors.get(name)
    sources = ("speed_source", "heat_source", "voltage_source")
    return {**_fields(use), **{source: getattr(trace, source, None) for source in sources}}


def _supply(supply: Supply | None) -> dict[str, Any] | None:
    if supply is None:
        return None
    return {
        "open_circuit_v": supply.open_circuit_v,
        "resistance_ohm": supply.resistance_ohm,
        "lowest_v": supply.lowest_v,
        "dips": [_fields(dip) for dip in supply.dips],
        "energy_wh": supply.energy_wh,
        "charge_ah": supply.charge_ah,
        "energy_by_phase_wh": supply.energy_by_phase_wh,
        "energy_by_mechanism_wh": supply.energy_by_mechanism_wh,
        "stretches": [_fields(stretch) for stretch in supply.source],
        "windows": [_fields(window) for window in supply.windows],
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

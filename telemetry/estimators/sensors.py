"""What became of each sensor in a match, and whether its faults go with hits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from telemetry.analysis import Analysis
from telemetry.estimators.contact_association import associate_with_contacts
from telemetry.estimators.silences import silent_between
from telemetry.finding import Finding
from telemetry.records.sensors import SensorState, Switching

__all__ = ["sum_up_sensors"]

_FAULTS = ("dropout", "chatter", "limit_bounce", "limit_stray", "limit_conflict", "flatline", "noisy_range")
_STATES = ("stuck_clear", "stuck_broken", "missing")


def sum_up_sensors(known: Analysis) -> Mapping[str, SensorState]:
    """The state of every beam, limit and distance sensor, and how its faults go with hits.

    The p-values are adjusted over the sensors that had a fault (Benjamini and Hochberg), so that one of many
    does not look special by chance.
    """
    states = {name: _beam_state(known, name) for name in known.robot.beams}
    states |= {name: _limit_state(known, name) for name in known.robot.limits}
    for name in known.robot.ranges:
        states.setdefault(name, _range_state(known, name))
    faults = {
        name: [f for f in known.findings if f.kind in _FAULTS and _concerns(f, name)] for name in states
    }
    for name, found in associate_with_contacts(known, faults).items():
        states[name] = replace(
            states[name],
            contact_association=found.comparison,
            contact_p_adjusted=found.p_adjusted,
            contact_words=found.words,
        )
    return MappingProxyType(states)


def _beam_state(known: Analysis, name: str) -> SensorState:
    beam = known.beams.get(name)
    if beam is None:
        return SensorState("beam", 0, "missing")
    found = [f for f in known.findings if f.kind == "dropout" and _concerns(f, name)]
    if not found:
        return SensorState("beam", beam.transitions, "alive")
    last = found[-1]
    if not last.evidence["open_at_end"]:
        return SensorState("beam", beam.transitions, "intermittent")
    return SensorState(
        role="beam",
        transitions=beam.transitions,
        state=_state_at_end(last, name, beam),
        dead_since_s=last.start_s,
        dead_interval_s=silent_between(known, beam, last.start_s, _first_contradiction_s(last)),
    )


def _state_at_end(last: Finding, name: str, beam: Switching) -> str:
    """What a beam was when it did not come back; one that its harness silenced, by what it read then."""
    state, how = str(last.evidence["state"]), last.evidence.get("how")
    if state in _STATES and not isinstance(how, dict):
        return state
    if isinstance(how, dict) and how.get(name) != "silent":
        return "missing"
    return "stuck_broken" if bool(beam.on[-1]) else "stuck_clear"


def _concerns(finding: Finding, name: str) -> bool:
    """Whether a finding is of this sensor, or of a harness that lost it."""
    lost = finding.evidence.get("lost", ()) if finding.role == "harness" else ()
    return finding.subject == name or (isinstance(lost, list) and name in lost)


def _limit_state(known: Analysis, name: str) -> SensorState:
    limit = known.limits.get(name)
    if limit is None:
        return SensorState("limit", 0, "missing")
    return SensorState("limit", limit.transitions, _lapsed(known, known.robot.limits[name].signal))


def _range_state(known: Analysis, name: str) -> SensorState:
    """Its transitions are the times that it came nearer than its threshold and went farther again."""
    use, signal = known.range_use.get(name), known.robot.ranges[name].signal
    if signal not in known.part.channels:
        return SensorState("range", 0, "missing")
    return SensorState("range", 2 * use.crossings if use else 0, _lapsed(known, signal))


def _lapsed(known: Analysis, channel: str) -> str:
    lapses = known.lapses.get(channel, ())
    if not lapses:
        return "alive"
    return "missing" if lapses[-1].end_s >= known.match.end_s else "intermittent"


def _first_contradiction_s(dropout: Finding) -> float | None:
    first_s = dropout.evidence["first_contradiction_s"]
    return first_s if isinstance(first_s, float) else None

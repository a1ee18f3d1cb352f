"""What became of each sensor in a match, and whether its faults go with hits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from telemetry.analysis import Analysis, Contact
from telemetry.estimators.contacts import AFTER_CONTACT_S
from telemetry.finding import Finding
from telemetry.match import Match
from telemetry.records.sensors import SensorState, Switching
from telemetry.statistics import RateComparison, adjusted_p, compare_rates
from telemetry.wording import counted

__all__ = ["sum_up_sensors"]

_FAULTS = ("dropout", "chatter", "limit_bounce", "limit_stray", "limit_conflict", "flatline", "noisy_range")
_STATES = ("stuck_clear", "stuck_broken", "missing")
_UNLIKELY = 0.05


def sum_up_sensors(known: Analysis) -> Mapping[str, SensorState]:
    """The state of every beam, limit and distance sensor, and how its faults go with hits.

    The p-values are adjusted over the sensors that had a fault (Benjamini and Hochberg), so that one of many
    does not look special by chance.
    """
    states = {name: _beam_state(known, name) for name in known.robot.beams}
    states |= {name: _limit_state(known, name) for name in known.robot.limits}
    for name in known.robot.ranges:
        states.setdefault(name, _range_state(known, name))
    followed = {name: found for name in states if (found := _followed(known, name)) is not None}
    adjusted = adjusted_p([found.comparison.p for found in followed.values()])
    for (name, found), p in zip(followed.items(), adjusted.tolist(), strict=True):
        states[name] = replace(
            states[name],
            contact_association=found.comparison,
            contact_p_adjusted=p,
            contact_words=_words(found, p, len(followed)),
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
        dead_interval_s=_death_between(known, beam, last),
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


def _death_between(known: Analysis, beam: Switching, dropout: Finding) -> tuple[float, float]:
    """From the last honest edge to the first contradiction, or to the onset where nothing contradicts."""
    edges_s = beam.t_s[beam.t_s < dropout.start_s]
    last_edge_s = float(edges_s[-1]) if len(edges_s) else float(known.part.t_s[0])
    first_s = dropout.evidence["first_contradiction_s"]
    return last_edge_s, max(first_s, dropout.start_s) if isinstance(first_s, float) else dropout.start_s


@dataclass(frozen=True)
class _Followed:
    """How many of a sensor's faults followed a hit, how many would by chance, and the exact comparison."""

    faults: int
    followed: int
    expected: float
    comparison: RateComparison


def _followed(known: Analysis, name: str) -> _Followed | None:
    """Faults that begin just after contacts against those that do not; None without either."""
    onsets_s = [f.start_s for f in known.findings if f.kind in _FAULTS and _concerns(f, name)]
    if not onsets_s or not known.contacts or known.match.enabled_s == 0:
        return None
    after_s = _time_after_contacts(known.contacts, known.match)
    rest_s = known.match.enabled_s - after_s
    if after_s <= 0 or rest_s <= 0:
        return None
    hits_s = np.array([contact.t_s for contact in known.contacts])
    number = np.searchsorted(hits_s, onsets_s, side="right") - 1
    since_s = np.array(onsets_s) - hits_s[np.maximum(number, 0)]
    followed = int(((number >= 0) & (since_s <= AFTER_CONTACT_S)).sum())
    comparison = compare_rates(followed, after_s, len(onsets_s) - followed, rest_s)
    expected = len(onsets_s) * after_s / known.match.enabled_s
    return _Followed(len(onsets_s), followed, expected, comparison)


def _words(found: _Followed, p: float, sensors: int) -> str:
    """The comparison in counts, and what it does and does not say."""
    which = f"{found.followed} of its {counted(found.faults, 'fault')}"
    if found.faults == 1:
        which = "Its one fault" if found.followed else "Its one fault did not begin"
    elif found.followed in (0, found.faults):
        which = f"{'None' if found.followed == 0 else 'All'} of its {found.faults} faults"
    began = "" if which.endswith("begin") else " began"
    by_chance = f"by chance alone about {found.expected:.1g} would"
    said = f"{which}{began} within half a second after a hit; {by_chance}. "
    if found.followed <= found.expected:
        return f"{said}Hits do not seem to set it off."
    among = f", with {counted(sensors, 'sensor')} looked at" if sensors > 1 else ""
    if p < _UNLIKELY:
        return f"{said}That is hardly chance (p = {p:.1g}{among}), but no proof that hits cause it."
    return f"{said}So few faults may still be chance (p = {p:.1g}{among})."


def _time_after_contacts(contacts: Sequence[Contact], match: Match) -> float:
    """Seconds of the match within AFTER_CONTACT_S after a contact, overlaps counted once."""
    starts_s = np.array([contact.t_s for contact in contacts if match.start_s <= contact.t_s < match.end_s])
    until_s = np.append(starts_s[1:], match.end_s)
    return float(np.minimum(AFTER_CONTACT_S, until_s - starts_s).sum())

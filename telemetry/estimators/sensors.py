"""What became of each beam and limit in a match, out of its switching, its health and its bursts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from telemetry.analysis import Analysis, Contact, SensorState, Switching
from telemetry.estimators.contacts import AFTER_CONTACT_S
from telemetry.finding import Finding
from telemetry.match import Match
from telemetry.statistics import RateComparison, compare_rates

__all__ = ["sum_up_sensors"]

_FAULTS = ("dropout", "chatter", "limit_bounce", "flatline")


def sum_up_sensors(known: Analysis) -> Mapping[str, SensorState]:
    """The state of every beam and limit that the log holds."""
    states = {name: _beam_state(known, name, beam) for name, beam in known.beams.items()}
    states |= {
        name: SensorState("limit", limit.transitions, "alive", contact_association=_association(known, name))
        for name, limit in known.limits.items()
    }
    return MappingProxyType(states)


def _beam_state(known: Analysis, name: str, beam: Switching) -> SensorState:
    found = [finding for finding in known.findings if finding.kind == "dropout" and finding.subject == name]
    association = _association(known, name)
    if not found:
        return SensorState("beam", beam.transitions, "alive", contact_association=association)
    last = found[-1]
    if not last.evidence["open_at_end"]:
        return SensorState("beam", beam.transitions, "intermittent", contact_association=association)
    return SensorState(
        role="beam",
        transitions=beam.transitions,
        state=str(last.evidence["state"]),
        dead_since_s=last.start_s,
        dead_interval_s=_death_between(known, beam, last),
        contact_association=association,
    )


def _death_between(known: Analysis, beam: Switching, dropout: Finding) -> tuple[float, float]:
    """From the last honest edge to the first contradiction, or to the onset where nothing contradicts."""
    edges_s = beam.t_s[beam.t_s < dropout.start_s]
    last_edge_s = float(edges_s[-1]) if len(edges_s) else float(known.part.t_s[0])
    first_s = dropout.evidence["first_contradiction_s"]
    return last_edge_s, max(first_s, dropout.start_s) if isinstance(first_s, float) else dropout.start_s


def _association(known: Analysis, name: str) -> RateComparison | None:
    """Faults that begin just after contacts against those that do not; None without either."""
    onsets_s = [f.start_s for f in known.findings if f.subject == name and f.kind in _FAULTS]
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
    return compare_rates(followed, after_s, len(onsets_s) - followed, rest_s)


def _time_after_contacts(contacts: Sequence[Contact], match: Match) -> float:
    """Seconds of the match within AFTER_CONTACT_S after a contact, overlaps counted once."""
    starts_s = np.array([contact.t_s for contact in contacts if match.start_s <= contact.t_s < match.end_s])
    until_s = np.append(starts_s[1:], match.end_s)
    return float(np.minimum(AFTER_CONTACT_S, until_s - starts_s).sum())

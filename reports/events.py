"""What happened in a match, instant by instant, in words: what one steps through."""

from __future__ import annotations

from collections.abc import Iterator

from reports.words import heading, number
from telemetry.analysis import Analysis, Contact
from telemetry.dataclass import dataclass

__all__ = ["Event", "events_of", "hit_words"]


@dataclass(frozen=True)
class Event:
    """One instant on the log's clock, with what happened in a few words (hostile until escaped)."""

    t_s: float
    words: str


def events_of(analysis: Analysis) -> tuple[Event, ...]:
    """Phases, hits, pieces in and out, dips, gaps and findings, in the order of time."""
    return tuple(sorted(_events(analysis), key=lambda event: event.t_s))


def _events(analysis: Analysis) -> Iterator[Event]:
    for phase in analysis.match.phases:
        yield Event(phase.start_s, f"{phase.phase} begins")
    for contact in analysis.contacts:
        yield Event(contact.t_s, hit_words(contact))
    if analysis.pieces is not None:
        piece = analysis.robot.robot.piece
        yield from (Event(t_s, f"{piece} in") for t_s in analysis.pieces.entries_s)
        yield from (Event(t_s, f"{piece} released") for t_s in analysis.pieces.releases_s)
    if analysis.supply is not None:
        for dip in analysis.supply.dips:
            yield Event(dip.start_s, f"voltage dip to {number(dip.residual_v, 'V', 2)}")
    for start_s, _ in analysis.gaps_s.tolist():
        yield Event(start_s, "gap in the log begins")
    for place, finding in enumerate(analysis.findings, 1):
        name = heading(finding.kind, finding.subject, finding.role)
        yield Event(finding.start_s, f"finding {place} begins: {name}")
        if finding.end_s > finding.start_s:
            yield Event(finding.end_s, f"finding {place} ends: {name}")


def hit_words(contact: Contact) -> str:
    """`hit of 4.5 g`, or `hit` where nothing measured it in g."""
    return "hit" if contact.peak_g is None else f"hit of {number(contact.peak_g, 'g', 2)}"

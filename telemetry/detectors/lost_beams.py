"""Beams whose values go missing from the log: a dropout that needs no story of the pieces."""

from __future__ import annotations

from telemetry.analysis import Analysis
from telemetry.estimators.contacts import contact_before
from telemetry.estimators.harnesses import explained_by_harness
from telemetry.finding import Finding, Severity
from telemetry.records.sensors import Lapse
from telemetry.wording import HANDS_IN, match_clock, when

__all__ = ["is_accounted_for", "missing_beam_findings"]


def missing_beam_findings(known: Analysis, beam: str) -> list[Finding]:
    """One finding for each stretch in which a beam's values were missing, unless its harness explains it."""
    return [
        _finding(known, beam, lapse)
        for lapse in _lapses(known, beam)
        if not explained_by_harness(known, beam, lapse.start_s, lapse.end_s)
    ]


def is_accounted_for(known: Analysis, beam: str, start_s: float, end_s: float) -> bool:
    """Whether a beam's bad stretch is told otherwise: lost with its harness, or for want of values."""
    missing = any(lapse.start_s < end_s and start_s < lapse.end_s for lapse in _lapses(known, beam))
    return missing or explained_by_harness(known, beam, start_s, end_s)


def _lapses(known: Analysis, beam: str) -> tuple[Lapse, ...]:
    return known.lapses.get(known.robot.beams[beam].signal, ())


def _finding(known: Analysis, beam: str, lapse: Lapse) -> Finding:
    contact = contact_before(known.contacts, lapse.start_s)
    open_at_end = lapse.end_s >= known.match.end_s
    span = when(known.match, lapse.start_s, lapse.end_s)
    if open_at_end:
        span = f"{match_clock(known.match, lapse.start_s)} to the end"
    hit = f"; it began {lapse.start_s - contact.t_s:.2f} s after a hit" if contact else ""
    return Finding(
        kind="dropout",
        subject=beam,
        role="beam",
        start_s=lapse.start_s,
        end_s=lapse.end_s,
        severity=Severity.FIX,
        confidence=0.97,
        text=f"Beam {beam} was missing from the log from {span} though the log went on{hit}.",
        advice=(
            f"Look at the input module and the lead of beam {beam}: reseat, then tug-test. Check that the "
            "code still logs it."
        ),
        evidence={
            "state": "missing",
            "contradictions": 0,
            "first_contradiction_s": None,
            "flickered": False,
            "came_back": not open_at_end,
            "contact_t_s": contact.t_s if contact else None,
            "contact_peak_g": contact.peak_g if contact else None,
            "open_at_end": open_at_end,
        },
        minutes=4.0,
        cautions=(HANDS_IN,),
    )

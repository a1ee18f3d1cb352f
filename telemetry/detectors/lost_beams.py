"""Beams whose values go missing from the log: a dropout that needs no story of the pieces."""

from __future__ import annotations

from telemetry.analysis import Analysis
from telemetry.estimators.contacts import contact_before
from telemetry.estimators.harnesses import explained_by_harness
from telemetry.estimators.piece_evidence import may_carry_pieces
from telemetry.finding import Finding, Severity
from telemetry.records.sensors import Lapse
from telemetry.wording import HANDS_IN, match_clock, when

__all__ = ["is_accounted_for", "missing_beam_findings"]

_UNHEARD = ("missing", "frozen")


def missing_beam_findings(known: Analysis, beam: str) -> list[Finding]:
    """One finding for each stretch in which a beam's values were missing, unless its harness explains it."""
    return [
        _finding(known, beam, lapse)
        for lapse in _lapses(known, beam)
        if not explained_by_harness(known, beam, lapse.start_s, lapse.end_s)
    ]


def is_accounted_for(known: Analysis, beam: str, start_s: float, end_s: float) -> bool:
    """Whether a beam's bad stretch is told otherwise: lost with its harness, or for want of values.

    Its own, or for most of it those of what moves the pieces: then the story goes without belt or launcher.
    """
    missing = any(lapse.start_s < end_s and start_s < lapse.end_s for lapse in _lapses(known, beam))
    unheard_s = _movers_unheard_s(known, start_s, end_s)
    return missing or unheard_s > (end_s - start_s) / 2 or explained_by_harness(known, beam, start_s, end_s)


def _movers_unheard_s(known: Analysis, start_s: float, end_s: float) -> float:
    """For how long of a stretch a harness had lost the values of a motor that moves pieces."""
    movers = set(may_carry_pieces(known.robot, known.motors))
    movers |= {known.robot.launcher.motor} if known.robot.launcher else set()
    return sum(
        max(0.0, min(end_s, one.end_s) - max(start_s, one.start_s))
        for one in known.harness_breaks
        if any(how in _UNHEARD for device, how in one.lost.items() if device in movers)
    )


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

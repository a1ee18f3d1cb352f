"""Beams that stop telling the truth: unplugged, dead or blocked, by the whole story of the pieces."""

from __future__ import annotations

from telemetry.analysis import Analysis, BeamHealth, Contact
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.contacts import contact_before
from telemetry.finding import Finding, Severity
from telemetry.wording import HANDS_IN, counted, match_clock, when

__all__ = ["DROPOUT"]

_SURE = 0.8
_SIDE = {
    "stuck_clear": "the receiver and its signal lead",
    "stuck_broken": "the emitter, its supply, and a dirty, blocked or shifted lens",
}
_READ = {"stuck_clear": "clear", "stuck_broken": "broken"}


def _judge(known: Analysis, subject: str) -> Judgement:
    if subject not in known.beams:
        return NotEvaluated("its signal is not in the log")
    if known.pieces is None:
        return NotEvaluated("the story of the pieces could not be told, so that nothing gainsays the beam")
    if known.guesses:
        return NotEvaluated("no robot file: its unplugged state is unknown")
    stretches = known.pieces.beam_health.get(subject, ())
    return [_finding(known, subject, stretch) for stretch in stretches if stretch.contradictions_s]


def _finding(known: Analysis, subject: str, stretch: BeamHealth) -> Finding:
    contact = contact_before(known.contacts, stretch.start_s)
    open_at_end = stretch.end_s >= known.match.end_s
    return Finding(
        kind="dropout",
        subject=subject,
        role="beam",
        start_s=stretch.start_s,
        end_s=stretch.end_s,
        severity=Severity.FIX if stretch.probability >= _SURE else Severity.WATCH,
        confidence=min(stretch.probability, 0.99),
        text=_text(known, subject, stretch, contact, open_at_end),
        advice=(
            f"Look at {_SIDE[stretch.state]} of beam {subject}{_harness(known, subject)}: "
            "reseat, then tug-test."
        ),
        evidence={
            "state": stretch.state,
            "contradictions": len(stretch.contradictions_s),
            "first_contradiction_s": stretch.contradictions_s[0],
            "came_back": not open_at_end,
            "contact_t_s": contact.t_s if contact else None,
            "contact_peak_g": contact.peak_g if contact else None,
            "open_at_end": open_at_end,
        },
        minutes=3.0,
        cautions=(HANDS_IN,),
    )


def _text(
    known: Analysis, subject: str, stretch: BeamHealth, contact: Contact | None, open_at_end: bool
) -> str:
    times = counted(len(stretch.contradictions_s), "time")
    said = "pieces passed it" if stretch.state == "stuck_clear" else "nothing stood there"
    span = (
        f"from {match_clock(known.match, stretch.start_s)} to the end"
        if open_at_end
        else f"from {when(known.match, stretch.start_s, stretch.end_s)}"
    )
    after = _after_hit(stretch, contact)
    return f"Beam {subject} read {_READ[stretch.state]} {span} while {said} ({times}){after}."


def _after_hit(stretch: BeamHealth, contact: Contact | None) -> str:
    if contact is None:
        return ""
    force = f" of {contact.peak_g:.1f} g" if contact.peak_g is not None else ""
    return f"; it began {stretch.start_s - contact.t_s:.2f} s after a hit{force}"


def _harness(known: Analysis, subject: str) -> str:
    harness = known.robot.beams[subject].harness
    return f" ({harness})" if harness else ""


DROPOUT = Detector("dropout", "Sensor dropout", lambda robot: tuple(robot.beams), _judge)

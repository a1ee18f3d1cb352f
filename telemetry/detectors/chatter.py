"""Beams and limits that switch more often than a moving piece or a hand could make them."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.analysis import Analysis, Contact
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.bursts import shows_a_pass
from telemetry.estimators.companions import motor_beside
from telemetry.estimators.contacts import contact_before
from telemetry.finding import Finding, Severity
from telemetry.records.sensors import Burst
from telemetry.wording import HANDS_IN, HELD_ARM, counted, match_clock

__all__ = ["CHATTER", "LIMIT_BOUNCE"]

_FIX_BURSTS, _FIX_EDGES = 3, 24
_FLICKER_EDGES, _BESIDE_S = 12, 1.0


def _judge_beam(known: Analysis, subject: str) -> Judgement:
    found = _judge(known, subject, "chatter", "beam")
    if found == [] and not shows_a_pass(known.beams, subject):
        period_ms = known.beams[subject].period_s * 1000
        return NotEvaluated(f"at one reading in {period_ms:.0f} ms chatter and passing pieces look alike")
    return found


def _judge_limit(known: Analysis, subject: str) -> Judgement:
    return _judge(known, subject, "limit_bounce", "limit")


def _judge(known: Analysis, subject: str, kind: str, role: str) -> Judgement:
    if subject not in known.bursts:
        return NotEvaluated("its signal is not in the log")
    bursts = [burst for burst in known.bursts[subject] if not _is_a_dropouts_flicker(known, subject, burst)]
    edges = sum(burst.edges for burst in bursts)
    grave = len(bursts) >= _FIX_BURSTS or edges >= _FIX_EDGES
    severity = Severity.FIX if grave else Severity.WATCH
    beside = motor_beside(known, bursts)
    return [_finding(known, subject, burst, kind, role, severity, bursts, beside) for burst in bursts]


def _is_a_dropouts_flicker(known: Analysis, subject: str, burst: Burst) -> bool:
    """A connector flickers as it makes and breaks: a short burst at a dropout belongs to the dropout."""
    if known.pieces is None or burst.edges > _FLICKER_EDGES:
        return False
    return any(
        stretch.start_s - _BESIDE_S <= burst.start_s and burst.end_s <= stretch.end_s + _BESIDE_S
        for stretch in known.pieces.beam_health.get(subject, ())
        if stretch.contradictions_s
    )


def _finding(
    known: Analysis,
    subject: str,
    burst: Burst,
    kind: str,
    role: str,
    severity: Severity,
    bursts: Sequence[Burst],
    beside: tuple[str, int] | None,
) -> Finding:
    contact = contact_before(known.contacts, burst.start_s)
    return Finding(
        kind=kind,
        subject=subject,
        role=role,
        start_s=burst.start_s,
        end_s=burst.end_s,
        severity=severity,
        confidence=min(0.99, 1 - 0.5 ** (burst.edges / 4)),
        text=_text(known, subject, burst, role, contact) + _ran(beside, len(bursts)),
        advice=(
            f"Tighten the mount of {role} {subject} and its connector, check the alignment, then shake it by "
            "hand and watch its light."
        ),
        evidence={
            **_evidence(known, subject, burst, bursts, contact),
            "motor": beside[0] if beside else None,
            "bursts_with_motor": beside[1] if beside else None,
        },
        minutes=4.0,
        cautions=(HANDS_IN, HELD_ARM) if role == "limit" else (HANDS_IN,),
    )


def _text(known: Analysis, subject: str, burst: Burst, role: str, contact: Contact | None) -> str:
    hit = f", just after a hit at {match_clock(known.match, contact.t_s)}" if contact else ""
    return (
        f"{role.capitalize()} {subject} switched {counted(burst.edges, 'extra time')} within "
        f"{burst.end_s - burst.start_s:.1f} s from {match_clock(known.match, burst.start_s)}{hit}; "
        f"{_shortest(known, subject, role, burst)}."
    )


def _ran(beside: tuple[str, int] | None, bursts: int) -> str:
    if beside is None:
        return ""
    motor, times = beside
    which = f"All {bursts}" if times == bursts else f"{times} of its {bursts}"
    return f" {which} bursts came while motor {motor} ran: what it shakes may set them off."


def _shortest(known: Analysis, subject: str, role: str, burst: Burst) -> str:
    signal = (known.beams if role == "beam" else known.limits)[subject]
    if burst.shortest_s <= 1.5 * signal.period_s:
        return (
            f"the shortest lasted about {burst.shortest_s * 1000:.0f} ms, near the "
            f"{signal.period_s * 1000:.0f} ms between readings, and may be shorter still"
        )
    return f"the shortest lasted {burst.shortest_s * 1000:.0f} ms"


def _evidence(
    known: Analysis, subject: str, burst: Burst, bursts: Sequence[Burst], contact: Contact | None
) -> dict[str, object]:
    return {
        "extra_edges": burst.edges,
        "shortest_ms": burst.shortest_s * 1000,
        "median_ms": burst.median_s * 1000,
        "honest_dwell_ms": known.honest_dwell_s[subject] * 1000,
        "phase": known.match.phase_at(burst.start_s),
        "contact_t_s": contact.t_s if contact else None,
        "bursts_in_match": len(bursts),
        "open_at_end": burst.end_s >= float(known.part.t_s[-1]),
    }


_NEEDS = ("switches", "bursts")
CHATTER = Detector("chatter", "Chattering beam", lambda robot: tuple(robot.beams), _judge_beam, _NEEDS)
LIMIT_BOUNCE = Detector(
    "limit_bounce", "Bouncing limit", lambda robot: tuple(robot.limits), _judge_limit, _NEEDS
)

"""Limits that do not stop their motor, lie, or are lied to: overrun, both ends at once, missed, stray."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from telemetry.analysis import Analysis
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.contacts import contact_before
from telemetry.estimators.limit_evidence import other_end
from telemetry.finding import Finding, Severity
from telemetry.records.sensors import LimitTrouble
from telemetry.wording import HANDS_IN, HELD_ARM, HOT_MOTOR, match_clock, when

__all__ = ["LIMIT_CONFLICT", "LIMIT_MISSED", "LIMIT_OVERRUN", "LIMIT_STRAY"]

_FIX_OVERRUN_S, _FIX_STRAY_S = 0.5, 0.1

Words = tuple[str, str]
"""Text and advice."""


def _judge(
    kind: str, why_not: Callable[[Analysis, str], str | None], known: Analysis, subject: str
) -> Judgement:
    if subject not in known.limits:
        return NotEvaluated("its signal is not in the log")
    reason = why_not(known, subject)
    if reason:
        return NotEvaluated(reason)
    troubles = known.limit_troubles.get(subject, ())
    return [_finding(known, subject, trouble) for trouble in troubles if trouble.kind == kind]


def _no_partner(known: Analysis, subject: str) -> str | None:
    other = other_end(known.robot, subject)
    if other is None:
        return "the robot file names no limit at the other end of its motor's travel"
    return None if other in known.limits else f"the signal of {other}, the other end, is not in the log"


def _no_drive(known: Analysis, subject: str) -> str | None:
    limit = known.robot.limits[subject]
    if limit.motor is None or limit.stops is None:
        return "the robot file does not say which motor it stops, and which way"
    command = known.robot.motors[limit.motor].command
    channel = known.part.channels.get(command) if command else None
    if channel is None or not len(channel.values):
        return f"the command of motor {limit.motor} is not logged"
    return None


def _no_stalls(known: Analysis, subject: str) -> str | None:
    motor = known.robot.limits[subject].motor
    reason = _no_drive(known, subject)
    states = known.motor_states.get(motor) if motor else None
    if reason is None and (states is None or states.unsure_a is not None):
        return f"whether motor {motor} stalled cannot be told"
    return reason


def _finding(known: Analysis, subject: str, trouble: LimitTrouble) -> Finding:
    text, advice = _WORDS[trouble.kind](known, subject, trouble)
    contact = contact_before(known.contacts, trouble.start_s)
    return Finding(
        kind=trouble.kind,
        subject=subject,
        role="limit",
        start_s=trouble.start_s,
        end_s=trouble.end_s,
        severity=_severity(trouble),
        confidence=trouble.confidence,
        text=text,
        advice=advice,
        evidence={
            "motor": known.robot.limits[subject].motor,
            "lasted_s": trouble.end_s - trouble.start_s,
            "charge_as": trouble.charge_as,
            "peak_current_a": trouble.peak_a,
            "other_end": trouble.other,
            "share_of_way": trouble.share_of_way,
            "phase": known.match.phase_at(trouble.start_s),
            "contact_t_s": contact.t_s if contact else None,
            "open_at_end": trouble.end_s >= float(known.part.t_s[-1]),
        },
        minutes=4.0,
        cautions=(HANDS_IN, HELD_ARM, HOT_MOTOR) if trouble.kind == "limit_overrun" else (HANDS_IN, HELD_ARM),
    )


def _severity(trouble: LimitTrouble) -> Severity:
    lasted_s = trouble.end_s - trouble.start_s
    brief = {"limit_overrun": _FIX_OVERRUN_S, "limit_stray": _FIX_STRAY_S}.get(trouble.kind, 0.0)
    return Severity.FIX if lasted_s >= brief else Severity.WATCH


def _overrun(known: Analysis, subject: str, trouble: LimitTrouble) -> Words:
    charge = ""
    if trouble.charge_as is not None and trouble.peak_a is not None:
        charge = f" ({trouble.charge_as:.0f} A·s, up to {trouble.peak_a:.0f} A)"
    motor = known.robot.limits[subject].motor
    return (
        f"Motor {motor} was driven on for {trouble.end_s - trouble.start_s:.1f} s after limit {subject} had "
        f"closed at {match_clock(known.match, trouble.start_s)}{charge}.",
        f"Make the code stop motor {motor} at limit {subject}, and check that it reads this limit and not "
        "another; then look at the end stop for damage.",
    )


def _conflict(known: Analysis, subject: str, trouble: LimitTrouble) -> Words:
    return (
        f"Limits {subject} and {trouble.other} were both pressed from "
        f"{when(known.match, trouble.start_s, trouble.end_s)}, which one arm cannot do; "
        f"{subject} is the likelier to be wrong.",
        f"Press limits {subject} and {trouble.other} by hand and watch both inputs: look for a stuck lever, "
        "swapped plugs or a lead that touches another.",
    )


def _missed(known: Analysis, subject: str, trouble: LimitTrouble) -> Words:
    motor = known.robot.limits[subject].motor
    how_far = "" if trouble.share_of_way is not None else ", unless something blocked it on its way"
    return (
        f"Motor {motor} stood for {trouble.end_s - trouble.start_s:.1f} s at "
        f"{match_clock(known.match, trouble.start_s)} where limit {subject} should have closed{how_far}: "
        "it never read pressed.",
        f"Press limit {subject} by hand and watch its input; reseat its lead, and bend or move the lever so "
        "that it closes before the end stop.",
    )


def _stray(known: Analysis, subject: str, trouble: LimitTrouble) -> Words:
    motor = known.robot.limits[subject].motor
    if trouble.share_of_way is not None:
        return (
            f"Limit {subject} closed at {match_clock(known.match, trouble.start_s)} when motor {motor} had "
            f"made only {trouble.share_of_way:.0%} of its usual way to it.",
            f"Look whether limit {subject} has slipped, its lever is bent or something reaches it on the "
            "way; move its lead by hand and watch its input.",
        )
    return (
        f"Limit {subject} read pressed from {when(known.match, trouble.start_s, trouble.end_s)} though motor "
        f"{motor} had not moved to it.",
        f"Move the lead and the lever of limit {subject} by hand and watch its input: look for a rubbed or "
        "pinched lead and a lever that something else can reach.",
    )


_WORDS = {
    "limit_overrun": _overrun,
    "limit_conflict": _conflict,
    "limit_missed": _missed,
    "limit_stray": _stray,
}


def _detector(kind: str, title: str, why_not: Callable[[Analysis, str], str | None], *also: str) -> Detector:
    needs = ("switches", "limits", *also)
    return Detector(kind, title, lambda robot: tuple(robot.limits), partial(_judge, kind, why_not), needs)


LIMIT_OVERRUN = _detector("limit_overrun", "Driven on past a limit", _no_drive)
LIMIT_CONFLICT = _detector("limit_conflict", "Both ends pressed at once", _no_partner)
LIMIT_MISSED = _detector("limit_missed", "Limit that did not close", _no_stalls, "motor_states")
LIMIT_STRAY = _detector("limit_stray", "Limit that closes by itself", _no_drive)

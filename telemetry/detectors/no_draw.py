"""Motors that are driven and draw nothing: off their lead for good, or cut off again and again."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.analysis import Analysis
from telemetry.detectors.circumstances import circumstances_of
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.harnesses import explained_by_harness
from telemetry.finding import Finding, Severity
from telemetry.records.motors import Interruption
from telemetry.wording import HANDS_IN, HOT_MOTOR, counted, when

__all__ = ["BREAKER_CYCLING", "NO_DRAW"]

_LONGEST_RESET_S = 20.0
"""A breaker that resets itself does so within seconds (common practice, no source); a lead does not."""
_SURE_S = 1.0


def _judge_no_draw(known: Analysis, subject: str) -> Judgement:
    reason = _why_not(known, subject)
    if reason:
        return NotEvaluated(reason)
    cycles = _cycles(known.interruptions[subject])
    return [
        _no_draw(known, subject, one)
        for one in known.interruptions[subject]
        if one not in cycles and not explained_by_harness(known, subject, one.start_s, one.end_s)
    ]


def _judge_cycling(known: Analysis, subject: str) -> Judgement:
    reason = _why_not(known, subject)
    if reason:
        return NotEvaluated(reason)
    cycles = _cycles(known.interruptions[subject])
    return [_cycling(known, subject, cycles)] if cycles else []


def _why_not(known: Analysis, subject: str) -> str | None:
    if subject not in known.motors:
        return "its current is not in the log"
    if subject not in known.interruptions:
        return "its command is not logged, so that no current may mean no drive"
    return None


def _cycles(interruptions: Sequence[Interruption]) -> tuple[Interruption, ...]:
    """Those that a breaker makes: load, nothing for seconds, load again; one alone only within one drive."""
    reset = [
        one
        for one in interruptions
        if one.worked_before
        and one.came_back
        and (one.while_driven or one.back_while_driven)
        and one.end_s - one.start_s <= _LONGEST_RESET_S
    ]
    if len(reset) >= 2:
        last = interruptions[-1]
        opened_again = not last.came_back and last.while_driven
        return (*reset, last) if opened_again else tuple(reset)
    return tuple(one for one in reset if one.one_drive)


def _no_draw(known: Analysis, subject: str, one: Interruption) -> Finding:
    around = circumstances_of(known, subject, one.start_s, one.end_s)
    hit = around.words if around.contact is not None and around.limit is None and not around.pieces else ""
    back = "" if one.came_back else "; it did not come back"
    return Finding(
        kind="no_draw",
        subject=subject,
        role="motor",
        start_s=one.start_s,
        end_s=one.end_s,
        severity=Severity.FIX,
        confidence=_confidence(one),
        text=(
            f"Motor {subject} drew no current from {when(known.match, one.start_s, one.end_s)} though it "
            f"was driven{back}{hit}."
        ),
        advice=(
            f"Tug both leads of motor {subject} and its controller's supply lead; look whether its breaker "
            "has tripped and whether the controller shows a fault."
        ),
        evidence={
            "came_back": one.came_back,
            "began_while_driven": one.while_driven,
            "current_before_a": one.before_a,
            "phase": known.match.phase_at(one.start_s),
            "contact_t_s": around.evidence["contact_t_s"],
            "open_at_end": not one.came_back,
        },
        minutes=4.0,
        cautions=(HANDS_IN,),
    )


def _cycling(known: Analysis, subject: str, cycles: Sequence[Interruption]) -> Finding:
    start_s, end_s = cycles[0].start_s, cycles[-1].end_s
    off_s = sum(one.end_s - one.start_s for one in cycles)
    breaker_a = known.robot.motors[subject].breaker_a
    rated = f" {breaker_a:g} A" if breaker_a is not None else ""
    before_a = max((one.before_a for one in cycles if one.before_a is not None), default=None)
    return Finding(
        kind="breaker_cycling",
        subject=subject,
        role="motor",
        start_s=start_s,
        end_s=end_s,
        severity=Severity.FIX,
        confidence=min(0.98, 0.7 + 0.13 * len(cycles)),
        text=(
            f"Motor {subject} lost its current {counted(len(cycles), 'time')} under command and got it back, "
            f"{when(known.match, start_s, end_s)}, {off_s:.1f} s without in all: as a breaker does that "
            "opens and closes by itself."
        ),
        advice=(
            f"Feel the{rated} breaker of motor {subject} for heat and tug its leads; find what loads the "
            "motor so much before you fit a bigger one."
        ),
        evidence={
            "times": len(cycles),
            "off_s": off_s,
            "starts_s": [one.start_s for one in cycles],
            "ends_s": [one.end_s for one in cycles],
            "current_before_a": before_a,
            "breaker_a": breaker_a,
            "phase": known.match.phase_at(start_s),
            "open_at_end": not cycles[-1].came_back,
        },
        minutes=5.0,
        cautions=(HANDS_IN, HOT_MOTOR),
    )


def _confidence(one: Interruption) -> float:
    """Surer the longer it lasts, and where load was seen before or after: it may never have been fitted."""
    seen = 1.0 if one.before_a is not None or one.came_back else 0.9
    return float(0.97 * seen * (1 - 0.5 ** (1 + (one.end_s - one.start_s) / _SURE_S)))


_NEEDS = ("motors", "motor_states")
NO_DRAW = Detector(
    "no_draw", "Motor without current", lambda robot: tuple(robot.motors), _judge_no_draw, _NEEDS
)
BREAKER_CYCLING = Detector(
    "breaker_cycling", "Breaker that cycles", lambda robot: tuple(robot.motors), _judge_cycling, _NEEDS
)

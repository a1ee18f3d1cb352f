"""Devices of one harness lost together: one finding that names the link to look at."""

from __future__ import annotations

from collections.abc import Mapping

from telemetry.analysis import Analysis
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.contacts import contact_before
from telemetry.finding import Finding, Severity
from telemetry.records.sensors import HarnessBreak
from telemetry.robot import Harness, Robot
from telemetry.wording import HANDS_IN, match_clock, when

__all__ = ["HARNESS"]

_WORDS = {
    "missing": "sent nothing together",
    "frozen": "froze together",
    "no draw": "drew no current together",
    "silent": "kept silent together while pieces passed",
}


def _subjects(robot: Robot) -> tuple[str, ...]:
    return tuple(harness.name for harness in robot.harnesses)


def _judge(known: Analysis, subject: str) -> Judgement:
    harness = next(one for one in known.robot.harnesses if one.name == subject)
    reason = _why_not(known, harness)
    if reason:
        return NotEvaluated(reason)
    return [_finding(known, harness, one) for one in known.harness_breaks if one.harness == subject]


def _why_not(known: Analysis, harness: Harness) -> str | None:
    logged = [device for device in harness.order if _is_logged(known, device)]
    return None if len(logged) >= 2 else "fewer than two of its devices are in the log"


def _is_logged(known: Analysis, device: str) -> bool:
    robot = known.robot
    ranged = device in robot.ranges and robot.ranges[device].signal in known.part.channels
    return device in known.motors or device in known.beams or device in known.limits or ranged


def _finding(known: Analysis, harness: Harness, one: HarnessBreak) -> Finding:
    contact = contact_before(known.contacts, one.start_s)
    return Finding(
        kind="dropout",
        subject=harness.name,
        role="harness",
        start_s=one.start_s,
        end_s=one.end_s,
        severity=Severity.FIX,
        confidence=one.confidence,
        text=_text(known, harness, one),
        advice=_advice(harness, one.link),
        evidence={
            "link": list(one.link),
            "lost": list(one.lost),
            "how": dict(one.lost),
            "state": "missing" if "missing" in one.lost.values() else "lost",
            "came_back": not one.open_at_end,
            "contact_t_s": contact.t_s if contact else None,
            "contact_peak_g": contact.peak_g if contact else None,
            "first_contradiction_s": None,
            "open_at_end": one.open_at_end,
        },
        minutes=4.0,
        cautions=(HANDS_IN,),
    )


def _text(known: Analysis, harness: Harness, one: HarnessBreak) -> str:
    until = when(known.match, one.start_s, one.end_s)
    if one.open_at_end:
        until = f"{match_clock(known.match, one.start_s)} to the end"
    contact = contact_before(known.contacts, one.start_s)
    hit = f"; it began {one.start_s - contact.t_s:.2f} s after a hit" if contact else ""
    return f"{_listed(one.lost)} of harness {harness.name} {_how(one.lost)} from {until}{hit}."


def _how(lost: Mapping[str, str]) -> str:
    """What they did together, by the way that most of them were lost."""
    ways = list(lost.values())
    return _WORDS[max(_WORDS, key=ways.count)]


def _advice(harness: Harness, link: tuple[str, ...]) -> str:
    if len(link) == 1:
        return f"Look at the common connector of harness {harness.name}: reseat it, then tug-test."
    if link[0] == harness.name:
        return f"Look at the lead between the head of harness {harness.name} and {link[1]}: reseat, tug-test."
    return (
        f"Look at the lead of harness {harness.name} between {link[0]} and {link[1]}: reseat both ends, then "
        "tug-test."
    )


def _listed(names: Mapping[str, str]) -> str:
    *others, last = names
    return f"{', '.join(others)} and {last}" if others else last


HARNESS = Detector("dropout", "Harness that breaks", _subjects, _judge, needs=("lapses", "harnesses"))

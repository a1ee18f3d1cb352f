"""Everything that is computed of one log, step by step, on one page.

Each step reads what is known so far and fills in one more part. One that breaks leaves its part empty and
its name among the failures; the others still run.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import zip_longest
from types import MappingProxyType

from telemetry.analysis import Analysis, Guess
from telemetry.detectors import DETECTORS, Detector, NotEvaluated
from telemetry.estimators.bursts import find_bursts, find_limit_bursts, shortest_honest_dwell_s, usual_pass_s
from telemetry.estimators.contacts import find_contacts
from telemetry.estimators.cycles import find_cycles
from telemetry.estimators.drive_contacts import telling_motors
from telemetry.estimators.driving import burden_cycles, sum_up_driving
from telemetry.estimators.gaps import find_gaps
from telemetry.estimators.harnesses import find_harness_breaks
from telemetry.estimators.interruptions import find_interruptions
from telemetry.estimators.lapses import find_lapses
from telemetry.estimators.limit_evidence import LimitEvidence
from telemetry.estimators.limits import find_limit_troubles
from telemetry.estimators.motors import assumed_voltage_note, trace_motors
from telemetry.estimators.phases import find_matches
from telemetry.estimators.pieces import estimate_pieces
from telemetry.estimators.protection import propose_limits
from telemetry.estimators.ranges import find_range_use
from telemetry.estimators.sensors import sum_up_sensors
from telemetry.estimators.stalls import find_stalls
from telemetry.estimators.supply import judge_supply
from telemetry.estimators.switches import read_beams, read_limits
from telemetry.estimators.travels import find_travels
from telemetry.estimators.use import sum_up_use
from telemetry.finding import Check, Finding, Verdict
from telemetry.log import Log
from telemetry.pit_list import make_pit_list
from telemetry.records.pieces import Pieces
from telemetry.records.start_heat import StartHeat
from telemetry.robot import Robot

__all__ = ["judge"]

Parts = Mapping[str, object]


def judge(
    log: Log,
    robot: Robot,
    *,
    name: str,
    guesses: Sequence[Guess] = (),
    settings: Mapping[str, object] | None = None,
    start_heat: Sequence[StartHeat | None] = (),
) -> tuple[Analysis, ...]:
    """The analysis of every match in a log, in order.

    `name` is the safe stem that the matches are named by; `settings` is carried into the results as it is;
    `start_heat` is what each match began with, from cold where it is None or there are fewer.
    """
    kept = MappingProxyType(dict(settings or {}))
    matches = find_matches(log, robot, stem=name)
    begun = (
        Analysis(
            log, log.between(*match.window_s), robot, match,
            guesses=tuple(guesses), settings=kept, start_heat=heat,
        )
        for match, heat in zip_longest(matches, start_heat[: len(matches)])
    )  # fmt: skip
    return tuple(_judge_match(known) for known in begun)


def _judge_match(known: Analysis) -> Analysis:
    for step in _STEPS:
        known = _attempt(known, step)
    known = replace(known, notes=(*_notes(known), *known.notes))
    known = _detect(known)
    known = _attempt(known, _sensors)
    return replace(known, pit_list=make_pit_list(known.findings))


def _attempt(known: Analysis, step: Callable[[Analysis], Parts]) -> Analysis:
    try:
        return replace(known, **step(known))  # type: ignore[arg-type]
    except Exception as error:
        failure = f"{step.__name__.strip('_')}: {type(error).__name__}: {error}"
        return replace(known, failures=(*known.failures, failure))


def _gaps(known: Analysis) -> Parts:
    return {"gaps_s": find_gaps(known.part)}


def _lapses(known: Analysis) -> Parts:
    return {"lapses": find_lapses(known.part, known.robot, known.match, known.gaps_s)}


def _contacts(known: Analysis) -> Parts:
    return {"contacts": find_contacts(known.part, known.robot, known.motors)}


def _switches(known: Analysis) -> Parts:
    end_s = _end_s(known)
    return {
        "beams": read_beams(known.part, known.robot, end_s),
        "limits": read_limits(known.part, known.robot, end_s),
    }


def _end_s(known: Analysis) -> float:
    """The last instant of the match's part of the log; its start where the log is empty."""
    return float(known.part.t_s[-1]) if len(known.part.t_s) else known.match.start_s


def _bursts(known: Analysis) -> Parts:
    pass_s = usual_pass_s(known.beams.values())
    length_m = known.robot.robot.piece_length_m
    honest_s = {name: shortest_honest_dwell_s(beam, pass_s, length_m) for name, beam in known.beams.items()}
    honest_s |= {name: shortest_honest_dwell_s(limit) for name, limit in known.limits.items()}
    capacity = known.robot.robot.capacity
    bursts = {
        name: find_bursts(beam, honest_s[name], capacity, pass_s=pass_s) for name, beam in known.beams.items()
    }
    bursts |= {name: find_limit_bursts(limit, honest_s[name]) for name, limit in known.limits.items()}
    return {"honest_dwell_s": MappingProxyType(honest_s), "bursts": MappingProxyType(bursts)}


def _motors(known: Analysis) -> Parts:
    levels = known.start_heat.levels if known.start_heat else {}
    traces = trace_motors(known.part, known.robot, initial_heat=levels, lapses=known.lapses)
    notes = [note for trace in traces.values() for note in trace.notes]
    return {"motors": traces, "notes": (*known.notes, *assumed_voltage_note(traces), *notes)}


def _motor_states(known: Analysis) -> Parts:
    end_s = _end_s(known)
    states = find_stalls(known.robot, known.motors, end_s)
    return {
        "motor_states": states,
        "motor_use": sum_up_use(known.robot, known.motors, states, known.match),
        "interruptions": find_interruptions(known.robot, known.motors, known.match, end_s),
        "protections": propose_limits(known.robot, known.motors, states),
    }


def _ranges(known: Analysis) -> Parts:
    return {"range_use": find_range_use(known.part, known.robot)}


def _limits(known: Analysis) -> Parts:
    evidence = LimitEvidence(
        known.part, known.robot, known.match, known.limits, known.motors, known.motor_states, known.gaps_s
    )
    travels = find_travels(evidence)
    return {"travels": travels, "limit_troubles": find_limit_troubles(evidence, travels)}


def _supply(known: Analysis) -> Parts:
    supply = judge_supply(known.part, known.robot, known.motors, known.match)
    return {"supply": supply, "notes": (*known.notes, *(supply.notes if supply else ()))}


def _pieces(known: Analysis) -> Parts:
    pieces = estimate_pieces(known)
    return {"pieces": pieces, "notes": (*known.notes, *_held_down(known.robot, pieces))}


def _held_down(robot: Robot, pieces: Pieces | None) -> tuple[str, ...]:
    """A note where fewer pieces can be followed than the robot carries."""
    capacity, most = robot.robot.capacity, pieces.most_aboard if pieces else None
    if capacity is None or most is None or most >= capacity:
        return ()
    return (f"The robot carries up to {capacity}, but no more than {most} aboard could be followed at once.",)


def _harnesses(known: Analysis) -> Parts:
    return {"harness_breaks": find_harness_breaks(known)}


def _cycles(known: Analysis) -> Parts:
    cycles = burden_cycles(
        find_cycles(known.pieces, known.match),
        contacts=known.contacts,
        pieces=known.pieces,
        robot=known.robot,
        motors=known.motors,
    )
    return {"cycles": cycles, "driving": sum_up_driving(cycles)}


def _sensors(known: Analysis) -> Parts:
    return {"sensors": sum_up_sensors(known)}


_STEPS = (
    _gaps, _lapses, _switches, _bursts, _motors, _contacts, _motor_states, _limits, _ranges, _supply,
    _pieces, _harnesses, _cycles,
)  # fmt: skip


def _detect(known: Analysis) -> Analysis:
    """Run every detector on every subject it applies to; findings end up in the order of time."""
    findings: list[Finding] = []
    checks: list[Check] = []
    failures: list[str] = []
    for detector in DETECTORS:
        for subject in detector.subjects(known.robot):
            check, found, failure = _check(known, detector, subject)
            checks.append(check)
            findings += found
            failures += failure
    findings.sort(key=lambda finding: (finding.start_s, finding.kind, finding.subject))
    return replace(
        known, findings=tuple(findings), checks=tuple(checks), failures=(*known.failures, *failures)
    )


def _check(known: Analysis, detector: Detector, subject: str) -> tuple[Check, Sequence[Finding], list[str]]:
    broken = [need for need in detector.needs if any(f.startswith(f"{need}:") for f in known.failures)]
    if broken:
        reason = f"a step that it rests on broke: {', '.join(broken)}"
        return Check(detector.kind, subject, Verdict.NOT_EVALUATED, reason), (), []
    try:
        judgement = detector.judge(known, subject)
    except Exception as error:
        failure = f"{detector.kind} of {subject}: {type(error).__name__}: {error}"
        reason = f"this check broke ({type(error).__name__}: {error})"
        return Check(detector.kind, subject, Verdict.NOT_EVALUATED, reason), (), [failure]
    if isinstance(judgement, NotEvaluated):
        return Check(detector.kind, subject, Verdict.NOT_EVALUATED, judgement.reason), (), []
    verdict = Verdict.FOUND if judgement else Verdict.CLEAR
    return Check(detector.kind, subject, verdict), judgement, []


def _notes(known: Analysis) -> tuple[str, ...]:
    """What cannot be looked at in this log, besides the checks."""
    notes = []
    if not any(name in known.part.channels for name in known.robot.contact.accelerometer):
        notes.append(_without_accelerometer(known))
    if not known.robot.beams:
        notes.append("No beam is named, so the pieces aboard were not followed.")
    if known.match.source == "activity":
        notes.append("No phase channel is named: the phases are inferred from what the motors did.")
    if known.match.source == "whole log":
        enabled = (
            f"enabled for {known.match.enabled_s:.1f} s only" if known.match.enabled_s else "never enabled"
        )
        notes.append(f"The robot was {enabled} in this log: it is judged whole, as one match.")
    return tuple(notes)


def _without_accelerometer(known: Analysis) -> str:
    if not any(name in known.robot.motors for name in known.robot.contact.drive):
        return "No accelerometer is logged and no drive motor is named, so hits were not looked for."
    if not telling_motors(known.part, known.robot, known.motors):
        return (
            "No accelerometer is logged, and hits cannot be told from the drive motors either: that takes "
            "their command and current with their speed (or, with their data sheet, the winding current "
            "alone) at least 18 times a second."
        )
    return (
        "No accelerometer is logged: hits are told from the drive motors' current and speed, which shows "
        "most of those that slow the robot and few while its wheels slip."
    )

"""What of a match outlives it: the few figures that an event needs, small enough to keep for every match.

The samples of a log are not among them, so that the memory an event takes does not grow with its logs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from statistics import median

import numpy as np

from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.estimators.heat import heat_is_told, heat_level, peaks_and_ends
from telemetry.estimators.light import LightCount, count_by_light
from telemetry.finding import Finding, Severity, Verdict
from telemetry.log import BoolArray, FloatArray, Kind
from telemetry.pit_list import jobs_of
from telemetry.records.motors import MotorTrace
from telemetry.signals import period_s, runs
from telemetry.suspicions import is_of_an_outage, outages_of, suspected_dropouts

__all__ = [
    "HEAT_STARTS", "Faults", "MatchFacts", "MatchSummary", "MotorFacts", "Occurrence",
    "Running", "facts_of", "parts_by_severity", "renamed", "summary_of",
]  # fmt: skip

HEAT_STARTS = (0.0, 0.5, 1.0, 1.5)
"""Levels from which each motor's heat is worked out, for the event to read between."""

_SPUN_UP_S = 0.4
_LEAST_SPEED_SHARE = 0.5
_STEADY_DUTY = 0.03
_LEAST_RUNNING_S = 1.0


@dataclass(frozen=True)
class MatchSummary:
    """One match in a few figures.

    Attributes:
        name: unique within the event; the folder of the match's page.
        verdict: `fix`, `watch`, `clear`, or `not_judged` where no check could say anything.
        counts: findings by severity.
        parts: what they concern, each part once, by the worst that was found of it.
        not_evaluated, checks: checks that could not judge, and all checks.
        repairs, gaps: how often the reader had to mend the log, and silences of all of it.
        collected, released: pieces; None where they were not counted.
        median_cycle_s: of the closed cycles; None without one.
    """

    name: str
    file: str
    verdict: str
    counts: Mapping[Severity, int]
    parts: Mapping[Severity, int]
    not_evaluated: int
    checks: int
    repairs: int
    failures: int
    collected: int | None
    released: int | None
    median_cycle_s: float | None
    gaps: int = 0


@dataclass(frozen=True)
class Occurrence:
    """One finding in one match; `number` is its place there, from 1, and `at_s` its match time."""

    match: str
    number: int
    at_s: float
    severity: Severity
    confidence: float
    text: str


@dataclass(frozen=True)
class Faults:
    """How often one kind of trouble was found of one subject; 0 where it was looked for in vain.

    `after_hits` of them began just after a hit. `suspected` were too weakly shown for a finding and are not
    among them; only dropouts of beams have such.
    """

    kind: str
    subject: str
    role: str
    count: int
    after_hits: int = 0
    suspected: int = 0


@dataclass(frozen=True)
class Running:
    """The current of a motor that ran free under one steady duty (in tenths), and for how long it did.

    `current_a` is its lower quartile, `spread_a` how far below that the lowest tenth lies: little where the
    motor has a floor of friction, much where it is its driver that varies.
    """

    duty_tenths: int
    current_a: float
    time_s: float
    spread_a: float = 0.0


@dataclass(frozen=True)
class MotorFacts:
    """One motor's match. `heat_peak` and `heat_end` belong to the levels of `HEAT_STARTS`; empty if unknown.

    `cooling_s` is the time constant with which it cools between matches.
    """

    running: tuple[Running, ...]
    heat_peak: tuple[float, ...]
    heat_end: tuple[float, ...]
    cooling_s: float | None
    stall_s: float | None
    energy_wh: float | None


@dataclass(frozen=True)
class MatchFacts:
    """What is kept of a match.

    Attributes:
        start_epoch_s: Unix time of the match's start where the log's own clock tells it.
        before_s, after_s: how much of the log lies before the match's start, and from there to its end.
        active_s: how long the robot was enabled.
        faults: every kind and subject that could be judged; what could not be is left out.
        cycles: length in seconds, and whether it was still open at the end.
        findings: kind, subject, role and occurrence of each finding.
        broken: what broke down while judging, in words.
        pit: the first lines of the pit list: severity and reason.
    """

    summary: MatchSummary
    robot: str
    start_epoch_s: float | None
    start_s: float
    before_s: float
    after_s: float
    active_s: float
    contacts: int
    faults: tuple[Faults, ...]
    motors: Mapping[str, MotorFacts]
    battery: str | None
    resistance_ohm: float | None
    lowest_v: float | None
    cycles: tuple[tuple[float, bool], ...]
    light: LightCount | None
    findings: tuple[tuple[str, str, str, Occurrence], ...]
    broken: tuple[str, ...] = ()
    pit: tuple[tuple[str, str], ...] = ()

    @property
    def name(self) -> str:
        """The match's name, unique within the event."""
        return self.summary.name

    def told(self, kind: str, subject: str) -> Faults | None:
        """What was told of one kind of trouble of a subject; None where that could not be judged."""
        return next((f for f in self.faults if (f.kind, f.subject) == (kind, subject)), None)

    def count(self, kind: str, subject: str) -> int | None:
        """How often a kind of trouble was found of a subject; None where that could not be judged."""
        told = self.told(kind, subject)
        return None if told is None else told.count

    def in_all(self, kind: str, subject: str) -> int | None:
        """The same with what was only suspected: for many matches together, where some were found."""
        told = self.told(kind, subject)
        return None if told is None else told.count + told.suspected


def facts_of(analysis: Analysis, *, name: str | None = None) -> MatchFacts:
    """What is kept of a match; `name` where its own is not unique."""
    summary = summary_of(analysis, name=name)
    log, part, match = analysis.log, analysis.part, analysis.match
    first_s, last_s = (float(part.t_s[0]), float(part.t_s[-1])) if len(part.t_s) else match.window_s
    supply = analysis.supply
    return MatchFacts(
        summary=summary,
        robot=analysis.robot.robot.name,
        start_epoch_s=None if log.start_epoch_s is None else log.start_epoch_s + match.start_s,
        start_s=match.start_s,
        before_s=max(match.start_s - first_s, 0.0),
        after_s=max(last_s - match.start_s, 0.0),
        active_s=match.enabled_s,
        contacts=len(analysis.contacts),
        faults=_faults(analysis),
        motors={motor: _motor_facts(analysis, motor, trace) for motor, trace in analysis.motors.items()},
        battery=_battery(analysis),
        resistance_ohm=supply.resistance_ohm if supply else None,
        lowest_v=supply.lowest_v if supply else None,
        cycles=tuple((cycle.end_s - cycle.start_s, cycle.open) for cycle in analysis.cycles),
        light=count_by_light(analysis),
        findings=tuple(
            (
                finding.kind,
                finding.subject,
                finding.role,
                _occurrence(summary.name, number, analysis, finding),
            )
            for number, finding in enumerate(analysis.findings, 1)
        ),
        broken=analysis.failures,
        pit=tuple((action.severity, action.why) for action in analysis.pit_list[:3]),
    )


def renamed(facts: MatchFacts, name: str) -> MatchFacts:
    """The same match under another name."""
    findings = tuple(
        (kind, subject, role, replace(met, match=name)) for kind, subject, role, met in facts.findings
    )
    return replace(facts, summary=replace(facts.summary, name=name), findings=findings)


def summary_of(analysis: Analysis, *, name: str | None = None) -> MatchSummary:
    """One match in a few figures."""
    pieces = analysis.pieces
    closed = [cycle.end_s - cycle.start_s for cycle in analysis.cycles if not cycle.open]
    return MatchSummary(
        name=analysis.match.name if name is None else name,
        file=analysis.log.file,
        verdict=_verdict(analysis),
        counts={level: sum(f.severity is level for f in analysis.findings) for level in Severity},
        parts=parts_by_severity(analysis.findings),
        not_evaluated=sum(check.verdict is Verdict.NOT_EVALUATED for check in analysis.checks),
        checks=len(analysis.checks),
        repairs=sum(repair.count for repair in analysis.log.repairs),
        failures=len(analysis.failures),
        collected=pieces.collected.estimate if pieces else None,
        released=pieces.released.estimate if pieces else None,
        median_cycle_s=median(closed) if closed else None,
        gaps=len(analysis.gaps_s),
    )


def parts_by_severity(findings: Sequence[Finding]) -> dict[Severity, int]:
    """How many parts have something to fix, to watch, to note: each counts once, by its worst finding."""
    worst: dict[tuple[str, str], Severity] = {}
    placed = list(zip(findings, jobs_of(findings), strict=True))
    for level in reversed(Severity):
        worst |= {job: level for f, job in placed if f.severity is level}
    return {level: list(worst.values()).count(level) for level in Severity}


def _faults(analysis: Analysis) -> tuple[Faults, ...]:
    outages = outages_of(analysis)
    met: dict[tuple[str, str], int] = {}
    after_hits: dict[tuple[str, str], int] = {}
    roles: dict[tuple[str, str], str] = {}
    for check in analysis.checks:
        if check.verdict is not Verdict.NOT_EVALUATED:
            met[check.kind, check.subject] = 0
    for finding in analysis.findings:
        if finding.kind == "chatter" and is_of_an_outage(analysis, finding, outages):
            continue
        key = finding.kind, finding.subject
        met[key] = met.get(key, 0) + 1
        after_hits[key] = after_hits.get(key, 0) + (finding.evidence.get("contact_t_s") is not None)
        roles[key] = finding.role
    return tuple(
        Faults(
            *key,
            roles.get(key) or _role(analysis, key[1]),
            count,
            after_hits.get(key, 0),
            suspected_dropouts(analysis, key[1], outages) if key[0] == "dropout" else 0,
        )
        for key, count in sorted(met.items())
    )


def _role(analysis: Analysis, subject: str) -> str:
    robot = analysis.robot
    sections: dict[str, Mapping[str, object]] = {
        "beam": robot.beams, "limit": robot.limits, "range": robot.ranges, "motor": robot.motors,
    }  # fmt: skip
    found = next((role for role, section in sections.items() if subject in section), None)
    if found is None and any(harness.name == subject for harness in robot.harnesses):
        return "harness"
    return found or (subject if subject in ("supply", "log", "indicator") else "mechanism")


def _motor_facts(analysis: Analysis, name: str, trace: MotorTrace) -> MotorFacts:
    motor, use = analysis.robot.motors[name], analysis.motor_use.get(name)
    heated = heat_is_told(trace)
    warm = analysis.start_heat is not None and name in analysis.start_heat.levels
    cold = heat_level(trace.t_s, trace.current_a, motor) if heated and warm else trace.heat
    levels = peaks_and_ends(trace.t_s, trace.current_a, motor, HEAT_STARTS, cold) if heated else []
    return MotorFacts(
        running=_running(trace),
        heat_peak=tuple(peak for peak, _ in levels),
        heat_end=tuple(end for _, end in levels),
        cooling_s=motor.cooling_time_constant_s or motor.heating_time_constant_s,
        stall_s=use.stall_s if use else None,
        energy_wh=use.energy_wh if use else None,
    )


def _running(trace: MotorTrace) -> tuple[Running, ...]:
    """Current of a motor in motion, by duty: it spun up, its duty holds, and it turns at half speed or more.

    The lower quartile, not the median: pieces, hits and starts add current on top of what friction takes.
    """
    free = _running_free(trace)
    tenths = np.rint(np.nan_to_num(np.abs(trace.command)) * 10).astype(int)
    apart_s = period_s(trace.t_s)
    found = []
    for duty in range(2, 11):
        here = free & (tenths == duty)
        time_s = float(here.sum()) * apart_s
        if time_s >= _LEAST_RUNNING_S:
            least_a, low_a = _shares_of(trace.current_a[here], (0.10, 0.25))
            found.append(Running(duty, low_a, time_s, low_a - least_a))
    return tuple(found)


def _shares_of(values: FloatArray, shares: Sequence[float]) -> list[float]:
    """The values below which these shares of all lie, straight lines between two; np.percentile is slower."""
    in_order = np.sort(values)
    at = np.asarray(shares) * (len(in_order) - 1)
    below = at.astype(int)
    above = np.minimum(below + 1, len(in_order) - 1)
    told: list[float] = (in_order[below] + (at - below) * (in_order[above] - in_order[below])).tolist()
    return told


def _running_free(trace: MotorTrace) -> BoolArray:
    duty = np.abs(trace.command)
    changes = np.abs(np.diff(trace.command, prepend=trace.command[:1])) > _STEADY_DUTY
    steady = trace.driven & np.isfinite(duty) & ~changes
    first, last = runs(steady)
    since_s = np.full(len(trace.t_s), -np.inf)
    since_s[steady] = trace.t_s[steady] - np.repeat(trace.t_s[first], last - first)
    fast = ~(np.abs(trace.speed_share) < _LEAST_SPEED_SHARE)
    return np.asarray((since_s >= _SPUN_UP_S) & fast & np.isfinite(trace.current_a))


def _battery(analysis: Analysis) -> str | None:
    """The battery's name out of the robot file, or what its channel says most of the time."""
    named = analysis.robot.supply.battery
    channel = analysis.part.channels.get(named) if named else None
    if channel is None or not len(channel.values):
        return named
    values, counts = np.unique(channel.values, return_counts=True)
    value = float(values[int(np.argmax(counts))])
    return channel.labels[int(value)] if channel.kind is not Kind.NUMBER else f"{value:g}"


def _verdict(analysis: Analysis) -> str:
    levels = {finding.severity for finding in analysis.findings}
    if Severity.FIX in levels:
        return "fix"
    if Severity.WATCH in levels:
        return "watch"
    judged = any(check.verdict is not Verdict.NOT_EVALUATED for check in analysis.checks)
    return "clear" if judged else "not_judged"


def _occurrence(name: str, number: int, analysis: Analysis, finding: Finding) -> Occurrence:
    at_s = finding.start_s - analysis.match.start_s
    return Occurrence(name, number, at_s, finding.severity, finding.confidence, finding.text)

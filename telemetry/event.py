"""Event: many matches side by side, what was found in each and what comes back from match to match."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from telemetry.analysis import Analysis
from telemetry.finding import Finding, Severity, Verdict

__all__ = [
    "Event", "MatchSummary", "Occurrence", "Trouble", "Unusable", "event_of",
    "parts_by_severity", "summary_of",
]  # fmt: skip


@dataclass(frozen=True)
class MatchSummary:
    """One match in a few figures.

    Attributes:
        name: unique within the event; the folder of the match's page.
        verdict: `fix`, `watch`, `clear`, or `not_judged` where no check could say anything.
        counts: findings by severity.
        parts: what they concern, each part once, by the worst that was found of it.
        not_evaluated, checks: checks that could not judge, and all checks.
        repairs: how often the reader had to mend the log.
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
class Trouble:
    """All findings of one kind and subject over the event; `severity` is the worst of them."""

    kind: str
    subject: str
    role: str
    severity: Severity
    occurrences: tuple[Occurrence, ...]

    @property
    def matches(self) -> tuple[str, ...]:
        """The matches in which it was found, in order, each once."""
        return tuple(dict.fromkeys(occurrence.match for occurrence in self.occurrences))

    @property
    def recurring(self) -> bool:
        """Whether it was found in more than one match."""
        return len(self.matches) > 1


@dataclass(frozen=True)
class Unusable:
    """A file that could not be used, with the error line that says why."""

    file: str
    error: str


@dataclass(frozen=True)
class Event:
    """Matches in the order given; troubles with the most widespread first; files that could not be used."""

    robot: str
    matches: tuple[MatchSummary, ...]
    troubles: tuple[Trouble, ...]
    unusable: tuple[Unusable, ...] = ()

    @property
    def recurring(self) -> tuple[Trouble, ...]:
        """Troubles of more than one match."""
        return tuple(trouble for trouble in self.troubles if trouble.recurring)


def event_of(
    analyses: Sequence[Analysis], *, names: Sequence[str] | None = None, unusable: Sequence[Unusable] = ()
) -> Event:
    """Matches side by side. `names` are unique names for them; without it, their own names serve."""
    names = [analysis.match.name for analysis in analyses] if names is None else names
    named = list(zip(names, analyses, strict=True))
    summaries = tuple(summary_of(analysis, name=name) for name, analysis in named)
    robots = list(dict.fromkeys(analysis.robot.robot.name for analysis in analyses))
    return Event(robots[0] if len(robots) == 1 else "", summaries, _troubles(named), tuple(unusable))


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
    )


def parts_by_severity(findings: Sequence[Finding]) -> dict[Severity, int]:
    """How many parts have something to fix, to watch, to note: each counts once, by its worst finding."""
    worst: dict[tuple[str, str], Severity] = {}
    for level in reversed(Severity):
        worst |= {(f.role, f.subject): level for f in findings if f.severity is level}
    return {level: list(worst.values()).count(level) for level in Severity}


def _verdict(analysis: Analysis) -> str:
    levels = {finding.severity for finding in analysis.findings}
    if Severity.FIX in levels:
        return "fix"
    if Severity.WATCH in levels:
        return "watch"
    judged = any(check.verdict is not Verdict.NOT_EVALUATED for check in analysis.checks)
    return "clear" if judged else "not_judged"


def _troubles(named: Sequence[tuple[str, Analysis]]) -> tuple[Trouble, ...]:
    groups: dict[tuple[str, str, str], list[Occurrence]] = {}
    for name, analysis in named:
        for number, finding in enumerate(analysis.findings, 1):
            key = (finding.kind, finding.subject, finding.role)
            groups.setdefault(key, []).append(_occurrence(name, number, analysis, finding))
    troubles = [Trouble(*key, _worst(met), tuple(met)) for key, met in groups.items()]
    return tuple(sorted(troubles, key=_weight))


def _occurrence(name: str, number: int, analysis: Analysis, finding: Finding) -> Occurrence:
    at_s = finding.start_s - analysis.match.start_s
    return Occurrence(name, number, at_s, finding.severity, finding.confidence, finding.text)


def _worst(occurrences: Sequence[Occurrence]) -> Severity:
    return min((occurrence.severity for occurrence in occurrences), key=list(Severity).index)


def _weight(trouble: Trouble) -> tuple[int, int, str, str]:
    return -len(trouble.matches), list(Severity).index(trouble.severity), trouble.kind, trouble.subject

"""The pit list: findings turned into a few ranked actions."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.analysis import Action
from telemetry.finding import Finding, Severity
from telemetry.wording import counted

__all__ = ["MOST_ACTIONS", "jobs_of", "make_pit_list"]

MOST_ACTIONS = 12

_COST = {Severity.FIX: 100.0, Severity.WATCH: 10.0}

_STANDING = ("stall", "near_stall")

_BEARABLE = ("chatter", "limit_bounce", "limit_overrun", "limit_stray", "noisy_range")
_LIGHTER = 0.6
"""What the robot mostly plays on with, a wrong count or a motor pushed against its end, costs the next match
less than a part that is out, stands or fails under load; our choice."""


def make_pit_list(findings: Sequence[Finding]) -> tuple[Action, ...]:
    """At most twelve actions, one a part, ranked by cost × how sure; quick ones first among equals."""
    groups: dict[tuple[str, str], list[int]] = {}
    for number, (finding, job) in enumerate(zip(findings, jobs_of(findings), strict=True)):
        if finding.severity in _COST:
            groups.setdefault(job, []).append(number)
    actions = [_action(findings, numbers) for numbers in groups.values()]
    return tuple(action for _rank, action in sorted(actions, key=lambda ranked: ranked[0])[:MOST_ACTIONS])


def jobs_of(findings: Sequence[Finding]) -> list[tuple[str, str]]:
    """For each finding, role and name of the part that it gives work on.

    A motor driven past its limits has one cause, however many of its limits tell: the work is on the motor.
    One that stood at the stop while the limit there stayed silent has its cause in the limit: the work is
    on that.
    """
    missed = [finding for finding in findings if finding.kind == "limit_missed"]
    return [_job_of(finding, missed) for finding in findings]


def _job_of(finding: Finding, missed: Sequence[Finding]) -> tuple[str, str]:
    motor = finding.evidence.get("motor")
    if finding.kind == "limit_overrun" and isinstance(motor, str):
        return ("motor", motor)
    cause = next((limit for limit in missed if _comes_of(finding, limit)), None)
    return (cause.role, cause.subject) if cause else (finding.role, finding.subject)


def _comes_of(finding: Finding, missed: Finding) -> bool:
    """Whether a motor stood while it ran against the stop of a limit that should have closed."""
    together = finding.start_s < missed.end_s and missed.start_s < finding.end_s
    stood = finding.kind in _STANDING and finding.role == "motor"
    return stood and together and finding.subject == missed.evidence.get("motor")


def _action(findings: Sequence[Finding], numbers: list[int]) -> tuple[tuple[float, float, str, str], Action]:
    group = [findings[number] for number in numbers]
    causes = _causes(group)
    worst = min(causes, key=_lead)
    beside = _beside(worst, causes)
    minutes = _minutes([worst, *beside])
    action = Action(
        text=" ".join([worst.advice, *(_also(finding, worst) for finding in beside)]),
        subject=worst.subject,
        why=" ".join([worst.text, *(f.text for f in beside)]) + _more(len(numbers) - 1 - len(beside)),
        when_s=worst.start_s,
        severity=str(min(group, key=_urgency).severity),
        minutes=minutes,
        cautions=tuple(dict.fromkeys(c for finding in group for c in finding.cautions)),
        findings=tuple(numbers),
    )
    return (round(min(map(_loss, causes)), 1), minutes, worst.role, worst.subject), action


def _causes(group: Sequence[Finding]) -> list[Finding]:
    """The findings of a job without those that come of another of them.

    A stall against a limit that was driven past, or that stayed silent, comes of that; a dip comes of a
    resistance that rose.
    """
    missed = [finding for finding in group if finding.kind == "limit_missed"]
    overrun = {finding.subject for finding in group if finding.kind == "limit_overrun"}
    risen = any(finding.kind == "source_resistance" for finding in group)
    return [
        finding
        for finding in group
        if finding.evidence.get("limit") not in overrun
        and not (risen and finding.kind == "voltage_dip")
        and not any(_comes_of(finding, limit) for limit in missed)
    ]


def _minutes(told: Sequence[Finding]) -> float:
    """The work on all that is told; a motor cools meanwhile."""
    work = sum(finding.minutes for finding in told if finding.kind != "overheat")
    return max([work, *(finding.minutes for finding in told if finding.kind == "overheat")])


def _loss(finding: Finding) -> float:
    """What a finding costs the next match × how sure it is, below nought."""
    share = _LIGHTER if finding.kind in _BEARABLE else 1.0
    return _urgency(finding)[0] * share


def _urgency(finding: Finding) -> tuple[float, float]:
    """Smaller is more urgent."""
    return -_COST[finding.severity] * finding.confidence, finding.start_s


def _lead(finding: Finding) -> tuple[float, bool, tuple[float, float]]:
    """What stands first in a job: of equally grave troubles the heat, as a motor should cool from now on."""
    return -_COST[finding.severity], finding.kind != "overheat", _urgency(finding)


def _beside(worst: Finding, causes: Sequence[Finding]) -> list[Finding]:
    """The first finding of each further kind or limit."""
    told = {(worst.kind, worst.subject): worst}
    for finding in sorted(causes, key=_urgency):
        told.setdefault((finding.kind, finding.subject), finding)
    return list(told.values())[1:]


def _also(finding: Finding, worst: Finding) -> str:
    same = finding.kind == worst.kind
    return f"The same for {finding.subject}." if same else f"Also: {_unsaid(finding.advice, worst.advice)}"


def _unsaid(advice: str, said: str) -> str:
    """An advice without what it has for the programmer, where that was said before."""
    work, mark, code = advice.partition(" For the programmer:")
    return work if mark and mark + code in said else advice


def _more(others: int) -> str:
    return f" ({counted(others, 'more finding')} of this part.)" if others else ""

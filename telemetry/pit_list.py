"""The pit list: findings turned into a few ranked actions."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.analysis import Action
from telemetry.finding import Finding, Severity
from telemetry.wording import counted

__all__ = ["MOST_ACTIONS", "job_of", "make_pit_list"]

MOST_ACTIONS = 12

_COST = {Severity.FIX: 100.0, Severity.WATCH: 10.0}


def make_pit_list(findings: Sequence[Finding]) -> tuple[Action, ...]:
    """At most twelve actions, one a part, ranked by cost × how sure; quick ones first among equals."""
    groups: dict[tuple[str, str], list[int]] = {}
    for number, finding in enumerate(findings):
        if finding.severity in _COST:
            groups.setdefault(job_of(finding), []).append(number)
    actions = [_action(findings, numbers) for numbers in groups.values()]
    return tuple(action for _rank, action in sorted(actions, key=lambda ranked: ranked[0])[:MOST_ACTIONS])


def job_of(finding: Finding) -> tuple[str, str]:
    """Role and name of the part that a finding gives work on.

    A motor driven past its limits has one cause, however many of its limits tell: the work is on the motor.
    """
    motor = finding.evidence.get("motor")
    if finding.kind == "limit_overrun" and isinstance(motor, str):
        return ("motor", motor)
    return (finding.role, finding.subject)


def _action(findings: Sequence[Finding], numbers: list[int]) -> tuple[tuple[float, float, str, str], Action]:
    worst = min((findings[number] for number in numbers), key=_urgency)
    group = [findings[number] for number in numbers]
    beside = _beside(worst, group)
    action = Action(
        text=" ".join([worst.advice, *(_also(finding, worst) for finding in beside)]),
        subject=worst.subject,
        why=" ".join([worst.text, *(f.text for f in beside)]) + _more(len(numbers) - 1 - len(beside)),
        when_s=worst.start_s,
        severity=str(worst.severity),
        minutes=worst.minutes,
        cautions=tuple(dict.fromkeys(c for finding in group for c in finding.cautions)),
        findings=tuple(numbers),
    )
    return (round(_urgency(worst)[0], 1), worst.minutes, worst.role, worst.subject), action


def _urgency(finding: Finding) -> tuple[float, float]:
    """Smaller is more urgent."""
    return -_COST[finding.severity] * finding.confidence, finding.start_s


def _beside(worst: Finding, group: Sequence[Finding]) -> list[Finding]:
    """The first finding of each further kind or limit, those left out that come of another of the group.

    A stall against a limit that was driven past comes of that; a dip comes of a resistance that rose.
    """
    told = {(worst.kind, worst.subject): worst}
    for finding in sorted(group, key=_urgency):
        told.setdefault((finding.kind, finding.subject), finding)
    overrun = {finding.subject for finding in group if finding.kind == "limit_overrun"}
    risen = any(finding.kind == "source_resistance" for finding in group)
    return [
        f
        for f in list(told.values())[1:]
        if f.evidence.get("limit") not in overrun and not (risen and f.kind == "voltage_dip")
    ]


def _also(finding: Finding, worst: Finding) -> str:
    same = finding.kind == worst.kind
    return f"The same for {finding.subject}." if same else f"Also: {finding.advice}"


def _more(others: int) -> str:
    return f" ({counted(others, 'more finding')} of this part.)" if others else ""

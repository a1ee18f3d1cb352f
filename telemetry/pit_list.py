"""The pit list: findings turned into a few ranked actions."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.analysis import Action
from telemetry.finding import Finding, Severity
from telemetry.wording import counted

__all__ = ["MOST_ACTIONS", "make_pit_list"]

MOST_ACTIONS = 12

_COST = {Severity.FIX: 100.0, Severity.WATCH: 10.0}


def make_pit_list(findings: Sequence[Finding]) -> tuple[Action, ...]:
    """At most twelve actions, one a subject, ranked by cost × how sure; quick ones first among equals."""
    groups: dict[tuple[str, str], list[int]] = {}
    for number, finding in enumerate(findings):
        if finding.severity in _COST:
            groups.setdefault((finding.role, finding.subject), []).append(number)
    actions = [_action(findings, numbers) for numbers in groups.values()]
    return tuple(action for _rank, action in sorted(actions, key=lambda ranked: ranked[0])[:MOST_ACTIONS])


def _action(findings: Sequence[Finding], numbers: list[int]) -> tuple[tuple[float, float, str, str], Action]:
    worst = min((findings[number] for number in numbers), key=_urgency)
    action = Action(
        text=worst.advice,
        subject=worst.subject,
        why=worst.text + _more(len(numbers) - 1) + _also(worst, [findings[number] for number in numbers]),
        when_s=worst.start_s,
        severity=str(worst.severity),
        minutes=worst.minutes,
        cautions=tuple(dict.fromkeys(c for number in numbers for c in findings[number].cautions)),
        findings=tuple(numbers),
    )
    return (round(_urgency(worst)[0], 1), worst.minutes, worst.role, worst.subject), action


def _urgency(finding: Finding) -> tuple[float, float]:
    """Smaller is more urgent."""
    return -_COST[finding.severity] * finding.confidence, finding.start_s


def _also(worst: Finding, findings: Sequence[Finding]) -> str:
    """What to do about the part's other kinds of trouble, each once."""
    other = {f.kind: f.advice for f in findings if f.kind != worst.kind and f.advice != worst.advice}
    return "".join(f" Also: {advice}" for advice in dict.fromkeys(other.values()))


def _more(others: int) -> str:
    return f" ({counted(others, 'more finding')} of this part.)" if others else ""

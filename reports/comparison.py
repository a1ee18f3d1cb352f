"""Before and after, as text for the terminal and as JSON."""

from __future__ import annotations

from typing import Any

from telemetry.comparison import Comparison, Side, SubjectComparison, Totals
from telemetry.plain import shown
from telemetry.wording import counted

__all__ = ["comparison_json", "comparison_text"]


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """By the contract of `compare --json`."""
    return {
        "schema": 1,
        "before": _totals(comparison.before),
        "after": _totals(comparison.after),
        "sensors": [_subject(one) for one in comparison.subjects],
        "not_judged": list(comparison.not_judged),
    }


def comparison_text(comparison: Comparison) -> str:
    """A line for each side, then a sentence for each fault, its verdict first."""
    before, after = comparison.before, comparison.after
    lines = [_totals_line("Before", before), _totals_line("After", after)]
    lines += [f"{one.verdict}: {shown(one.text, 240)}" for one in comparison.subjects]
    if not comparison.subjects and not comparison.not_judged:
        lines.append("No fault was found on either side: there is nothing to compare.")
    lines += [f"not judged: {shown(line, 200)}" for line in comparison.not_judged]
    return "\n".join(lines)


def _totals_line(word: str, totals: Totals) -> str:
    return (
        f"{word}: {counted(len(totals.matches), 'match', 'matches')}, {totals.active_s:.0f} s enabled, "
        f"{counted(totals.contacts, 'hit')} "
        f"({shown(', '.join(totals.matches), 120)})"
    )


def _totals(totals: Totals) -> dict[str, Any]:
    return {"matches": len(totals.matches), "active_s": round(totals.active_s, 4),
            "contacts": totals.contacts, "names": list(totals.matches)}  # fmt: skip


def _subject(one: SubjectComparison) -> dict[str, Any]:
    return {
        "subject": one.subject,
        "kind": one.kind,
        "role": one.role,
        "before": _side(one.before),
        "after": _side(one.after),
        "rate_ratio": one.rates.rate_ratio,
        "low": one.rates.low,
        "high": one.rates.high,
        "p": one.rates.p,
        "p_of_clusters": one.p_of_clusters,
        "p_of_matches": one.p_of_matches,
        "p_unconditional": one.p_unconditional,
        "adjusted_p": one.adjusted_p,
        "clean_matches_needed": one.clean_matches_needed,
        "verdict": one.verdict,
        "text": one.text,
    }


def _side(side: Side) -> dict[str, Any]:
    return {"faults": side.faults, "exposure_s": round(side.exposure_s, 4),
            "matches_with": side.matches_with, "matches": side.matches}  # fmt: skip

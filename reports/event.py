"""The page of an event: its matches in order, what comes back, and the files that could not be used."""

from __future__ import annotations

from reports.page import render
from reports.words import counted
from telemetry.event import Event, MatchSummary
from telemetry.finding import Severity

__all__ = ["event_page", "verdict_words"]


def event_page(event: Event) -> str:
    """The whole HTML of an event's page; links lead to `<match name>/index.html` beside it."""
    return render(
        "event.html.j2",
        script="",
        title=f"All matches – {event.robot}" if event.robot else "All matches",
        event=event,
        sentence=_sentence(event),
        verdict_words=verdict_words,
        severities=list(Severity),
    )


def verdict_words(summary: MatchSummary) -> str:
    """What is said of a match in one phrase."""
    fix, watch = summary.parts.get(Severity.FIX, 0), summary.parts.get(Severity.WATCH, 0)
    return {
        "fix": f"{fix} to fix" + (f", {watch} to watch" if watch else ""),
        "watch": f"{watch} to watch",
        "clear": "nothing found",
        "not_judged": "nothing could be judged",
    }[summary.verdict]


def _sentence(event: Event) -> str:
    matches = counted(len(event.matches), "match", "matches")
    if not event.matches:
        return "No match could be read"
    back = len(event.recurring)
    return (
        f"{matches}; {counted(back, 'trouble')} found in more than one"
        if back
        else f"{matches}; no trouble came back"
    )

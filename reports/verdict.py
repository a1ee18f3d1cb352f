"""The verdict line: how many things to fix, to watch, how much could not be judged, is the log healthy."""

from __future__ import annotations

from collections.abc import Mapping

from reports.words import clock, counted, log_words, percent
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.event import parts_by_severity
from telemetry.finding import Finding, Severity, Verdict
from telemetry.pit_list import jobs_of

__all__ = ["MatchVerdict", "motors_to_rest", "verdict_of"]

_MOST_TIRED = 3


@dataclass(frozen=True)
class MatchVerdict:
    """The counts behind the verdict line, its sentence, and what must be known before trusting it.

    `fix` and `watch` count parts, each once by its worst finding; `findings` counts the findings themselves,
    `parts` the parts that they are of.
    """

    fix: int
    watch: int
    findings: Mapping[Severity, int]
    parts: Mapping[Severity, int]
    not_judged: int
    checks: int
    log: str
    log_healthy: bool
    sentence: str
    cautions: tuple[str, ...]


def verdict_of(analysis: Analysis) -> MatchVerdict:
    """What stands in the first line of a match's page."""
    parts = parts_by_severity(analysis.findings)
    findings = {level: sum(f.severity is level for f in analysis.findings) for level in Severity}
    placed = list(zip(analysis.findings, jobs_of(analysis.findings), strict=True))
    concerned = {level: len({job for f, job in placed if f.severity is level}) for level in Severity}
    fix, watch = parts[Severity.FIX], parts[Severity.WATCH]
    not_judged = sum(check.verdict is Verdict.NOT_EVALUATED for check in analysis.checks)
    log, healthy = _log_words(analysis)
    return MatchVerdict(
        fix, watch, findings, concerned, not_judged, len(analysis.checks), log, healthy,
        _sentence(analysis, fix, watch), tuple(_cautions(analysis)),
    )  # fmt: skip


def motors_to_rest(analysis: Analysis) -> str | None:
    """Which motors need a rest and how long, which stood still without needing one, then the hottest.

    None where nothing is told of any motor.
    """
    hot = {finding.subject: finding for finding in _told(analysis, "overheat")}
    stood = [name for name in _stood(analysis) if name not in hot]
    told = [f"Motor to rest: {'; '.join(map(_rest, hot.values()))}."] if hot else []
    hottest = _hottest_motor(analysis)
    if not hot and hottest is not None and hottest.heat < 1:
        told = ["No motor needs a rest."]
    told += (
        [f"Stood or hardly turned while driven: {'; '.join(_stood(analysis)[name] for name in stood)}."]
        if stood
        else []
    )
    return " ".join([*told, hottest.words] if hottest else told) or None


def _told(analysis: Analysis, *kinds: str) -> list[Finding]:
    """Findings of these kinds that are no mere notes, the surest first, as many as the line has room for."""
    found = [f for f in analysis.findings if f.kind in kinds and f.severity is not Severity.NOTE]
    return sorted(found, key=lambda finding: -finding.confidence)


def _rest(finding: Finding) -> str:
    minutes = finding.evidence.get("rest_minutes")
    known = isinstance(minutes, float) and minutes >= 1
    return f"{finding.subject}, {minutes:.0f} min without current" if known else finding.subject


def _stood(analysis: Analysis) -> dict[str, str]:
    """The motors that stalled or nearly did, each with when and how hot it grew."""
    told: dict[str, str] = {}
    for finding in _told(analysis, "stall", "near_stall"):
        use = analysis.motor_use.get(finding.subject)
        heat = f"heat at most {percent(use.peak_heat)}" if use and use.peak_heat is not None else ""
        when = f"at {clock(finding.start_s, analysis.match.start_s)}"
        told.setdefault(finding.subject, f"{finding.subject} {when}" + (f" ({heat})" if heat else ""))
    return dict(list(told.items())[:_MOST_TIRED])


@dataclass(frozen=True)
class _Hottest:
    heat: float
    words: str


def _hottest_motor(analysis: Analysis) -> _Hottest | None:
    heats = {name: use.peak_heat for name, use in analysis.motor_use.items() if use.peak_heat is not None}
    if not heats:
        return None
    name = max(heats, key=lambda name: heats[name])
    end = analysis.motor_use[name].end_heat
    told = f"Hottest motor: {name}, at {percent(heats[name])} of its heat limit"
    return _Hottest(
        heats[name], told + (f", {percent(end)} when the match ended." if end is not None else ".")
    )


def _sentence(analysis: Analysis, fix: int, watch: int) -> str:
    if fix:
        return f"{counted(fix, 'part')} to fix before the next match"
    judged = any(check.verdict is not Verdict.NOT_EVALUATED for check in analysis.checks)
    if not judged:
        return "Nothing could be judged"
    return "Nothing must be fixed" + (
        f"; {counted(watch, 'part')} to watch" if watch else ", as far as it was judged"
    )


def _log_words(analysis: Analysis) -> tuple[str, bool]:
    mended, gaps = sum(repair.count for repair in analysis.log.repairs), len(analysis.gaps_s)
    return log_words(mended, gaps), not mended and not gaps


def _cautions(analysis: Analysis) -> list[str]:
    cautions = []
    if analysis.failures:
        count = counted(len(analysis.failures), "check")
        cautions.append(f"{count} broke down and told nothing; see Log health.")
    if analysis.match.source == "whole log":
        cautions.append("Nothing was ever enabled in this log, so the whole of it was judged as one match.")
    if analysis.match.source == "activity":
        cautions.append(
            "No channel tells the phase; when the match ran was taken from commands and currents."
        )
    if analysis.guesses:
        count = counted(len(analysis.guesses), "role")
        cautions.append(f"{count} guessed from channel names and values; a robot file makes this surer.")
    return cautions

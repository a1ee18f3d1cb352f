"""The verdict line: how many things to fix, to watch, how much could not be judged, is the log healthy."""

from __future__ import annotations

from collections.abc import Mapping

from reports.words import clock, counted, kind_words, percent
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.event import parts_by_severity
from telemetry.finding import Severity, Verdict
from telemetry.pit_list import job_of

__all__ = ["MatchVerdict", "motors_to_rest", "verdict_of"]

_TIRING = ("overheat", "stall", "near_stall")
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
    concerned = {
        level: len({job_of(f) for f in analysis.findings if f.severity is level}) for level in Severity
    }
    fix, watch = parts[Severity.FIX], parts[Severity.WATCH]
    not_judged = sum(check.verdict is Verdict.NOT_EVALUATED for check in analysis.checks)
    log, healthy = _log_words(analysis)
    return MatchVerdict(
        fix, watch, findings, concerned, not_judged, len(analysis.checks), log, healthy,
        _sentence(analysis, fix, watch), tuple(_cautions(analysis)),
    )  # fmt: skip


def motors_to_rest(analysis: Analysis) -> str | None:
    """Which motors were worked hardest: those that stood still or grew too hot, then the hottest.

    None where nothing is told of any motor.
    """
    tired, hottest = _tired_motors(analysis), _hottest_motor(analysis)
    told = [f"Motor to rest: {'; '.join(tired)}."] if tired else []
    if not tired and hottest is not None and hottest.heat < 1:
        told = ["No motor needs a rest."]
    return " ".join([*told, hottest.words] if hottest else told) or None


def _tired_motors(analysis: Analysis) -> list[str]:
    """The motors that a finding says were overworked, the surest first, each with what it did."""
    told: dict[str, str] = {}
    for finding in sorted(analysis.findings, key=lambda finding: -finding.confidence):
        if finding.kind in _TIRING and finding.severity is not Severity.NOTE:
            told.setdefault(
                finding.subject, f"{finding.subject} ({kind_words(finding.kind).title} at "
                f"{clock(finding.start_s, analysis.match.start_s)})",
            )  # fmt: skip
    return list(told.values())[:_MOST_TIRED]


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
    told = f"Hottest motor: {name}, at {percent(heats[name])} of what it can bear"
    told += f", {percent(end)} when the match ended" if end is not None else ""
    return _Hottest(heats[name], told + ("; no motor passed its limit." if heats[name] < 1 else "."))


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
    mended = sum(repair.count for repair in analysis.log.repairs)
    gaps = len(analysis.gaps_s)
    words = [counted(mended, "repair")] if mended else []
    words += [counted(gaps, "gap")] if gaps else []
    return (", ".join(words), False) if words else ("healthy", True)


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

"""Silences of the whole log: the logger or the controller, never a sensor."""

from __future__ import annotations

from telemetry.analysis import Analysis
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.finding import Finding, Severity
from telemetry.wording import HANDS_IN, match_clock

__all__ = ["LOG_GAP"]


def _judge(known: Analysis, subject: str) -> Judgement:
    if not any(channel.sampled for channel in known.part.channels.values()):
        return NotEvaluated("the log holds changes only, so that silence says nothing")
    return [_finding(known, subject, float(start), float(end)) for start, end in known.gaps_s]


def _finding(known: Analysis, subject: str, start_s: float, end_s: float) -> Finding:
    phase = known.match.phase_at(start_s)
    restarted = end_s in known.log.seams_s
    return Finding(
        kind="log_gap",
        subject=subject,
        role="log",
        start_s=start_s,
        end_s=end_s,
        severity=Severity.NOTE if phase == "disabled" else Severity.WATCH,
        confidence=1.0,
        text=_text(match_clock(known.match, start_s), None if restarted else end_s - start_s),
        advice="Look at the logger's storage and at the controller's own supply lead; no sensor does this.",
        evidence={"gap_s": None if restarted else end_s - start_s, "phase": phase},
        minutes=5.0,
        cautions=(HANDS_IN,),
    )


def _text(began: str, gap_s: float | None) -> str:
    if gap_s is None:
        return f"The log's clock started anew at {began}; how long nothing was logged is not known."
    return f"Nothing was logged for {gap_s:.2f} s from {began}."


LOG_GAP = Detector("log_gap", "Gap in the whole log", lambda _robot: ("log",), _judge, needs=("gaps",))

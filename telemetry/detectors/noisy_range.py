"""Distance sensors that jump about, or whose threshold is crossed with no piece there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telemetry.analysis import Analysis
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.contacts import contact_before
from telemetry.estimators.ranges import LONGEST_PERIOD_S
from telemetry.finding import Finding, Severity
from telemetry.log import Channel, FloatArray
from telemetry.records.sensors import RangeUse
from telemetry.signals import period_s
from telemetry.wording import HANDS_IN, counted, match_clock

__all__ = ["NOISY_RANGE"]

_APART_S, _LEAST_JUMPS = 10.0, 6
_FIX_FALSE = 6
_HALF = 12


def _judge(known: Analysis, subject: str) -> Judgement:
    channel = known.part.channels.get(known.robot.ranges[subject].signal)
    if channel is None or not len(channel.values):
        return NotEvaluated("its signal is not in the log")
    reason = _why_not(channel)
    if reason:
        return NotEvaluated(reason)
    use = known.range_use.get(subject)
    if use is None:
        return NotEvaluated("it has too few readings")
    jumps_s = _crowded(use.jumps_s)
    if len(jumps_s):
        return [_finding(known, subject, use, jumps_s)]
    if use.crossings - use.pieces < _FIX_FALSE or not _is_of_noise(use):
        return []
    return [_trembling(known, subject, use, float(use.crossings_s[0]), float(use.crossings_s[-1]))]


def _is_of_noise(use: RangeUse) -> bool:
    """Whether hysteresis takes off half of the false crossings: else pieces were there, briefly."""
    if use.better_crossings is None:
        return True
    return use.crossings - use.better_crossings >= (use.crossings - use.pieces) / 2


def _why_not(channel: Channel) -> str | None:
    if not channel.sampled:
        return "it is logged on change only, so that a jump cannot be told from a piece"
    if period_s(channel.t_s) > LONGEST_PERIOD_S:
        return (
            f"at one reading in {period_s(channel.t_s) * 1000:.0f} ms a jump and a passing piece look alike"
        )
    return None


def _crowded(jumps_s: FloatArray) -> FloatArray:
    """The jumps that come in crowds: a stray one now and then is no trouble."""
    if not len(jumps_s):
        return jumps_s
    groups = np.split(jumps_s, np.flatnonzero(np.diff(jumps_s) > _APART_S) + 1)
    return np.concatenate([group for group in groups if len(group) >= _LEAST_JUMPS] or [jumps_s[:0]])


def _finding(known: Analysis, subject: str, use: RangeUse, jumps_s: FloatArray) -> Finding:
    """It jumps: a loose lead, a dirty lens, something that reflects."""
    false, unit = max(use.crossings - use.pieces, 0), _unit(known, subject)
    start_s, end_s = float(jumps_s[0]), float(jumps_s[-1]) + use.longest_jump_s
    trembles = _trembling(known, subject, use, start_s, end_s)
    return replace(
        trembles,
        severity=Severity.FIX if false >= _FIX_FALSE else Severity.WATCH,
        confidence=min(0.98, 1 - 0.5 ** (len(jumps_s) / _HALF + 2)),
        text=(
            f"Range {subject} jumped {counted(len(jumps_s), 'time')} for {use.longest_jump_s * 1000:.0f} ms "
            f"or less from {match_clock(known.match, start_s)} on and {_crossed(use, false, unit)}."
        ),
        advice=(
            f"Look at the connector, the lens and the mount of range {subject}, and at what reflects near it."
            f"{_setting(use, unit)}"
        ),
        evidence={**trembles.evidence, "jumps": len(jumps_s)},
        cautions=(HANDS_IN,),
    )


def _trembling(known: Analysis, subject: str, use: RangeUse, start_s: float, end_s: float) -> Finding:
    """It does not jump, but trembles about its threshold: a setting rather than a repair."""
    false, unit = use.crossings - use.pieces, _unit(known, subject)
    return Finding(
        kind="noisy_range",
        subject=subject,
        role="range",
        start_s=start_s,
        end_s=end_s,
        severity=Severity.WATCH,
        confidence=min(0.95, 1 - 0.5 ** (false / _FIX_FALSE + 1)),
        text=(
            f"Range {subject} {_crossed(use, false, unit)} from {match_clock(known.match, start_s)} on: it "
            f"trembles by {use.noise:.2g} {unit} about that threshold.".replace("  ", " ")
        ),
        advice=f"Change the settings of range {subject} before its hardware.{_setting(use, unit)}",
        evidence=_evidence(known, use, start_s, end_s),
        minutes=4.0,
        cautions=(),
    )


def _unit(known: Analysis, subject: str) -> str:
    return known.part.channels[known.robot.ranges[subject].signal].unit or ""


def _evidence(known: Analysis, use: RangeUse, start_s: float, end_s: float) -> dict[str, object]:
    contact = contact_before(known.contacts, start_s)
    return {
        "jumps": 0,
        "longest_jump_ms": use.longest_jump_s * 1000,
        "noise": use.noise,
        "near_level": use.near_level,
        "far_level": use.far_level,
        "threshold": use.threshold,
        "crossings": use.crossings,
        "pieces": use.pieces,
        "false_crossings": max(use.crossings - use.pieces, 0),
        "better_threshold": use.better_threshold,
        "better_hysteresis": use.better_hysteresis,
        "better_crossings": use.better_crossings,
        "contact_t_s": contact.t_s if contact else None,
        "phase": known.match.phase_at(start_s),
        "open_at_end": end_s >= known.match.end_s - _APART_S,
    }


def _crossed(use: RangeUse, false: int, unit: str) -> str:
    if use.threshold is None:
        return "no threshold is named that it could cross"
    threshold = f"{use.threshold:.4g} {unit}".rstrip()
    return f"crossed its threshold of {threshold} {counted(false, 'time')} with no piece there"


def _setting(use: RangeUse, unit: str) -> str:
    if use.better_threshold is None or use.better_hysteresis is None or use.better_crossings is None:
        return ""
    hold = f"; for the rest, want a reading to hold for {use.longest_jump_s * 1000:.0f} ms"
    return (
        f" A threshold of {use.better_threshold:.4g} {unit} with a hysteresis of {use.better_hysteresis:.3g} "
        f"{unit} would have counted {use.better_crossings} instead of {use.crossings} (about {use.pieces} "
        f"were there){hold if len(use.jumps_s) else ''}."
    )


NOISY_RANGE = Detector(
    "noisy_range", "Noisy distance sensor", lambda robot: tuple(robot.ranges), _judge, needs=("ranges",)
)

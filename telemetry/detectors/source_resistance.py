"""A battery or lead whose resistance steps up in the middle of a match: a lug knocked loose."""

from __future__ import annotations

from itertools import pairwise

from telemetry.analysis import Analysis
from telemetry.copper import lead_length_m
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.contacts import AFTER_CONTACT_S
from telemetry.finding import Finding, Severity
from telemetry.records.supply import SourceStretch
from telemetry.robot import Robot
from telemetry.wording import HANDS_IN, SUPPLY_WORK, match_clock

__all__ = ["SOURCE_RESISTANCE"]

_TIMING_S = 0.5
"""How far the time of a step may be off: it shows only when the load changes."""
_TYPICAL_LOAD_A = 100.0
_BATTERY_LEAD_MM2 = 16.0
"""Cross-section of a stout battery lead, to give a resistance a size (common practice, no source)."""


def _subjects(robot: Robot) -> tuple[str, ...]:
    return ("supply",) if robot.supply.voltage else ()


def _judge(known: Analysis, _subject: str) -> Judgement:
    if known.supply is None:
        return NotEvaluated("the log holds no supply voltage")
    if not known.supply.source:
        return NotEvaluated("the current out of the battery is not known, or hardly changed")
    return [_finding(known, before, after) for before, after in pairwise(known.supply.source)]


def _finding(known: Analysis, before: SourceStretch, after: SourceStretch) -> Finding:
    rose = after.resistance_ohm > before.resistance_ohm
    at_s = after.start_s
    hits = [hit for hit in known.contacts if -_TIMING_S <= at_s - hit.t_s <= _TIMING_S + AFTER_CONTACT_S]
    hit = min(hits, key=lambda hit: abs(at_s - hit.t_s), default=None)
    force = f" of {hit.peak_g:.1f} g" if hit is not None and hit.peak_g is not None else ""
    after_hit = f", with a hit{force} at {match_clock(known.match, hit.t_s)}" if hit is not None else ""
    lost_v = (after.resistance_ohm - before.resistance_ohm) * _TYPICAL_LOAD_A
    return Finding(
        kind="source_resistance",
        subject="supply",
        role="supply",
        start_s=at_s,
        end_s=after.end_s,
        severity=Severity.FIX if rose else Severity.WATCH,
        confidence=0.95 if hit is not None else 0.9,
        text=(
            f"The resistance of the battery and its leads {'rose' if rose else 'fell'} from "
            f"{before.resistance_ohm * 1e3:.0f} to {after.resistance_ohm * 1e3:.0f} mΩ at "
            f"{match_clock(known.match, at_s)}{after_hit}: at 100 A that is {abs(lost_v):.1f} V "
            f"{'less' if rose else 'more'}."
        ),
        advice=(
            "Tug every battery lug, the main breaker's nuts and the distribution's feed; tighten what moves, "
            "and feel for what is warm."
        ),
        evidence={
            "before_ohm": before.resistance_ohm,
            "after_ohm": after.resistance_ohm,
            "t_s": at_s,
            "before_interval_ohm": [before.low_ohm, before.high_ohm],
            "after_interval_ohm": [after.low_ohm, after.high_ohm],
            "like_16_mm2_lead_m": lead_length_m(
                abs(after.resistance_ohm - before.resistance_ohm), _BATTERY_LEAD_MM2
            ),
            "contact_t_s": hit.t_s if hit is not None else None,
            "contact_peak_g": hit.peak_g if hit is not None else None,
            "phase": known.match.phase_at(at_s),
        },
        minutes=4.0,
        cautions=(HANDS_IN, SUPPLY_WORK),
    )


SOURCE_RESISTANCE = Detector(
    "source_resistance", "Step in source resistance", _subjects, _judge, needs=("supply",)
)

"""The supply falling too low: dips below the robot file's level, and brownouts."""

from __future__ import annotations

from itertools import pairwise

from telemetry.analysis import Analysis
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.finding import Finding, Severity
from telemetry.records.supply import Dip, Supply
from telemetry.robot import Robot
from telemetry.wording import HANDS_IN, SUPPLY_WORK, counted, match_clock, when

__all__ = ["BROWNOUT", "VOLTAGE_DIP"]


def _subjects(robot: Robot) -> tuple[str, ...]:
    return ("supply",) if robot.supply.voltage else ()


def _judge_dips(known: Analysis, _subject: str) -> Judgement:
    if known.supply is None:
        return NotEvaluated("the log holds no supply voltage")
    floor_v = known.robot.supply.brownout_v
    shallow = [dip for dip in known.supply.dips if dip.residual_v >= floor_v]
    return [_dips_finding(known, known.supply, shallow)] if shallow else []


def _dips_finding(known: Analysis, supply: Supply, dips: list[Dip]) -> Finding:
    deepest = min(dips, key=lambda dip: dip.residual_v)
    level_v = known.robot.supply.dip_v
    together_s = sum(dip.end_s - dip.start_s for dip in dips)
    rise = _risen_before(supply, deepest.start_s)
    return Finding(
        kind="voltage_dip",
        subject="supply",
        role="supply",
        start_s=dips[0].start_s,
        end_s=dips[-1].end_s,
        severity=Severity.WATCH if together_s >= 1.0 else Severity.NOTE,
        confidence=0.95,
        text=(
            f"The supply fell below {level_v:g} V {counted(len(dips), 'time')}, {together_s:.2f} s in all; "
            f"lowest {deepest.residual_v:.2f} V at {match_clock(known.match, deepest.start_s)}."
            f"{_risen_words(rise)}"
        ),
        advice=("Tighten the battery's leads first. " if rise else "")
        + "Start the next match on a full battery; spread the heaviest loads, or limit their current.",
        evidence={
            "dips": len(dips),
            "together_s": together_s,
            "lowest_v": deepest.residual_v,
            "lowest_t_s": deepest.start_s,
            "source_resistance_ohm": supply.resistance_ohm,
            "open_at_end": dips[-1].end_s >= float(known.part.t_s[-1]),
        },
        minutes=4.0,
        cautions=(HANDS_IN, SUPPLY_WORK),
    )


def _risen_before(supply: Supply, t_s: float) -> tuple[float, float] | None:
    """Resistance of the source before and after its last rise ahead of an instant, in ohm."""
    rises = [
        (before.resistance_ohm, after.resistance_ohm)
        for before, after in pairwise(supply.source)
        if after.start_s <= t_s and after.resistance_ohm > before.resistance_ohm
    ]
    return rises[-1] if rises else None


def _risen_words(rise: tuple[float, float] | None) -> str:
    if rise is None:
        return ""
    before, after = (f"{ohm * 1000:.0f}" for ohm in rise)
    return f" The resistance of the battery and its leads had risen before, from {before} to {after} mΩ."


def _judge_brownout(known: Analysis, _subject: str) -> Judgement:
    if known.supply is None:
        return NotEvaluated("the log holds no supply voltage")
    floor_v = known.robot.supply.brownout_v
    return [_brownout(known, dip, floor_v) for dip in known.supply.dips if dip.residual_v < floor_v]


def _brownout(known: Analysis, dip: Dip, floor_v: float) -> Finding:
    return Finding(
        kind="brownout",
        subject="supply",
        role="supply",
        start_s=dip.start_s,
        end_s=dip.end_s,
        severity=Severity.FIX,
        confidence=0.95,
        text=(
            f"The supply fell to {dip.residual_v:.2f} V, below the {floor_v:g} V at which outputs are cut, "
            f"at {when(known.match, dip.start_s, dip.end_s)}."
        ),
        advice="Change the battery, then tug every power lug and the main breaker's nuts for looseness.",
        evidence={"residual_v": dip.residual_v, "duration_s": dip.end_s - dip.start_s},
        minutes=6.0,
        cautions=(HANDS_IN, SUPPLY_WORK),
    )


VOLTAGE_DIP = Detector("voltage_dip", "Supply dips", _subjects, _judge_dips, needs=("supply",))
BROWNOUT = Detector("brownout", "Brownout", _subjects, _judge_brownout, needs=("supply",))

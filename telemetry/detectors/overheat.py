"""Motors that come near the heat they can bear, or pass it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telemetry.analysis import Analysis
from telemetry.detectors.circumstances import limit_advice
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.heat import heat_is_told, time_left_s
from telemetry.finding import Finding, Severity
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor
from telemetry.signals import trigger
from telemetry.thermal import cooling_time_s, safe_current_a
from telemetry.wording import HANDS_IN, HOT_MOTOR, match_clock

__all__ = ["OVERHEAT"]

WARNS_AT, LIMIT = 0.8, 1.0
"""Level from which a motor is watched, and the limit of the replica itself."""

_OVER_AT = 0.75
_COOL = 0.4
_LEAST_REST_S = 5.0
_CONFIDENCE = {
    "winding current": 0.9,
    "supply current and command": 0.85,
    "supply current and speed": 0.8,
    "supply current alone": 0.8,
}


def _judge(known: Analysis, subject: str) -> Judgement:
    if subject not in known.motors:
        return NotEvaluated("its current is not in the log")
    trace, motor = known.motors[subject], known.robot.motors[subject]
    if motor.continuous_current_a is None or motor.heating_time_constant_s is None:
        return NotEvaluated("its continuous current or heating time constant is not in the robot file")
    told, most = heat_is_told(trace), float(trace.heat_high.max(initial=0.0))
    if not told and not len(trace.heat_low):
        return NotEvaluated("only its supply-side current is logged, without command or speed")
    trace = trace if told else replace(trace, heat=trace.heat_low)
    found = [
        _finding(known, subject, motor, trace, int(first), int(last))
        for first, last in trigger(trace.heat, np.nextafter(WARNS_AT, 0.0), _OVER_AT)
    ]
    if not found and not told and most >= WARNS_AT:
        least = float(trace.heat.max())
        return NotEvaluated(f"its heat lies between {least:.2f} and {most:.2f}: its currents tell no more")
    return found


def _finding(
    known: Analysis, subject: str, motor: Motor, trace: MotorTrace, first: int, last: int
) -> Finding:
    """One stretch of heat; of a heat that is known as a range the trace brings the least."""
    peak = first + int(np.argmax(trace.heat[first : last + 1]))
    peak_heat, over = float(trace.heat[peak]), float(trace.heat[peak]) >= LIMIT
    limit_words, limit_figures = limit_advice(known, subject)
    figures = _figures(known, motor, trace, first)
    said = "passed the heat it can bear" if over else f"came to {peak_heat:.0%} of the heat it can bear"
    safe_a = figures["safe_current_a"]
    safe = f" From there {safe_a:.0f} A would have been safe to the end." if isinstance(safe_a, float) else ""
    return Finding(
        kind="overheat",
        subject=subject,
        role="motor",
        start_s=float(trace.t_s[first]),
        end_s=float(trace.t_s[last]),
        severity=Severity.FIX if over else Severity.WATCH,
        confidence=_CONFIDENCE[trace.heat_source],
        text=(
            f"Motor {subject} {said}, level {peak_heat:.2f} at "
            f"{match_clock(known.match, float(trace.t_s[peak]))}.{safe}"
        ),
        advice=(
            f"Cool motor {subject} before the next match, {figures['rest_minutes']:.0f} min without current, "
            f"or with a fan; find what loads it.{limit_words}"
        ),
        evidence={
            "peak_heat": peak_heat,
            "peak_s": float(trace.t_s[peak]),
            "end_heat": float(trace.heat[-1]),
            "heat_from": trace.heat_source,
            "most_heat": float(trace.heat_high.max()) if len(trace.heat_high) else None,
            **figures,
            "phase": known.match.phase_at(float(trace.t_s[first])),
            "open_at_end": last == len(trace.t_s) - 1,
            **limit_figures,
        },
        minutes=8.0,
        cautions=(HANDS_IN, HOT_MOTOR),
    )


def _figures(known: Analysis, motor: Motor, trace: MotorTrace, first: int) -> dict[str, object]:
    """Time left and safe current as they stood when the level reached the warning, and the rest it needs."""
    continuous_a = motor.continuous_current_a or 0.0
    heating_s = motor.heating_time_constant_s or 0.0
    cooling_s = motor.cooling_time_constant_s or heating_s
    at_s = float(trace.t_s[first])
    rest_s = known.match.end_s - at_s
    safe_a = None
    if rest_s >= _LEAST_REST_S:
        level = float(trace.heat[first])
        safe_a = safe_current_a(level, rest_s, continuous_a=continuous_a, heating_s=heating_s)
    return {
        "time_left_s": time_left_s(trace, motor, known.match, at_s=at_s),
        "safe_current_a": safe_a,
        "rest_of_match_s": max(rest_s, 0.0),
        "rest_minutes": float(cooling_time_s(float(trace.heat[-1]), _COOL, cooling_s)) / 60,
        "continuous_current_a": continuous_a,
    }


OVERHEAT = Detector(
    "overheat",
    "Motor near its heat limit",
    lambda robot: tuple(robot.motors),
    _judge,
    ("motors",),
)

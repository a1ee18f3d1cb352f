"""Breakers that come near tripping."""

from __future__ import annotations

import numpy as np

from telemetry.analysis import Analysis
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.breakers import BreakerLoad, breaker_load, curve_of
from telemetry.finding import Finding, Severity
from telemetry.robot import Motor
from telemetry.signals import trigger
from telemetry.wording import HANDS_IN, match_clock

__all__ = ["BREAKER_RISK"]

AT_RISK, TRIPS = 0.8, 1.0
"""Fractions of the time-current curve: at risk (contract), and where it may open."""

_OVER_AT = 0.5


def _judge(known: Analysis, subject: str) -> Judgement:
    motor = known.robot.motors[subject]
    if motor.breaker_a is None:
        return NotEvaluated("its breaker's rating is not in the robot file")
    if subject not in known.motors:
        return NotEvaluated("its current is not in the log")
    use = known.motor_use.get(subject)
    if use is not None and use.breaker_fraction is not None and use.breaker_fraction < AT_RISK:
        return []
    load = breaker_load(known.motors[subject], motor)
    if load is None:
        return NotEvaluated(
            "its supply-side current is not known: neither its command nor its speed is logged"
        )
    return [
        _finding(known, subject, motor, load, int(first), int(last))
        for first, last in trigger(load.fraction, np.nextafter(AT_RISK, 0.0), _OVER_AT)
    ]


def _finding(
    known: Analysis, subject: str, motor: Motor, load: BreakerLoad, first: int, last: int
) -> Finding:
    inside, breaker_a = slice(first, last + 1), motor.breaker_a or 0.0
    peak = first + int(np.argmax(load.fraction[inside]))
    fraction = float(load.fraction[peak])
    before = slice(int(np.searchsorted(load.t_s, load.t_s[first] - 10.0)), last + 1)
    multiple = float(load.multiple[before].max())
    whose = "its own curve" if motor.breaker_curve else "the general curve of a resetting breaker"
    return Finding(
        kind="breaker_risk",
        subject=subject,
        role="motor",
        start_s=float(load.t_s[first]),
        end_s=float(load.t_s[last]),
        severity=Severity.FIX if fraction >= TRIPS else Severity.WATCH,
        confidence=0.9 if motor.breaker_curve else 0.75,
        text=(
            f"The {breaker_a:g} A breaker of motor {subject} used up {fraction:.0%} of what it bears by "
            f"{whose}, at {match_clock(known.match, float(load.t_s[peak]))}; up to {multiple:.1f} times its "
            "rating."
        ),
        advice=(
            f"Limit the current of motor {subject} to {breaker_a * curve_of(motor)[0][0]:.0f} A from the "
            "battery where the load lasts; feel the breaker and its leads for heat."
        ),
        evidence={
            "peak_fraction": fraction,
            "peak_s": float(load.t_s[peak]),
            "peak_multiple": multiple,
            "breaker_a": breaker_a,
            "curve": [list(point) for point in curve_of(motor)],
            "curve_from": "robot file" if motor.breaker_curve else "general curve",
            "phase": known.match.phase_at(float(load.t_s[first])),
            "open_at_end": last == len(load.t_s) - 1,
        },
        minutes=3.0,
        cautions=(HANDS_IN,),
    )


BREAKER_RISK = Detector(
    "breaker_risk", "Breaker near tripping", lambda robot: tuple(robot.motors), _judge, needs=("motors",)
)

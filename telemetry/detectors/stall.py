"""Motors that stand, or nearly stand, while they are driven."""

from __future__ import annotations

import numpy as np

from telemetry.analysis import Analysis, MotorTrace
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.finding import Finding, Severity
from telemetry.log import BoolArray
from telemetry.motor_model import MotorModel
from telemetry.signals import hold_s, integral
from telemetry.wording import HANDS_IN, HELD_ARM, HOT_MOTOR, match_clock

__all__ = ["NEAR_STALL", "STALL"]

_FIX_STALL_S, _FIX_NEAR_STALL_S = 1.0, 6.0
_WARM = 0.7


def _judge_stall(known: Analysis, subject: str) -> Judgement:
    reason = _why_not(known, subject)
    if reason:
        return NotEvaluated(reason)
    states = known.motor_states[subject]
    grave = _total(states.stall) >= _FIX_STALL_S or _gets_hot(known, subject)
    severity = Severity.FIX if grave else Severity.WATCH
    return [_finding(known, subject, "stall", float(a), float(b), severity) for a, b in states.stall]


def _judge_near_stall(known: Analysis, subject: str) -> Judgement:
    reason = _why_not(known, subject)
    if reason:
        return NotEvaluated(reason)
    states = known.motor_states[subject]
    grave = _total(states.near_stall) >= _FIX_NEAR_STALL_S or _gets_hot(known, subject)
    severity = Severity.FIX if grave else Severity.WATCH
    return [
        _finding(known, subject, "near_stall", float(a), float(b), severity) for a, b in states.near_stall
    ]


def _why_not(known: Analysis, subject: str) -> str | None:
    """Why a motor cannot be judged, or None."""
    if subject not in known.motors:
        return "its current is not in the log"
    if MotorModel.from_motor(known.robot.motors[subject]) is None:
        return "its data-sheet numbers are not in the robot file"
    if subject in known.motor_states:
        return None
    trace = known.motors[subject]
    told = trace.speed_source == "channel" or bool(np.isfinite(trace.command).any())
    return "it was never driven" if told else "neither its speed nor its command is logged"


def _finding(
    known: Analysis, subject: str, kind: str, start_s: float, end_s: float, severity: Severity
) -> Finding:
    trace = known.motors[subject]
    inside = (trace.t_s >= start_s) & (trace.t_s < end_s)
    held_s = end_s - start_s
    return Finding(
        kind=kind,
        subject=subject,
        role="motor",
        start_s=start_s,
        end_s=end_s,
        severity=severity,
        confidence=_confidence(trace, held_s),
        text=_text(known, subject, kind, start_s, held_s, float(np.median(trace.current_a[inside]))),
        advice=(
            f"Turn the mechanism of motor {subject} by hand and clear what binds or jams it; feel the motor, "
            "and let it cool if it is hot."
        ),
        evidence={
            **_figures(known, subject, trace, inside),
            "phase": known.match.phase_at(start_s),
            "open_at_end": end_s >= float(known.part.t_s[-1]),
        },
        minutes=5.0,
        cautions=(HANDS_IN, HELD_ARM, HOT_MOTOR),
    )


def _text(known: Analysis, subject: str, kind: str, start_s: float, held_s: float, current_a: float) -> str:
    stood = "stood still" if kind == "stall" else "hardly turned"
    return (
        f"Motor {subject} {stood} for {held_s:.2f} s at {match_clock(known.match, start_s)} while driven, "
        f"at {current_a:.0f} A."
    )


def _figures(known: Analysis, subject: str, trace: MotorTrace, inside: BoolArray) -> dict[str, object]:
    model = MotorModel.from_motor(known.robot.motors[subject])
    resistance_ohm = model.resistance_ohm if model else float("nan")
    t_s, current_a = trace.t_s[inside], trace.current_a[inside]
    return {
        "median_current_a": float(np.median(current_a)),
        "peak_current_a": float(current_a.max()),
        "median_speed_share": float(np.median(trace.speed_share[inside])),
        "winding_heat_j": integral(t_s, current_a**2 * resistance_ohm, hold_s(trace.t_s)),
        "speed_from": trace.speed_source,
        "spin_up_s": known.motor_states[subject].spin_up_s,
    }


def _confidence(trace: MotorTrace, held_s: float) -> float:
    """Surer where a speed channel says so, and the longer it lasts."""
    from_speed = 0.97 if trace.speed_source == "channel" else 0.85
    return float(from_speed * (1 - 0.5 ** (1 + held_s / 0.25)))


def _total(intervals_s: np.ndarray) -> float:
    return float((intervals_s[:, 1] - intervals_s[:, 0]).sum())


def _gets_hot(known: Analysis, subject: str) -> bool:
    peak_heat = known.motor_use[subject].peak_heat
    return peak_heat is not None and peak_heat >= _WARM


_NEEDS = ("motors", "motor_states")
STALL = Detector("stall", "Stalled motor", lambda robot: tuple(robot.motors), _judge_stall, _NEEDS)
NEAR_STALL = Detector(
    "near_stall", "Motor near stall", lambda robot: tuple(robot.motors), _judge_near_stall, _NEEDS
)

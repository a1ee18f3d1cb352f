"""Motors that stand, or nearly stand, while they are driven."""

from __future__ import annotations

import numpy as np

from telemetry.analysis import Analysis
from telemetry.detectors.circumstances import circumstances_of, limit_advice
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.motors import winding_ohm
from telemetry.finding import Finding, Severity
from telemetry.log import BoolArray
from telemetry.motor_model import MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.signals import hold_s, integral
from telemetry.wording import HANDS_IN, HELD_ARM, HOT_MOTOR, match_clock

__all__ = ["NEAR_STALL", "STALL"]

_FIX_STALL_S, _FIX_NEAR_STALL_S = 1.0, 6.0
_WARM = 0.7


def _judge_stall(known: Analysis, subject: str) -> Judgement:
    return _judge(known, subject, "stall", _FIX_STALL_S)


def _judge_near_stall(known: Analysis, subject: str) -> Judgement:
    return _judge(known, subject, "near_stall", _FIX_NEAR_STALL_S)


def _judge(known: Analysis, subject: str, kind: str, fix_s: float) -> Judgement:
    """A finding for each stretch; to be fixed where they come to `fix_s` or the motor gets hot."""
    reason = _why_not(known, subject)
    if reason:
        return NotEvaluated(reason)
    states = known.motor_states[subject]
    stretches = states.stall if kind == "stall" else states.near_stall
    if not len(stretches) and states.unsure_a is not None:
        return NotEvaluated(
            f"neither its speed nor its command is logged, and up to {states.unsure_a:.0f} A that lasted may "
            "be a stall at part duty or honest load"
        )
    grave = _total(stretches) >= fix_s or _gets_hot(known, subject)
    severity = Severity.FIX if grave else Severity.WATCH
    return [_finding(known, subject, kind, float(a), float(b), severity) for a, b in stretches]


def _why_not(known: Analysis, subject: str) -> str | None:
    """Why a motor cannot be judged, or None."""
    if subject not in known.motors:
        return "its current is not in the log"
    trace, motor = known.motors[subject], known.robot.motors[subject]
    enough = motor.free_speed_rpm is not None and trace.speed_source == "channel"
    if MotorModel.from_motor(motor) is None and not enough:
        return "its data-sheet numbers are not in the robot file"
    if subject in known.motor_states:
        return None
    told = trace.speed_source == "channel" or bool(np.isfinite(trace.command).any())
    return "it was never driven" if told else "neither its speed nor its command is logged"


def _finding(
    known: Analysis, subject: str, kind: str, start_s: float, end_s: float, severity: Severity
) -> Finding:
    trace = known.motors[subject]
    inside = (trace.t_s >= start_s) & (trace.t_s < end_s)
    held_s = end_s - start_s
    around = circumstances_of(known, subject, start_s, end_s)
    limit_words, limit_figures = limit_advice(known, subject)
    stood = "stood still" if kind == "stall" else "hardly turned"
    return Finding(
        kind=kind,
        subject=subject,
        role="motor",
        start_s=start_s,
        end_s=end_s,
        severity=severity,
        confidence=_confidence(trace, held_s),
        text=(
            f"Motor {subject} {stood} for {held_s:.2f} s at {match_clock(known.match, start_s)} while "
            f"driven, at {float(np.median(trace.current_a[inside])):.0f} A{around.words}."
        ),
        advice=_advice(subject, around.limit) + limit_words,
        evidence={
            **_figures(known, subject, trace, inside),
            "phase": known.match.phase_at(start_s),
            "open_at_end": end_s >= float(known.part.t_s[-1]),
            **around.evidence,
            **limit_figures,
        },
        minutes=5.0,
        cautions=(HANDS_IN, HELD_ARM, HOT_MOTOR),
    )


def _advice(subject: str, limit: str | None) -> str:
    if limit is not None:
        return (
            f"Make the program stop motor {subject} at limit {limit}, which was pressed; feel the motor, and "
            "let it cool if it is hot."
        )
    return (
        f"Turn the mechanism of motor {subject} by hand and clear what binds or jams it; feel the motor, "
        "and let it cool if it is hot."
    )


def _figures(known: Analysis, subject: str, trace: MotorTrace, inside: BoolArray) -> dict[str, object]:
    model = MotorModel.from_motor(known.robot.motors[subject])
    t_s, current_a = trace.t_s[inside], trace.current_a[inside]
    heat_w = current_a**2 * winding_ohm(model, trace.heat)[inside]
    return {
        "median_current_a": float(np.median(current_a)),
        "peak_current_a": float(current_a.max()),
        "median_speed_share": float(np.median(trace.speed_share[inside])),
        "winding_heat_j": integral(t_s, heat_w, hold_s(trace.t_s)) if model else None,
        "speed_from": "current alone"
        if known.motor_states[subject].told_by != "speed"
        else trace.speed_source,
        "voltage_from": trace.voltage_source,
        "spin_up_s": known.motor_states[subject].spin_up_s,
    }


def _confidence(trace: MotorTrace, held_s: float) -> float:
    """Surer where a speed channel says so, and the longer it lasts."""
    from_speed = {"channel": 0.97, "back-EMF": 0.85}.get(trace.speed_source, 0.75)
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

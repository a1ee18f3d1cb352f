"""Chains that are pulled near what breaks them."""

from __future__ import annotations

import numpy as np

from telemetry.analysis import Analysis
from telemetry.detectors.circumstances import circumstances_of
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.drivetrain import N_PER_LBF, chordal_variation
from telemetry.estimators.chains import chain_shares
from telemetry.finding import Finding, Severity
from telemetry.log import FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.robot import Chain, Robot
from telemetry.signals import hold_s, spans
from telemetry.wording import HANDS_IN, HELD_ARM, counted, match_clock

__all__ = ["CHAIN_RISK"]

WATCH_FROM, FIX_FROM = 0.33, 0.67
"""Shares of the breaking load (contract)."""


def _subjects(robot: Robot) -> tuple[str, ...]:
    return tuple(name for name, motor in robot.motors.items() if motor.chain is not None)


def _judge(known: Analysis, subject: str) -> Judgement:
    if subject not in known.motors:
        return NotEvaluated("its motor's current is not in the log")
    trace, motor = known.motors[subject], known.robot.motors[subject]
    share = chain_shares(trace, motor)
    if share is None or motor.chain is None:
        return NotEvaluated("its motor's data-sheet numbers are not in the robot file")
    if share.max() < WATCH_FROM:
        if trace.heat_source == "supply current alone":
            return NotEvaluated("only its supply-side current is logged, without command or speed")
        return []
    return [_finding(known, subject, motor.chain, trace, share)]


def _finding(known: Analysis, subject: str, chain: Chain, trace: MotorTrace, share: FloatArray) -> Finding:
    pulls = spans(trace.t_s, share >= WATCH_FROM, float(trace.t_s[-1]), hold_s(trace.t_s))
    peak = int(np.argmax(share))
    peak_s, peak_share = float(trace.t_s[peak]), float(share[peak])
    pull_lbf = peak_share * chain.breaking_load_lbf
    return Finding(
        kind="chain_risk",
        subject=subject,
        role="motor",
        start_s=float(pulls[0, 0]),
        end_s=float(pulls[-1, 1]),
        severity=Severity.FIX if peak_share >= FIX_FROM else Severity.WATCH,
        confidence=0.85,
        text=(
            f"The chain of motor {subject} was pulled to {peak_share:.0%} of its breaking load, "
            f"{pull_lbf:.0f} lbf ({pull_lbf * N_PER_LBF:.0f} N), at {match_clock(known.match, peak_s)}; "
            f"{counted(len(pulls), 'time')} above {WATCH_FROM:.0%}."
        ),
        advice=(
            f"Look at every link and at the joint of the chain of motor {subject}, and at its tension; limit "
            "the motor's current, or fit a heavier chain."
        ),
        evidence={
            "peak_share": peak_share,
            "peak_pull_lbf": pull_lbf,
            "peak_s": peak_s,
            "peak_current_a": float(trace.current_a[peak]),
            "pulls": len(pulls),
            "swings_with_each_tooth": chordal_variation(chain.sprocket_teeth),
            "phase": known.match.phase_at(peak_s),
            **circumstances_of(known, subject, peak_s, peak_s).evidence,
        },
        minutes=6.0,
        cautions=(HANDS_IN, HELD_ARM),
    )


CHAIN_RISK = Detector("chain_risk", "Chain near breaking", _subjects, _judge, needs=("motors",))

"""Limit troubles in words, and where they cannot be judged."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from telemetry.analysis import Analysis
from telemetry.detectors import Detector, NotEvaluated
from telemetry.detectors.limits import LIMIT_CONFLICT, LIMIT_MISSED, LIMIT_OVERRUN, LIMIT_STRAY
from telemetry.finding import Finding, Severity
from telemetry.records.motors import MotorStates
from telemetry.records.sensors import LimitTrouble
from tests.telemetry.building import analysis_of, robot_of, switching
from tests.telemetry.logs import log_of, numbers

ROBOT = robot_of(
    '[motors.arm]\ncommand = "duty"\n'
    '[limits.low]\nsignal = "low"\nmotor = "arm"\nstops = "negative"\n'
    '[limits.high]\nsignal = "high"\nmotor = "arm"\nstops = "positive"\n'
)
LOG = log_of(numbers("duty", [0.0] * 101))
LIMITS = {name: switching([(10, 11)], 100.0) for name in ("low", "high")}


def _known(*troubles: LimitTrouble, **parts: Any) -> Analysis:
    none = MotorStates(np.empty((0, 2)), np.empty((0, 2)), 0.1)
    usual: dict[str, Any] = {"limits": LIMITS, "motor_states": {"arm": none}}
    return analysis_of(ROBOT, LOG, limit_troubles={"high": troubles}, **{**usual, **parts})


def _found(detector: Detector, known: Analysis) -> list[Finding]:
    judgement = detector.judge(known, "high")
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def test_an_overrun_with_its_time_and_charge() -> None:
    trouble = LimitTrouble("limit_overrun", 30.0, 31.2, 0.97, charge_as=91.4, peak_a=80.6)
    (found,) = _found(LIMIT_OVERRUN, _known(trouble))
    assert (found.kind, found.subject, found.role, found.severity) == (
        "limit_overrun", "high", "limit", Severity.FIX,
    )  # fmt: skip
    assert found.text == (
        "Motor arm was driven on for 1.2 s after limit high had closed at 0:30.0 (91 A·s, up to 81 A)."
    )
    assert found.evidence["lasted_s"] == pytest.approx(1.2)
    assert found.evidence["charge_as"] == 91.4


@pytest.mark.parametrize(("lasted_s", "severity"), [(0.45, Severity.WATCH), (0.5, Severity.FIX)])
def test_half_a_second_past_a_limit_is_to_be_fixed(lasted_s: float, severity: Severity) -> None:
    trouble = LimitTrouble("limit_overrun", 30.0, 30.0 + lasted_s, 0.97)
    assert _found(LIMIT_OVERRUN, _known(trouble))[0].severity == severity


def test_both_ends_at_once() -> None:
    (found,) = _found(LIMIT_CONFLICT, _known(LimitTrouble("limit_conflict", 30.0, 34.0, 0.97, other="low")))
    assert found.text.startswith("Limits high and low were both pressed from 0:30.0 to 0:34.0")
    assert found.evidence["other_end"] == "low"


@pytest.mark.parametrize(("share", "hedged"), [(None, True), (0.98, False)])
def test_a_missed_limit_is_hedged_where_the_way_is_not_known(share: float | None, hedged: bool) -> None:
    trouble = LimitTrouble("limit_missed", 30.0, 31.2, 0.8, share_of_way=share)
    (found,) = _found(LIMIT_MISSED, _known(trouble))
    assert ("unless something blocked it" in found.text) == hedged


def test_a_stray_limit() -> None:
    (found,) = _found(LIMIT_STRAY, _known(LimitTrouble("limit_stray", 30.0, 32.5, 0.92)))
    assert found.text == "Limit high read pressed from 0:30.0 to 0:32.5 though motor arm had not moved to it."


def test_a_limit_that_closed_on_the_way_to_it() -> None:
    trouble = LimitTrouble("limit_stray", 30.0, 32.5, 0.92, share_of_way=0.61)
    (found,) = _found(LIMIT_STRAY, _known(trouble))
    assert (
        found.text == "Limit high closed at 0:30.0 when motor arm had made only 61% of its usual way to it."
    )
    assert found.evidence["share_of_way"] == 0.61


@pytest.mark.parametrize("detector", [LIMIT_OVERRUN, LIMIT_CONFLICT, LIMIT_MISSED, LIMIT_STRAY])
def test_each_finds_only_its_own_kind(detector: Detector) -> None:
    assert _found(detector, _known()) == []
    other = "limit_stray" if detector is not LIMIT_STRAY else "limit_overrun"
    assert _found(detector, _known(LimitTrouble(other, 30.0, 31.0, 0.9))) == []


# What cannot be judged


def _reason(detector: Detector, known: Analysis) -> str:
    judgement = detector.judge(known, "high")
    assert isinstance(judgement, NotEvaluated)
    return judgement.reason


def test_a_limit_whose_motor_the_robot_file_does_not_name() -> None:
    robot = robot_of('[limits.high]\nsignal = "high"\n')
    known = analysis_of(robot, LOG, limits=LIMITS)
    for detector in (LIMIT_OVERRUN, LIMIT_MISSED, LIMIT_STRAY):
        assert _reason(detector, known) == "the robot file does not say which motor it stops, and which way"
    assert "other end" in _reason(LIMIT_CONFLICT, known)


def test_a_motor_whose_command_is_not_logged() -> None:
    known = _known()
    bare = analysis_of(ROBOT, log_of(numbers("load_a", [0.0] * 101)), limits=LIMITS)
    assert _reason(LIMIT_OVERRUN, bare) == "the command of motor arm is not logged"
    assert isinstance(LIMIT_STRAY.judge(bare, "high"), NotEvaluated)
    assert _found(LIMIT_CONFLICT, known) == []


def test_a_motor_of_which_no_stall_can_be_told() -> None:
    assert _reason(LIMIT_MISSED, _known(motor_states={})) == "whether motor arm stalled cannot be told"


def test_a_limit_that_is_not_in_the_log() -> None:
    assert _reason(LIMIT_STRAY, _known(limits={})) == "its signal is not in the log"

"""Stalled and nearly stalled motors."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from telemetry.analysis import Analysis
from telemetry.detectors import Detector, NotEvaluated
from telemetry.detectors.stall import NEAR_STALL, STALL
from telemetry.finding import Finding, Severity
from telemetry.records.motors import MotorStates, MotorTrace, MotorUse
from tests.telemetry.building import analysis_of, robot_of

SHEET = "free_speed_rpm = 5300\nfree_current_a = 1.8\nstall_current_a = 120\nstall_torque_nm = 2.4\n"
ROBOT = robot_of(f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\n{SHEET}')
NO_SHEET = robot_of('[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\n')
Intervals = Sequence[tuple[float, float]]
T_S = np.arange(5000) / 50.0


def _trace(source: str = "channel", *, command: float = 0.5) -> MotorTrace:
    """50 A throughout, hardly turning."""
    flat = np.full(len(T_S), 1.0)
    return MotorTrace(
        t_s=T_S,
        current_a=50 * flat,
        command=command * flat,
        speed_rad_s=3 * flat,
        speed_share=0.01 * flat,
        heat=np.nan * flat,
        applied_v=6 * flat,
        driven=flat > 0,
        speed_source=source,
    )


def _known(
    *,
    stall: Intervals = (),
    near: Intervals = (),
    peak_heat: float | None = None,
    source: str = "channel",
    **parts: Any,
) -> Analysis:
    states = MotorStates(np.array(stall).reshape(-1, 2), np.array(near).reshape(-1, 2), 0.1)
    use = MotorUse(50.0, 0.0, 0.0, peak_heat, None, None)
    told = {"motors": {"feed": _trace(source)}, "motor_states": {"feed": states}, "motor_use": {"feed": use}}
    return analysis_of(ROBOT, **{**told, **parts})


def _found(known: Analysis, detector: Detector = STALL) -> list[Finding]:
    judgement = detector.judge(known, "feed")
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def test_each_stall_is_a_finding_with_its_figures() -> None:
    first, second = _found(_known(stall=[(20.0, 20.4), (50.0, 50.3)]))
    assert (first.kind, first.subject, first.role) == ("stall", "feed", "motor")
    assert (first.start_s, first.end_s) == (20.0, 20.4)
    assert first.text == "Motor feed stood still for 0.40 s at 0:20.0 while driven, at 50 A."
    assert (first.evidence["median_current_a"], first.evidence["speed_from"]) == (50.0, "channel")
    assert first.evidence["winding_heat_j"] == pytest.approx(50**2 * 0.1 * 0.38)
    assert second.start_s == 50.0


def test_a_near_stall_is_a_finding_of_its_own_kind() -> None:
    known = _known(near=[(20.0, 21.0)])
    assert _found(known) == []
    (found,) = _found(known, NEAR_STALL)
    assert found.kind == "near_stall"
    assert found.text == "Motor feed hardly turned for 1.00 s at 0:20.0 while driven, at 50 A."


@pytest.mark.parametrize("detector", [STALL, NEAR_STALL])
def test_no_stall_is_clear(detector: Detector) -> None:
    assert _found(_known(), detector) == []


@pytest.mark.parametrize(("lasting_s", "severity"), [(0.49, Severity.WATCH), (0.5, Severity.FIX)])
def test_a_second_of_stalls_together_is_to_be_fixed(lasting_s: float, severity: Severity) -> None:
    found = _found(_known(stall=[(20.0, 20.5), (50.0, 50.0 + lasting_s)]))
    assert [finding.severity for finding in found] == [severity, severity]


@pytest.mark.parametrize(("lasting_s", "severity"), [(5.9, Severity.WATCH), (6.0, Severity.FIX)])
def test_six_seconds_of_near_stalls_are_to_be_fixed(lasting_s: float, severity: Severity) -> None:
    (found,) = _found(_known(near=[(20.0, 20.0 + lasting_s)]), NEAR_STALL)
    assert found.severity == severity


@pytest.mark.parametrize(
    ("peak_heat", "severity"), [(0.69, Severity.WATCH), (0.7, Severity.FIX), (None, "watch")]
)
def test_a_motor_that_gets_hot_is_to_be_fixed(peak_heat: float | None, severity: str) -> None:
    (found,) = _found(_known(stall=[(20.0, 20.3)], peak_heat=peak_heat))
    assert found.severity == severity


def test_a_speed_channel_and_length_make_it_surer() -> None:
    by_speed, by_current = (
        [finding.confidence for finding in _found(_known(stall=[(20, 20.3), (40, 42)], source=source))]
        for source in ("channel", "back-EMF")
    )
    assert by_current[0] < by_current[1] < by_speed[1] < 1
    assert by_current[0] < by_speed[0] < by_speed[1]


def test_a_stall_still_on_as_the_log_ends_says_so() -> None:
    closed, still_on = _found(_known(stall=[(20.0, 20.4), (99.0, 100.0)]))
    assert (closed.evidence["open_at_end"], still_on.evidence["open_at_end"]) == (False, True)


@pytest.mark.parametrize("detector", [STALL, NEAR_STALL])
@pytest.mark.parametrize(
    ("parts", "reason"),
    [
        ({"motors": {}}, "its current is not in the log"),
        ({"robot": NO_SHEET}, "its data-sheet numbers are not in the robot file"),
        ({"motor_states": {}}, "it was never driven"),
        ({"motor_states": {}, "motors": {"feed": _trace("none", command=np.nan)}},
         "neither its speed nor its command is logged"),
    ],
)  # fmt: skip
def test_what_cannot_be_judged_says_why(detector: Detector, parts: dict[str, Any], reason: str) -> None:
    robot = parts.get("robot", ROBOT)
    known = _known(**{key: part for key, part in parts.items() if key != "robot"})
    known = analysis_of(
        robot, motors=known.motors, motor_states=known.motor_states, motor_use=known.motor_use
    )
    assert detector.judge(known, "feed") == NotEvaluated(reason)

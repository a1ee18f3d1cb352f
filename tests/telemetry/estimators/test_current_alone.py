"""What a current alone says: a stall at full duty for sure, none below a bound, in between maybe."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from telemetry.detectors import NotEvaluated
from telemetry.detectors.stall import NEAR_STALL, STALL
from telemetry.estimators.motors import trace_motors
from telemetry.estimators.stalls import find_stalls
from telemetry.estimators.use import sum_up_use
from telemetry.finding import Finding
from telemetry.log import Channel, FloatArray
from telemetry.records.motors import MotorStates
from tests.telemetry.building import RATES_HZ, analysis_of, clock, held, match_of, robot_of
from tests.telemetry.logs import log_of, numbers

STALL_A = 120.0
SHEET = "free_speed_rpm = 5300\nfree_current_a = 1.8\nstall_current_a = 120\nstall_torque_nm = 2.4\n"
Levels = Mapping[tuple[float, float], float]


def _channels(levels: Levels, rate_hz: float, volts: float | None) -> list[Channel]:
    t_s = clock(20, rate_hz)
    channels = [held("feed_a", t_s, levels)]
    return channels if volts is None else [*channels, held("battery_v", t_s, {}, rest=volts)]


def _states(
    levels: Levels, *, rate_hz: float = 50.0, volts: float | None = 12.0, side: str = "winding"
) -> MotorStates:
    robot = robot_of(
        f'[motors.feed]\ncurrent = "feed_a"\ncurrent_side = "{side}"\n{SHEET}'
        '[supply]\nvoltage = "battery_v"\n'
    )
    log = log_of(*_channels(levels, rate_hz, volts))
    return find_stalls(robot, trace_motors(log, robot), log.span_s)["feed"]


@pytest.mark.parametrize("side", ["winding", "supply"])
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_nearly_the_stall_current_is_a_stall(rate_hz: float, side: str) -> None:
    states = _states({(5, 7): 0.95 * STALL_A}, rate_hz=rate_hz, side=side)
    assert states.stall == pytest.approx(np.array([[5.0, 7.0]]), abs=1 / rate_hz)
    assert (len(states.near_stall), states.unsure_a, states.told_by) == (0, None, "current alone")


@pytest.mark.parametrize("volts", [8.0, 10.0, 12.0])
def test_the_stall_current_goes_down_with_the_voltage(volts: float) -> None:
    assert len(_states({(5, 7): 0.95 * STALL_A * volts / 12}, volts=volts).stall) == 1


def test_without_a_voltage_that_of_a_battery_under_load_serves() -> None:
    assert len(_states({(5, 7): 0.9 * STALL_A}, volts=None).stall) == 1


def test_four_fifths_of_it_is_near_stall() -> None:
    states = _states({(5, 7): 0.8 * STALL_A})
    assert (len(states.stall), states.near_stall.tolist()) == (0, [[5.0, 7.0]])


def test_a_current_in_between_may_be_either() -> None:
    states = _states({(5, 7): 0.4 * STALL_A, (10, 12): 0.3 * STALL_A})
    assert (len(states.stall), len(states.near_stall), states.unsure_a) == (0, 0, pytest.approx(48.0))


@pytest.mark.parametrize(("side", "share"), [("winding", 0.1), ("supply", 0.02)])
def test_a_current_that_no_stall_under_drive_could_be_so_small_is_clear(side: str, share: float) -> None:
    states = _states({(5, 15): share * STALL_A}, side=side)
    assert (len(states.stall), len(states.near_stall), states.unsure_a) == (0, 0, None)


def test_a_peak_is_no_stall() -> None:
    states = _states({(5, 5.2): 0.98 * STALL_A})
    assert (len(states.stall), len(states.near_stall)) == (0, 0)


@pytest.mark.parametrize("time_constant_s", [0.3, 1.0, 3.0])
def test_a_slow_start_dies_away_and_is_no_stall(time_constant_s: float) -> None:
    t_s = clock(20)
    current_a: FloatArray = np.where(t_s >= 5, STALL_A * np.exp(-(t_s - 5) / time_constant_s), 0.0)
    robot = robot_of(f'[motors.feed]\ncurrent = "feed_a"\n{SHEET}[supply]\nvoltage = "battery_v"\n')
    log = log_of(numbers("feed_a", current_a.tolist(), t_s.tolist()), held("battery_v", t_s, {}, rest=12.0))
    states = find_stalls(robot, trace_motors(log, robot), log.span_s)["feed"]
    assert (len(states.stall), len(states.near_stall)) == (0, 0)


@pytest.mark.parametrize("detector", [STALL, NEAR_STALL])
def test_what_may_be_either_is_not_judged_and_says_how_much_it_was(detector: object) -> None:
    assert isinstance(_judged(0.4, detector), NotEvaluated)
    assert "up to 48 A that lasted" in _judged(0.4, detector).reason  # type: ignore[union-attr]
    assert _judged(0.1, detector) == []


def test_a_stall_by_current_says_what_told_it_and_is_the_less_sure() -> None:
    judgement = _judged(0.95, STALL)
    assert isinstance(judgement, list)
    (found,) = judgement
    assert isinstance(found, Finding)
    assert found.evidence["speed_from"] == "current alone"
    assert found.confidence < 0.8


def _judged(share: float, detector: object) -> object:
    robot = robot_of(f'[motors.feed]\ncurrent = "feed_a"\n{SHEET}[supply]\nvoltage = "battery_v"\n')
    log = log_of(*_channels({(5, 7): share * STALL_A}, 50.0, 12.0))
    motors = trace_motors(log, robot)
    states = find_stalls(robot, motors, log.span_s)
    use = sum_up_use(robot, motors, states, match_of())
    known = analysis_of(robot, log, motors=motors, motor_states=states, motor_use=use)
    return detector.judge(known, "feed")  # type: ignore[attr-defined]

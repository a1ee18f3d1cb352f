"""The functional test in the pit: seen, not seen, wrong."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.log import Channel
from telemetry.precheck import passed, precheck
from tests.telemetry.building import clock, held, robot_of, sampled_switch
from tests.telemetry.logs import log_of, numbers

T_S = clock(60.0)
BEAM = robot_of("[beams.entry]\nsignal = 'entry'")
LIMIT = robot_of("[limits.low]\nsignal = 'low'\nmotor = 'arm'\nstops = 'negative'\n[motors.arm]\n"
                 "current = 'arm_a'\ncommand = 'arm_duty'")  # fmt: skip
MOTOR = robot_of("[motors.arm]\ncurrent = 'arm_a'\ncommand = 'arm_duty'\nspeed = 'arm_rpm'\n"
                 "nominal_v = 12\nfree_speed_rpm = 5000\nfree_current_a = 1.5\nstall_current_a = 100\n"
                 "stall_torque_nm = 2")  # fmt: skip
BATTERY = robot_of("[supply]\nvoltage = 'battery_v'\n[motors.arm]\ncurrent = 'arm_a'\ncommand = 'arm_duty'")


def _state(robot, *channels: Channel) -> dict[str, str]:  # type: ignore[no-untyped-def]
    return {item.subject: item.state for item in precheck(log_of(*channels), robot)}


@pytest.mark.parametrize(
    ("on", "state"),
    [
        ([(10, 11), (20, 21)], "seen"),
        ([(10, 100)], "not seen"),
        ([], "not seen"),
        ([(10 + 0.02 * k, 10.01 + 0.02 * k) for k in range(30)], "wrong"),
    ],
    ids=["toggled both ways", "never came back", "never moved", "chattered"],
)
def test_a_beam(on: list[tuple[float, float]], state: str) -> None:
    t_s = clock(60.0, 200.0)
    assert _state(BEAM, sampled_switch("entry", t_s, on)) == {"entry": state}


def test_a_beam_that_is_not_logged_is_not_seen() -> None:
    assert _state(BEAM, numbers("other", [0.0, 1.0])) == {"entry": "not seen"}


@pytest.mark.parametrize(("until_s", "state"), [(10.2, "seen"), (12.0, "wrong")])
def test_a_limit_must_stop_its_motor(until_s: float, state: str) -> None:
    low = sampled_switch("low", T_S, [(10, 15)])
    duty = held("arm_duty", T_S, {(8, until_s): -0.5, (20, 22): 0.5})
    found = _state(LIMIT, low, duty, held("arm_a", T_S, {(8, until_s): 5.0, (20, 22): 5.0}))
    assert found["low"] == state


def _motor(*, forward_a: float = 4.0, back_a: float = 4.0, rpm: float = 2400.0, back: bool = True):  # type: ignore[no-untyped-def]
    duties = {(5.0, 8.0): 0.5} | ({(10.0, 13.0): -0.5} if back else {})
    amps = {(5.0, 8.0): forward_a, (10.0, 13.0): back_a if back else 0.0}
    speeds = {(5.0, 8.0): rpm, (10.0, 13.0): -rpm}
    return _state(
        MOTOR, held("arm_duty", T_S, duties), held("arm_a", T_S, amps), held("arm_rpm", T_S, speeds)
    )["arm"]


def test_a_motor_that_drew_and_turned_both_ways_is_seen() -> None:
    assert _motor() == "seen"


def test_a_motor_driven_one_way_only_is_not_seen() -> None:
    assert _motor(back=False) == "not seen"


def test_a_motor_that_draws_nothing_is_wrong() -> None:
    assert _motor(forward_a=0.0) == "wrong"


def test_a_motor_that_hardly_turns_is_wrong() -> None:
    assert _motor(forward_a=45.0, back_a=45.0, rpm=20.0) == "wrong"


def test_a_motor_that_turns_against_its_command_is_wrong() -> None:
    assert _motor(rpm=-2400.0) == "wrong"


def test_a_speed_without_signs_tells_no_direction() -> None:
    duties, both = {(5.0, 8.0): 0.5, (10.0, 13.0): -0.5}, [(5.0, 8.0), (10.0, 13.0)]
    speed, amps = dict.fromkeys(both, 2400.0), dict.fromkeys(both, 4.0)
    logged = held("arm_duty", T_S, duties), held("arm_a", T_S, amps), held("arm_rpm", T_S, speed)
    assert _state(MOTOR, *logged)["arm"] == "seen"


@pytest.mark.parametrize(("volts", "state"), [(12.8, "seen"), (12.0, "wrong"), (10.5, "wrong")])
def test_the_battery_at_rest(volts: float, state: str) -> None:
    rest = held("arm_a", T_S, {(5, 8): 40.0})
    drop = held("battery_v", T_S, {(5, 8): 8.0}, rest=volts)
    found = _state(BATTERY, drop, rest, held("arm_duty", T_S, {(5, 8): 0.9}))
    assert found["battery"] == state


def test_an_accelerometer_that_reads_one_value_is_dead() -> None:
    robot = robot_of("[contact]\naccelerometer = ['ax', 'ay']")
    noise = np.random.default_rng(1).normal(0, 0.02, len(T_S))
    found = _state(
        robot, numbers("ax", [0.0] * len(T_S), T_S.tolist()), numbers("ay", noise.tolist(), T_S.tolist())
    )
    assert found == {"ax": "wrong", "ay": "seen"}


def test_a_checklist_without_a_line_is_no_pass() -> None:
    assert not passed(precheck(log_of(numbers("x", [0.0, 1.0])), robot_of("")))

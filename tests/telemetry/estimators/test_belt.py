"""Which motor carries the pieces, and which way, told by the beams."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from telemetry.estimators.belt import EITHER_WAY, belt_direction, running_clocks
from telemetry.estimators.motors import trace_motors
from telemetry.records.motors import MotorTrace
from tests.telemetry.building import clock, held, passing, robot_of, switching
from tests.telemetry.logs import log_of, numbers

ROBOT = robot_of(
    '[motors.belt]\ncurrent = "belt_a"\ncommand = "belt_duty"\n'
    '[motors.drive]\ncurrent = "drive_a"\ncommand = "drive_duty"\n'
)
NONE_S = np.empty(0)
PASSES_S = (5.2, 10.2, 15.2, 20.2, 25.2)


def _motors(sign: float = 1.0) -> Mapping[str, MotorTrace]:
    """A belt that runs a second around each pass, once backwards, and a drive that always runs."""
    t_s = clock(60)
    runs = {(at - 0.4, at + 0.6): 0.5 * sign for at in PASSES_S} | {(40.0, 41.0): -0.5 * sign}
    return trace_motors(
        log_of(
            held("belt_duty", t_s, runs),
            numbers("belt_a", [5.0] * len(t_s), t_s.tolist()),
            held("drive_duty", t_s, {(1.0, 59.0): 0.8}),
            numbers("drive_a", [5.0] * len(t_s), t_s.tolist()),
        ),
        ROBOT,
    )


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_motor_that_runs_as_pieces_pass_is_the_belt_and_that_way_is_forward(sign: float) -> None:
    belt = belt_direction(_motors(sign), {"entry": switching(passing(PASSES_S), 60.0)}, NONE_S)
    assert belt is not None
    at_s, direction = belt
    asked_s = np.array([2.0, 5.3, 7.0, 20.3, 40.5, 50.0])
    held_on = direction[np.searchsorted(at_s, asked_s, side="right") - 1]
    assert held_on.tolist() == [0, 1, 0, 1, -1, 0]


def test_the_belt_also_runs_as_pieces_leave_unlike_an_intake_that_runs_only_as_they_come_in() -> None:
    t_s = clock(60)
    intake = {(at - 0.3, at + 0.4): 0.5 for at in PASSES_S}
    belt = intake | {(at + 2.0, at + 3.0): 0.5 for at in PASSES_S}
    motors = trace_motors(
        log_of(
            held("belt_duty", t_s, belt),
            numbers("belt_a", [5.0] * len(t_s), t_s.tolist()),
            held("drive_duty", t_s, intake),
            numbers("drive_a", [5.0] * len(t_s), t_s.tolist()),
        ),
        ROBOT,
    )
    beams = {"entry": switching(passing(PASSES_S), 60.0)}
    told = belt_direction(motors, beams, np.array(PASSES_S) + 2.5)
    assert told is not None
    at_s, direction = told
    assert direction[np.searchsorted(at_s, PASSES_S[0] + 2.5, side="right") - 1] == 1


@pytest.mark.parametrize(
    ("releases_s", "second"),
    [
        pytest.param([], EITHER_WAY, id="way not known"),
        pytest.param([20.35], 1, id="forward as a piece is launched"),
    ],
)
def test_without_a_command_its_speed_tells_that_the_belt_runs(releases_s: list[float], second: float) -> None:
    t_s = clock(60)
    runs = {(at - 0.3, at + 0.4): 2000.0 for at in PASSES_S}
    motors = trace_motors(
        log_of(held("belt_rpm", t_s, runs), numbers("belt_a", [5.0] * len(t_s), t_s.tolist())),
        robot_of(
            '[motors.belt]\ncurrent = "belt_a"\nspeed = "belt_rpm"\nnominal_v = 12\nfree_speed_rpm = 5300\n'
            "free_current_a = 1.8\nstall_current_a = 130\nstall_torque_nm = 2.4\n"
        ),
    )
    belt = belt_direction(motors, {"entry": switching(passing(PASSES_S), 60.0)}, np.array(releases_s))
    assert belt is not None
    at_s, direction = belt
    asked_s = np.array([2.0, 5.3, 7.0, 20.3, 50.0])
    held_on = direction[np.searchsorted(at_s, asked_s, side="right") - 1]
    assert held_on.tolist() == [0, EITHER_WAY, 0, second, 0]


def test_few_passes_tell_nothing() -> None:
    assert belt_direction(_motors(), {"entry": switching(passing(PASSES_S[:2]), 60.0)}, NONE_S) is None
    assert belt_direction(_motors(), {}, NONE_S) is None
    assert belt_direction({}, {"entry": switching(passing(PASSES_S), 60.0)}, NONE_S) is None


def test_no_motor_stands_out_where_pieces_pass_at_any_time() -> None:
    anywhere = passing(np.arange(1.0, 59.0, 1.7).tolist())
    assert belt_direction(_motors(), {"entry": switching(anywhere, 60.0)}, NONE_S) is None


def test_clocks_of_the_belt_run_with_the_launcher_at_rest_or_up() -> None:
    belt = np.array([0.0, 2.0, 6.0, 8.0]), np.array([0.0, 1.0, -1.0, 1.0])
    launcher = np.array([0.0, 4.0, 9.0]), np.array([0.0, 1.0, 0.0])
    at_rest, up = running_clocks(belt, launcher, np.array([1.0, 3.0, 5.0, 7.0, 8.5, 10.0]))
    assert at_rest.tolist() == [0, 1, 2, 2, 2, 3]
    assert up.tolist() == [0, 0, 1, 2, 2.5, 3]


def test_a_belt_may_have_begun_to_run_since_the_reading_before() -> None:
    belt = belt_direction(_motors(), {"entry": switching(passing(PASSES_S), 60.0)}, NONE_S)
    assert belt is not None
    began_s = belt[0][belt[1] == 1]
    assert began_s[0] == pytest.approx(PASSES_S[0] - 0.4 - 0.02)

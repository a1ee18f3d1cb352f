"""Lost current where no data sheet tells the free speed: speed is held against the motor's own best."""

from __future__ import annotations

import numpy as np

from telemetry.estimators.interruptions import find_interruptions
from telemetry.estimators.motors import trace_motors
from telemetry.match import Match, Phase
from telemetry.records.motors import Interruption
from tests.telemetry.building import clock, log_of, numbers, robot_of

LENGTH_S = 30.0
T_S = clock(LENGTH_S)
MATCH = Match("m", 0.0, LENGTH_S, (0.0, LENGTH_S), (Phase("teleop", 0.0, LENGTH_S),), "whole log")
ROBOT = robot_of(
    '[motors.left]\ncurrent = "left_a"\ncommand = "left_duty"\nspeed = "left_rpm"\n'
    '[supply]\nvoltage = "battery_v"\n'
)


def _found(rpm_without_current: float) -> tuple[Interruption, ...]:
    """Driven at half duty, 5 A and 2500 rpm; from 10 to 12 s no current, at the speed given."""
    without = (T_S >= 10) & (T_S < 12)
    log = log_of(
        numbers("left_a", np.where(without, 0.0, 5.0), T_S),
        numbers("left_duty", np.full(len(T_S), 0.5), T_S),
        numbers("left_rpm", np.where(without, rpm_without_current, 2500.0), T_S),
        numbers("battery_v", np.full(len(T_S), 12.0), T_S),
    )
    return find_interruptions(ROBOT, trace_motors(log, ROBOT), MATCH, LENGTH_S)["left"]


def test_a_motor_that_keeps_its_speed_without_current_coasts() -> None:
    assert _found(2500.0) == ()
    assert _found(1300.0) == ()


def test_a_motor_that_slows_below_half_its_best_has_lost_its_current() -> None:
    (found,) = _found(1200.0)
    assert (found.start_s, round(found.end_s, 1)) == (10.0, 12.0)

"""Lost current: without a data sheet, beside a partner on the shaft, and under an assumed voltage."""

from __future__ import annotations

import numpy as np
import pytest

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


SHEET = "free_speed_rpm = 5300\nfree_current_a = 2\nstall_current_a = 120\n"


def _beside(partner_a: float, *, lost_at_once: bool) -> int:
    """How many are found where a current dies away, or goes at once, for 2 s while the duty rises."""
    quiet = (T_S >= 10) & (T_S < 12)
    fading = np.where(lost_at_once, 30.0, np.maximum(0.0, 30.0 * (10 - T_S) / 3))
    own_a = np.where(quiet, 0.0, np.where((T_S > 7) & (T_S < 10), fading, 30.0))
    duty = np.where(quiet, 0.5 + 0.15 * (T_S - 10), 0.5)
    robot = robot_of(
        f'[motors.a]\ncurrent = "a_a"\ncommand = "duty"\nmechanism = "belt"\n{SHEET}'
        f'[motors.b]\ncurrent = "b_a"\ncommand = "b_duty"\nmechanism = "belt"\n{SHEET}'
        '[supply]\nvoltage = "battery_v"\n'
    )
    log = log_of(
        numbers("a_a", own_a, T_S),
        numbers("duty", duty, T_S),
        numbers("b_a", np.full(len(T_S), partner_a), T_S),
        numbers("b_duty", np.full(len(T_S), 0.6 if partner_a else 0.0), T_S),
        numbers("battery_v", np.full(len(T_S), 12.0), T_S),
    )
    return len(find_interruptions(robot, trace_motors(log, robot), MATCH, LENGTH_S)["a"])


def test_a_motor_turned_by_its_partner_may_draw_nothing_under_a_rising_duty() -> None:
    assert (_beside(0.0, lost_at_once=False), _beside(40.0, lost_at_once=False)) == (1, 0)


def test_a_load_that_goes_at_once_is_lost_with_a_partner_or_without() -> None:
    assert (_beside(0.0, lost_at_once=True), _beside(40.0, lost_at_once=True)) == (1, 1)


def test_an_assumed_voltage_leaves_room_before_a_fast_motor_counts_as_dead() -> None:
    """At 0.93 of the free speed, for 2 s without current: dead at a logged voltage, perhaps not otherwise."""
    quiet = (T_S >= 10) & (T_S < 12)
    channels = [
        numbers("a_a", np.where(quiet, 0.0, 30.0), T_S),
        numbers("duty", np.full(len(T_S), 0.5), T_S),
        numbers("a_rpm", np.where(quiet, 0.95 * 2560, 1300.0), T_S),
    ]
    text = f'[motors.a]\ncurrent = "a_a"\ncommand = "duty"\nspeed = "a_rpm"\n{SHEET}'
    assumed, logged = robot_of(text), robot_of(text + '[supply]\nvoltage = "battery_v"\n')
    battery = numbers("battery_v", np.full(len(T_S), 12.0), T_S)
    found = [
        len(find_interruptions(robot, trace_motors(log_of(*parts), robot), MATCH, LENGTH_S)["a"])
        for robot, parts in ((logged, [*channels, battery]), (assumed, channels))
    ]
    assert found == [1, 0]


def _turned_along(partner_a: float, between_a: float = 4.0) -> list[tuple[float, float]]:
    """4 A at 0.97 of the free speed; from 10 to 12 and from 13 to 15 s none, at 0.95 of it."""
    quiet = ((T_S >= 10) & (T_S < 12)) | ((T_S >= 13) & (T_S < 15))
    between = (T_S >= 12) & (T_S < 13)
    robot = robot_of(
        f'[motors.a]\ncurrent = "a_a"\ncommand = "duty"\nspeed = "rpm"\nmechanism = "belt"\n{SHEET}'
        f'[motors.b]\ncurrent = "b_a"\ncommand = "duty"\nspeed = "rpm"\nmechanism = "belt"\n{SHEET}'
        '[supply]\nvoltage = "battery_v"\n'
    )
    log = log_of(
        numbers("a_a", np.where(quiet, 0.0, np.where(between, between_a, 4.0)), T_S),
        numbers("b_a", np.where(quiet, partner_a, np.where(between, between_a, 4.0)), T_S),
        numbers("duty", np.full(len(T_S), 0.5), T_S),
        numbers("rpm", np.where(quiet, 2470.0, np.where(between, 2605.0, 2520.0)), T_S),
        numbers("battery_v", np.full(len(T_S), 12.0), T_S),
    )
    found = find_interruptions(robot, trace_motors(log, robot), MATCH, LENGTH_S)["a"]
    return [(one.start_s, round(one.end_s, 1)) for one in found]


def test_a_motor_turned_along_near_its_free_speed_is_dead_where_its_partner_bears_the_load() -> None:
    assert _turned_along(5.0) == [(10.0, 12.0), (13.0, 15.0)]
    assert _turned_along(3.0) == []


def test_its_free_current_alone_shows_that_it_was_connected_in_between() -> None:
    assert _turned_along(5.0, between_a=2.0) == [(10.0, 12.0), (13.0, 15.0)]
    assert _turned_along(5.0, between_a=0.4) == [(10.0, 15.0)]


def test_a_start_cut_off_far_below_its_speed_has_lost_its_current() -> None:
    """Under a duty that grows from 0.5 to 1 a motor comes to 0.4 of what 1 asks, then draws nothing."""
    duty = np.interp(T_S, [9, 10, 10.05], [0.5, 0.8, 1.0]) * ((T_S >= 9) & (T_S < 13))
    without = T_S >= 10.06
    drawn_a = np.where(without | (T_S < 9), 0.0, np.maximum((duty - 0.4) * 12.0 / 0.1, 6.0))
    log = log_of(
        numbers("left_a", drawn_a, T_S),
        numbers("left_duty", duty, T_S),
        numbers("battery_v", np.full(len(T_S), 12.0), T_S),
    )
    bare = robot_of(
        f'[motors.left]\ncurrent = "left_a"\ncommand = "left_duty"\n{SHEET}[supply]\nvoltage = "battery_v"\n'
    )
    found = find_interruptions(bare, trace_motors(log, bare), MATCH, LENGTH_S)["left"]
    assert [(one.start_s, one.while_driven) for one in found] == [(pytest.approx(10.06), True)]


@pytest.mark.parametrize(("fades_s", "found"), [(0.0, 1), (0.3, 0)])
def test_a_load_that_fades_while_a_partner_bears_on_is_a_lower_duty_and_no_lead(
    fades_s: float, found: int
) -> None:
    """Both under one command, 30 and 40 A; from 10 to 12 s the one draws nothing."""
    level = np.where(T_S < 10, np.clip((10 - T_S) / max(fades_s, 1e-3), 0.0, 1.0), T_S >= 12)
    robot = robot_of(
        f'[motors.a]\ncurrent = "a_a"\ncommand = "duty"\nmechanism = "belt"\n{SHEET}'
        f'[motors.b]\ncurrent = "b_a"\ncommand = "duty"\nmechanism = "belt"\n{SHEET}'
        '[supply]\nvoltage = "battery_v"\n'
    )
    log = log_of(
        numbers("a_a", 30.0 * level, T_S),
        numbers("b_a", np.full(len(T_S), 40.0), T_S),
        numbers("duty", np.full(len(T_S), 0.6), T_S),
        numbers("battery_v", np.full(len(T_S), 12.0), T_S),
    )
    assert len(find_interruptions(robot, trace_motors(log, robot), MATCH, LENGTH_S)["a"]) == found


@pytest.mark.parametrize(("total_a", "found"), [(5.0, 1), (150.0, 0)])
def test_a_battery_that_is_assumed_and_loaded_leaves_the_more_room(total_a: float, found: int) -> None:
    """At 0.7 of the free speed at 12 V for 2 s without current: dead, or coasting on a battery far down."""
    quiet = (T_S >= 10) & (T_S < 12)
    robot = robot_of(
        '[motors.a]\ncurrent = "a_a"\ncommand = "duty"\nspeed = "a_rpm"\n'
        f'{SHEET}[supply]\ncurrent = "total_a"\n'
    )
    log = log_of(
        numbers("a_a", np.where(quiet, 0.0, 60.0), T_S),
        numbers("duty", np.ones(len(T_S)), T_S),
        numbers("a_rpm", np.where(quiet, 0.7 * 5300, 0.45 * 5300), T_S),
        numbers("total_a", np.where(quiet, total_a, 5.0), T_S),
    )
    assert len(find_interruptions(robot, trace_motors(log, robot), MATCH, LENGTH_S)["a"]) == found

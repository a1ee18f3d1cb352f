"""What a motor should draw by its partner: learned from when it does, and silent where nothing tells."""

from __future__ import annotations

import numpy as np

from telemetry.estimators.motors import trace_motors
from telemetry.estimators.partners import due_a
from telemetry.log import FloatArray
from tests.telemetry.building import clock, log_of, numbers, robot_of

LENGTH_S = 20.0
T_S = clock(LENGTH_S)
LOST = T_S >= 10
SHEET = "free_speed_rpm = 5300\nfree_current_a = 2\n"
ROBOT = robot_of(
    f'[motors.a]\ncurrent = "a_a"\ncommand = "a_duty"\nmechanism = "belt"\nstall_current_a = 100\n{SHEET}'
    f'[motors.b]\ncurrent = "b_a"\ncommand = "b_duty"\nmechanism = "belt"\nstall_current_a = 200\n{SHEET}'
)


def _due(own_a: FloatArray, partner_a: FloatArray, *, partner_duty: float = 0.5) -> FloatArray:
    """By a partner with twice the stall current."""
    traces = trace_motors(
        log_of(
            numbers("a_a", own_a, T_S),
            numbers("a_duty", np.full(len(T_S), 0.5), T_S),
            numbers("b_a", partner_a, T_S),
            numbers("b_duty", np.full(len(T_S), partner_duty), T_S),
        ),
        ROBOT,
    )
    return due_a(traces["a"], ROBOT.motors["a"], [(traces["b"], ROBOT.motors["b"])], own_a > 1)


def test_it_follows_the_partner_in_proportion_to_their_stall_currents_less_their_usual_difference() -> None:
    own_a, partner_a = np.where(LOST, 0.0, 10.0), np.where(LOST, 60.0, 30.0)
    np.testing.assert_allclose(_due(own_a, partner_a)[LOST], 60 / 2 - (30 / 2 - 10))


def test_less_is_due_where_the_two_seldom_go_together() -> None:
    strays = np.where(np.arange(len(T_S)) % 2, 4.0, -4.0)
    own_a, partner_a = np.where(LOST, 0.0, 15.0 + strays), np.where(LOST, 60.0, 30.0)
    np.testing.assert_allclose(_due(own_a, partner_a)[LOST], 30 - 3 * 4)


def test_nothing_is_due_under_another_duty_or_where_it_was_hardly_seen_to_draw() -> None:
    partner_a = np.full(len(T_S), 60.0)
    assert np.isnan(_due(np.where(LOST, 0.0, 30.0), partner_a, partner_duty=0.56)).all()
    assert np.isfinite(_due(np.where(LOST, 0.0, 30.0), partner_a, partner_duty=0.54)).all()
    assert np.isnan(_due(np.where(T_S < 1.9, 30.0, 0.0), partner_a)).all()
    assert np.isfinite(_due(np.where(T_S < 2.1, 30.0, 0.0), partner_a)).all()

"""The current limit that would have protected a motor, replayed on its own log."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.protection import propose_limits, replay_limit
from telemetry.log import FloatArray
from telemetry.records.motors import MotorStates, MotorTrace
from tests.telemetry.building import clock, inside, robot_of

ROBOT = robot_of("[motors.feed]\nfree_speed_rpm = 5300\nfree_current_a = 2\nstall_current_a = 120\n")
OHM = 0.1


def _trace(t_s: FloatArray, current_a: FloatArray) -> MotorTrace:
    flat = np.ones(len(t_s))
    return MotorTrace(t_s, current_a, flat, flat, flat, flat, 12 * flat, flat > 0, "channel")


def _starts_and_stalls(inrush_s: float = 0.2, rate_hz: float = 50.0) -> tuple[MotorTrace, np.ndarray]:
    """A start every 5 s draws 80 A for a moment; held at 60 A from 12 and from 22 s for 1.5 s."""
    t_s = clock(40, rate_hz)
    stalls = np.array([[12.0, 13.5], [22.0, 23.5]])
    current_a = np.where((t_s + 1) % 5 < inrush_s, 80.0, 8.0)
    current_a = np.where(inside(t_s, [(12.0, 13.5), (22.0, 23.5)]), 60.0, current_a)
    return _trace(t_s, current_a), stalls


def _proposed(trace: MotorTrace, stalls: np.ndarray):
    states = {"feed": MotorStates(stalls, np.empty((0, 2)), 0.1)}
    return propose_limits(ROBOT, {"feed": trace}, states).get("feed")


@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
def test_it_stops_every_stall_and_no_healthy_start(rate_hz: float) -> None:
    trace, stalls = _starts_and_stalls(rate_hz=rate_hz)
    found = _proposed(trace, stalls)
    assert (found.tripped, found.stalls) == (2, 2)
    assert 8 < found.limit_a < 60
    assert 0.2 < found.after_s < 1.0
    assert replay_limit(trace, stalls, limit_a=found.limit_a, after_s=found.after_s, resistance_ohm=OHM)[
        :2
    ] == (2, 0)


def test_what_it_saves_is_the_heat_from_then_on() -> None:
    trace, stalls = _starts_and_stalls()
    found = _proposed(trace, stalls)
    left_s = 3.0 - 2 * found.after_s
    assert found.saved_j == pytest.approx(60**2 * OHM * left_s, rel=0.02)


def test_a_limit_that_healthy_work_would_trip_is_not_proposed() -> None:
    """Every start draws more, and for longer, than the motor does when held."""
    trace, stalls = _starts_and_stalls(inrush_s=2.5)
    assert _proposed(trace, stalls) is None
    assert replay_limit(trace, stalls, limit_a=30, after_s=0.3, resistance_ohm=OHM)[1] > 0


def test_a_motor_that_never_stood_needs_none() -> None:
    trace, _ = _starts_and_stalls()
    assert _proposed(trace, np.empty((0, 2))) is None

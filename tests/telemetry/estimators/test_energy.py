"""Energy by phase, motor and mechanism."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.energy import by_mechanism_wh, by_phase, running_integral
from telemetry.match import Match, Phase
from tests.telemetry.building import clock, robot_of

PHASES = (
    Phase("disabled", 0, 5),
    Phase("autonomous", 5, 20),
    Phase("teleop", 20, 50),
    Phase("disabled", 50, 60),
)
MATCH = Match("m", 5.0, 50.0, (0.0, 60.0), PHASES, "channel")


@pytest.mark.parametrize("rate_hz", [10.0, 50.0])
def test_phases_share_out_the_whole(rate_hz: float) -> None:
    t_s = clock(60, rate_hz)
    running = running_integral(t_s, np.where(t_s < 20, 30.0, 90.0))
    found = by_phase(MATCH, t_s, running)
    assert list(found) == ["disabled", "autonomous", "teleop"]
    assert sum(found.values()) == pytest.approx(running[-1])
    assert found["autonomous"] == pytest.approx(450, rel=0.02)
    assert found["teleop"] == pytest.approx(2700, rel=0.02)


def test_gaps_and_unknown_values_add_nothing() -> None:
    t_s = np.array([0.0, 0.1, 0.2, 5.0, 5.1, 5.2])
    assert running_integral(t_s, np.full(6, 10.0))[-1] == pytest.approx(4.0)
    assert running_integral(t_s[:3], np.array([10.0, np.nan, 10.0]))[-1] == 0.0


def test_a_mechanisms_motors_count_together_and_an_unknown_part_spoils_it() -> None:
    lift = "".join(f'[motors.{name}]\nmechanism = "lift"\n' for name in "ab")
    robot = robot_of(lift + '[motors.c]\n[motors.d]\nmechanism = "arm"\n')
    assert by_mechanism_wh(robot, {"a": 1.5, "b": 2.0, "c": 0.5, "d": None}) == {"lift": 3.5, "c": 0.5}

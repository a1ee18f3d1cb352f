"""The motor that runs whenever a sensor misbehaves."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.analysis import Analysis
from telemetry.estimators.companions import motor_beside
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Burst
from tests.telemetry.building import analysis_of, clock, inside, robot_of

ROBOT = robot_of('[motors.feed]\n[motors.left]\n[contact]\ndrive = ["left"]\n')
RUNS = [(10.0, 20.0), (40.0, 50.0)]


def _motor(driven: list[tuple[float, float]]) -> MotorTrace:
    t_s = clock(100.0, 50.0)
    nan = np.full(len(t_s), np.nan)
    return MotorTrace(t_s, nan, nan, nan, nan, nan, nan, inside(t_s, driven), "none")


def _known(**motors: list[tuple[float, float]]) -> Analysis:
    return analysis_of(ROBOT, motors={name: _motor(driven) for name, driven in motors.items()})


def _bursts(*at_s: float) -> list[Burst]:
    return [Burst(at, at + 0.5, 8, 0.01, 0.02) for at in at_s]


def test_the_motor_that_runs_in_every_burst() -> None:
    assert motor_beside(_known(feed=RUNS), _bursts(12, 15, 44)) == ("feed", 3)


@pytest.mark.parametrize(("at_s", "named"), [((12, 15, 44, 46, 70), True), ((12, 15, 44, 60, 70), False)])
def test_four_of_five_bursts_are_enough(at_s: tuple[float, ...], named: bool) -> None:
    assert (motor_beside(_known(feed=RUNS), _bursts(*at_s)) is not None) == named


def test_two_bursts_tell_nothing() -> None:
    assert motor_beside(_known(feed=RUNS), _bursts(12, 44)) is None


def test_what_runs_all_the_time_goes_with_everything() -> None:
    assert motor_beside(_known(feed=[(0.0, 90.0)]), _bursts(12, 15, 44)) is None


def test_a_mechanism_comes_before_the_drive() -> None:
    assert motor_beside(_known(left=RUNS, feed=[(5.0, 55.0)]), _bursts(12, 15, 44)) == ("feed", 3)

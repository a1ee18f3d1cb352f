"""What makes a jolt a hit: ten readings a second apart in what they show, both sides of each limit."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.analysis import Contact
from telemetry.estimators.drive_hits import Driven, is_hit
from telemetry.log import FloatArray

STEP_S, JOLT_S = 0.02, 2.0
T_S = np.arange(0.0, 4.0, STEP_S)


def _driven(
    left: FloatArray, right: FloatArray, *, current_a: float = 20.0, heavy: bool = False, steady: bool = True
) -> Driven:
    return Driven(
        t_s=T_S,
        unexplained=np.stack((left, right)),
        current_a=np.full((2, len(T_S)), current_a),
        steady=np.full(len(T_S), steady),
        heavy=np.full(len(T_S), heavy),
    )


def _ramp(to: float, lasting_s: float = 0.1) -> FloatArray:
    """What a side's speed lost or won in a jolt that begins at two seconds."""
    return np.interp(T_S, [JOLT_S, JOLT_S + lasting_s], [0.0, to])


def _jolt(lasting_s: float = 0.1) -> Contact:
    return Contact(JOLT_S, None, lasting_s, "drive current")


def test_a_robot_that_is_slower_afterwards_was_hit() -> None:
    assert is_hit(_driven(_ramp(-0.1), _ramp(-0.1)), _jolt())


@pytest.mark.parametrize(("left", "hit"), [(0.6, True), (0.4, False)])
def test_something_must_be_left_of_it(left: float, hit: bool) -> None:
    gone = 0.1 * np.interp(T_S, [2.0, 2.1, 2.15, 2.3], [0.0, 1.0, 1.0, left])
    assert is_hit(_driven(gone, gone), _jolt()) is hit


@pytest.mark.parametrize(
    ("lasting_s", "change", "hit"), [(0.2, 0.1, True), (0.3, 0.1, False), (0.3, 0.4, True)]
)
def test_a_hard_hit_may_last_longer(lasting_s: float, change: float, hit: bool) -> None:
    """0.2 s, and 0.45 s more for a change as large as the free speed, while the tyres take it up."""
    assert is_hit(_driven(_ramp(-change, lasting_s), _ramp(-change, lasting_s)), _jolt(lasting_s)) is hit


@pytest.mark.parametrize(("before", "hit"), [(0.04, True), (0.08, False)])
def test_it_comes_out_of_the_calm(before: float, hit: bool) -> None:
    """Wheels that slip against a wall wander long before anything jolts them."""
    wandering = _ramp(-0.1) - np.interp(T_S, [1.7, 1.9, 1.91], [0.0, before, 0.0])
    assert is_hit(_driven(wandering, wandering), _jolt()) is hit


@pytest.mark.parametrize(
    ("current_a", "alike", "left", "hit"),
    [
        (-60.0, False, 0.6, True),
        (60.0, False, 0.8, False),
        (60.0, False, 0.9, True),
        (60.0, True, 0.65, False),
        (60.0, True, 0.75, True),
    ],
)
def test_wheels_run_ahead_with_a_heavy_current(current_a: float, alike: bool, left: float, hit: bool) -> None:
    """With the current more must be left than against it; less of it where both sides changed alike."""
    ahead = 0.1 * np.interp(T_S, [2.0, 2.1, 2.15, 2.3], [0.0, 1.0, 1.0, left])
    other = ahead if alike else 0.2 * ahead
    assert is_hit(_driven(ahead, other, current_a=current_a, heavy=True), _jolt()) is hit


@pytest.mark.parametrize(("away", "hit"), [(0.1, False), (0.07, False), (0.05, True)])
def test_wheels_that_grip_again_after_half_a_second_were_not_hit(away: float, hit: bool) -> None:
    """They are then within four tenths of the jolt from where they had been before they slipped."""
    slipping = np.interp(T_S, [1.3, 1.5], [0.0, away]) + _ramp(-0.1)
    assert is_hit(_driven(slipping, slipping), _jolt()) is hit


@pytest.mark.parametrize(
    ("heavy", "steady", "hit"), [(False, True, True), (True, True, False), (False, False, False)]
)
def test_what_only_turns_the_robot_counts_in_light_steady_driving(
    heavy: bool, steady: bool, hit: bool
) -> None:
    assert is_hit(_driven(_ramp(-0.1), _ramp(0.1), heavy=heavy, steady=steady), _jolt()) is hit


@pytest.mark.parametrize(("right", "hit"), [(0.02, True), (0.06, False)])
def test_a_hit_on_a_corner_slows_and_turns(right: float, hit: bool) -> None:
    """Four tenths of it must be common to both sides: 0.55 of -0.1 and 0.02, 0.24 of -0.1 and 0.06."""
    assert is_hit(_driven(_ramp(-0.1), _ramp(right), heavy=True, current_a=60.0), _jolt()) is hit

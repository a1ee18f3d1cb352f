"""Currents of either side of the controller, with whatever sign, unit and glitches they were logged."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.currents import believable_a, motoring_sign, winding_a
from telemetry.motor_model import MotorModel
from telemetry.robot import Motor

FEED = Motor(free_speed_rpm=5300, free_current_a=2.0, stall_current_a=100)
SUPPLY_SIDE = FEED.model_copy(update={"current_side": "supply"})


def test_a_reading_beyond_what_a_motor_can_draw_is_the_one_before_it() -> None:
    logged = np.array([10.0, 12.0, 900.0, -700.0, 15.0] + [20.0] * 20)
    kept, notes = believable_a("feed", logged, FEED)
    assert kept[:5].tolist() == [10.0, 12.0, 12.0, 12.0, 15.0]
    assert notes == ("Left out: 2 readings of motor feed's current beyond what it can draw.",)


@pytest.mark.parametrize("peak", [200.0, -259.0])
def test_twice_the_stall_current_is_a_hard_reversal(peak: float) -> None:
    logged = np.array([10.0, peak, 10.0])
    kept, notes = believable_a("feed", logged, FEED)
    assert kept.tolist() == logged.tolist()
    assert notes == ()


def test_a_wrong_unit_is_said_and_nothing_replaced() -> None:
    logged = np.array([10_000.0] * 50 + [0.0] * 50)
    kept, notes = believable_a("feed", logged, FEED)
    assert kept is logged
    assert "unit" in notes[0]


def test_a_motor_without_a_data_sheet_is_believed() -> None:
    logged = np.array([1e6])
    assert believable_a("feed", logged, Motor()) == (logged, ())


T_S = np.arange(100) * 0.02
COMMAND = np.array([0.5] * 60 + [-0.5] * 40)
MOTORING = np.array([1.0] * 50 + [-1.0] * 10 + [1.0] * 40)


@pytest.mark.parametrize("turned", [1.0, -1.0])
def test_a_sign_that_goes_with_the_command_tells_braking(turned: float) -> None:
    logged = turned * 30 * np.sign(COMMAND) * MOTORING
    assert motoring_sign(T_S, logged, COMMAND, FEED).tolist() == MOTORING.tolist()


@pytest.mark.parametrize("turned", [1.0, -1.0])
def test_the_sign_in_starts_counts_even_where_a_motor_is_mostly_dragged(turned: float) -> None:
    """Four drives of half a second from rest: pushed along for a fifth of each, then held back."""
    command = np.tile([0.0] * 20 + [0.5] * 25, 4)
    motoring = np.tile([1.0] * 25 + [-1.0] * 20, 4)
    logged = turned * 30 * command * motoring
    assert motoring_sign(np.arange(180) * 0.02, logged, command, FEED).tolist() == motoring.tolist()


def test_the_sign_of_a_small_current_counts_where_it_is_quiet_at_rest() -> None:
    command = np.array([0.0] * 100 + [0.5] * 100)
    logged = np.concatenate((np.tile([0.2, -0.2], 50), np.full(90, 50.0), np.full(10, -1.5)))
    told = motoring_sign(np.arange(200) * 0.02, logged, command, FEED)
    assert told.tolist() == [1.0] * 190 + [-1.0] * 10


@pytest.mark.parametrize("backwards", [40, 10])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_current_without_sign_tells_nothing(backwards: int, sign: float) -> None:
    command = np.array([0.5] * (100 - backwards) + [-0.5] * backwards)
    assert motoring_sign(T_S, np.full(100, sign * 30.0), command, FEED).tolist() == [1.0] * 100


@pytest.mark.parametrize(("least_a", "told"), [(-1.1, 1.0), (-1.3, -1.0)])
def test_an_amount_that_noise_takes_below_zero_has_no_sign(least_a: float, told: float) -> None:
    """Noise at rest has its third quartile at 0.2 A: what falls six times that below 0 is more than noise."""
    command = np.array([0.0] * 100 + [0.5] * 70 + [-0.5] * 30)
    logged = np.concatenate((np.tile([0.2, -0.2], 50), np.full(97, 50.0), np.full(3, least_a)))
    signs = motoring_sign(np.arange(200) * 0.02, logged, command, FEED)
    assert signs[170:197].tolist() == [told] * 27


@pytest.mark.parametrize("turned", [1.0, -1.0])
def test_a_wheel_still_turning_at_its_starts_does_not_turn_the_sign_about(turned: float) -> None:
    """Four drives of two seconds, each of which brakes the wheel for the first tenth and then drives it."""
    command = np.tile([0.0] * 20 + [0.5] * 100, 4)
    motoring = np.tile([1.0] * 20 + [-1.0] * 5 + [1.0] * 95, 4)
    logged = turned * 30 * command * motoring
    assert motoring_sign(np.arange(480) * 0.02, logged, command, FEED).tolist() == motoring.tolist()


@pytest.mark.parametrize("logged", [30 * MOTORING, 30 * MOTORING * np.sign(COMMAND)])
def test_a_supply_side_sign_is_known_by_either_convention(logged: np.ndarray) -> None:
    assert motoring_sign(T_S, logged, COMMAND, SUPPLY_SIDE).tolist() == MOTORING.tolist()


def test_a_supply_side_current_and_the_speed_tell_the_windings() -> None:
    """V·I_supply = (I·R + k·ω)·I: 40 A in the winding at any speed must come back."""
    model = MotorModel.from_motor(FEED)
    assert model is not None
    speed = np.array([0.0, 100.0, 300.0])
    winding = np.full(3, 40.0)
    supply = winding * (winding * model.resistance_ohm + model.k_v_s_per_rad * speed) / 12.0
    told, _most = winding_a(
        np.arange(3.0), supply, np.full(3, np.nan), SUPPLY_SIDE,
        motoring=np.ones(3), voltage_v=np.full(3, 12.0), model=model,
        resistance_ohm=np.full(3, model.resistance_ohm), speed_rad_s=speed,
    )  # fmt: skip
    assert told == pytest.approx(winding)


def test_a_brake_seen_to_the_end_of_the_duty_dies_away_behind_it() -> None:
    t_s = np.arange(5) * 0.1
    told, _most = winding_a(
        t_s, np.array([20.0, 20.0, 0.0, 0.0, 0.0]), np.array([0.5, 0.25, 0.0, 0.0, 0.0]), SUPPLY_SIDE,
        motoring=np.array([1.0, -1.0, 1.0, 1.0, 1.0]), voltage_v=np.full(5, 12.0), model=None,
        resistance_ohm=np.full(5, np.nan), speed_rad_s=None,
    )  # fmt: skip
    assert told[:2].tolist() == [40.0, 80.0]
    assert told[2:] == pytest.approx(80 * np.exp(-np.array([0.1, 0.2, 0.3]) / 0.2))

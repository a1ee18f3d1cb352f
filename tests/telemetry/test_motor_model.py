from __future__ import annotations

import numpy as np
import pytest

from telemetry.motor_model import RAD_S_PER_RPM, MotorModel
from telemetry.robot import Motor

FEED = MotorModel(
    nominal_v=12, free_speed_rpm=5300, free_current_a=1.8, stall_current_a=130, stall_torque_nm=2.4
)


def test_gives_back_the_data_sheet() -> None:
    assert FEED.stall_current_at(12.0) == pytest.approx(130)
    assert FEED.torque_nm(130.0) == pytest.approx(2.4)
    assert FEED.torque_nm(1.8) == 0
    assert FEED.free_speed_rad_s(12.0) / RAD_S_PER_RPM == pytest.approx(5300)
    assert FEED.speed_rad_s(12.0, 1.8) / RAD_S_PER_RPM == pytest.approx(5300)
    assert FEED.speed_rad_s(12.0, 130.0) == pytest.approx(0, abs=1e-9)


def test_a_held_shaft_reads_as_standing_only_when_the_heat_of_the_winding_is_allowed_for() -> None:
    hot_a = FEED.stall_current_at(12.0, temperature_c=120.0)
    assert hot_a == pytest.approx(130 / (1 + 0.00393 * 100))
    assert FEED.speed_rad_s(12.0, hot_a) > 0.2 * FEED.free_speed_rad_s(12.0)
    assert FEED.speed_rad_s(12.0, hot_a, temperature_c=120.0) == pytest.approx(0, abs=1e-9)


def test_a_data_sheet_at_25_degrees_has_its_resistance_there() -> None:
    warm = MotorModel(12, 5300, 1.8, 130, 2.4, reference_c=25.0)
    assert warm.resistance_at(25.0) == pytest.approx(warm.resistance_ohm)
    assert warm.resistance_at(125.0) / warm.resistance_ohm == pytest.approx(1 + 0.0038543 * 100, abs=1e-4)


def test_steady_state_under_a_load_closes() -> None:
    current = FEED.steady_current_a(0.6)
    assert FEED.torque_nm(current) == pytest.approx(0.6)
    speed = FEED.steady_speed_rad_s(9.0, 0.6)
    assert FEED.k_v_s_per_rad * speed + current * FEED.resistance_ohm == pytest.approx(9.0)
    assert FEED.steady_speed_rad_s(1.0, 2.0) < 0


def test_a_voltage_too_low_for_its_own_friction_does_not_turn_it_back() -> None:
    assert FEED.free_speed_rad_s(0.1) == 0


def test_arrays_go_through_in_one_piece() -> None:
    volts, amperes = np.array([12.0, 6.0]), np.array([10.0, 65.0])
    assert FEED.speed_rad_s(volts, amperes).shape == (2,)
    assert FEED.speed_rad_s(volts, amperes)[1] == pytest.approx(0, abs=1e-9)
    assert FEED.torque_nm(np.array([0.0, 130.0])).tolist() == pytest.approx([0, 2.4])


def test_is_made_of_a_motor_of_the_robot_file_or_not_at_all() -> None:
    numbers = {"free_speed_rpm": 5300, "free_current_a": 1.8, "stall_current_a": 130, "stall_torque_nm": 2.4}
    assert MotorModel.from_motor(Motor(**numbers)) == FEED
    for missing in ("free_speed_rpm", "stall_current_a"):
        rest = {key: value for key, value in numbers.items() if key != missing}
        assert MotorModel.from_motor(Motor(**rest)) is None
    assert MotorModel.from_motor(Motor(**{**numbers, "free_current_a": 130})) is None


def test_without_a_stall_torque_both_constants_are_one() -> None:
    sheet = {"free_speed_rpm": 5300, "free_current_a": 1.8, "stall_current_a": 130}
    ideal = MotorModel.from_motor(Motor(**sheet))
    assert ideal is not None
    assert ideal.kt_nm_per_a == ideal.k_v_s_per_rad == FEED.k_v_s_per_rad
    assert ideal.max_power_w == pytest.approx((12 - 1.8 * 12 / 130) / 2 * (130 - 1.8) / 2)


def test_a_free_current_that_is_not_told_is_none() -> None:
    model = MotorModel.from_motor(Motor(free_speed_rpm=5300, stall_current_a=130))
    assert model is not None
    assert model.free_speed_rad_s(6.0) / RAD_S_PER_RPM == pytest.approx(2650)


@pytest.mark.parametrize(
    "wrong", [{"free_current_a": 130}, {"free_current_a": -1}, {"nominal_v": 0}, {"stall_torque_nm": 0}]
)
def test_a_senseless_data_sheet_is_refused(wrong) -> None:
    sheet = {"nominal_v": 12, "free_speed_rpm": 5300, "free_current_a": 1.8, "stall_current_a": 130}
    with pytest.raises(ValueError, match="must be"):
        MotorModel(**{**sheet, "stall_torque_nm": 2.4, **wrong})

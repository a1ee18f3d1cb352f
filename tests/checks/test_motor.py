"""Copper and the permanent-magnet motor against published numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from telemetry.copper import (
    ALPHA20_PER_K,
    RESISTIVITY20_OHM_MM2_PER_M,
    ZERO_RESISTANCE_C,
    lead_length_m,
    resistance_ratio,
    winding_temperature_c,
)
from telemetry.estimators.motors import winding_ohm
from telemetry.motor_model import RAD_S_PER_RPM, MotorModel
from tests.checks.published import approx, published


def test_cu_01_resistivity_of_standard_annealed_copper() -> None:
    """IEC 60028:1925, section 1: 1/58 = 0.017241 Ω·mm²/m; 10 m of 16 mm² are 10.8 mΩ."""
    check = published("cu-01")
    assert approx(check) == RESISTIVITY20_OHM_MM2_PER_M
    assert lead_length_m(check["expected"] * 10 / 16, 16.0) == pytest.approx(10.0, rel=1e-4)


def test_cu_02_where_the_line_of_resistance_meets_zero() -> None:
    """IEC 60028: 1 / 0.00393 − 20 = 234.45 °C below zero; printed as −234.5 °C."""
    check = published("cu-02")
    assert check["inputs"]["alpha20_per_K"] == ALPHA20_PER_K
    assert approx(check) == ZERO_RESISTANCE_C


def test_cu_03_resistance_of_copper_over_temperature() -> None:
    """IEC 60028, temperature coefficient at 20 °C, linear law of constant mass."""
    check = published("cu-03")
    assert resistance_ratio(np.asarray(check["inputs"]["T_C"], dtype=float)).tolist() == approx(check)


def test_cu_03_a_motors_winding_follows_the_same_law() -> None:
    """IEC 60028, through the motor model with a data sheet at 20 °C."""
    check = published("cu-03")
    motor = MotorModel(12.0, 5300, 1.8, 130, 2.4)
    ratios = [motor.resistance_at(t) / motor.resistance_ohm for t in check["inputs"]["T_C"]]
    assert ratios == approx(check)


@pytest.mark.parametrize("identifier", ["cu-04", "cu-05"])
def test_winding_temperature_by_resistance(identifier: str) -> None:
    """IEC 60034-1, resistance method (k = 235, from memory); North American clauses take k = 234.5."""
    check = published(identifier)
    given = check["inputs"]
    temperature = winding_temperature_c(
        given["R2_ohm"],
        reference_ohm=given["R1_ohm"],
        reference_c=given["theta1_C"],
        zero_resistance_c=given["k"],
    )
    assert [temperature, temperature - given["theta1_C"]] == approx(check)


def test_dc_01_permanent_magnet_machine_with_copper_loss_only() -> None:
    """Modelica Standard Library, DCMachines.DCPM_withLosses, machine 1: 95 V, 500 W, 9500 W, 63.66 N·m."""
    check = published("dc-01")
    given = check["inputs"]
    stall_a = given["V"] / given["R_ohm"]
    ideal_rpm = check["expected"][5]
    torque_per_a = given["V"] / (ideal_rpm * RAD_S_PER_RPM)
    motor = MotorModel(given["V"], ideal_rpm, 0.0, stall_a, stall_a * torque_per_a)
    speed = motor.speed_rad_s(given["V"], given["I_A"])
    torque = motor.torque_nm(given["I_A"])
    assert [
        motor.back_emf_v(given["V"], given["I_A"]),
        motor.copper_loss_w(given["I_A"]),
        torque * speed,
        torque,
        motor.k_v_s_per_rad,
        motor.free_speed_rad_s(given["V"]) / RAD_S_PER_RPM,
    ] == approx(check)
    assert speed / RAD_S_PER_RPM == pytest.approx(given["n_rpm"], abs=1e-9)


def test_dc_02_permanent_magnet_machine_with_losses() -> None:
    """Modelica Standard Library, machine 2: hot winding 0.05 Ω, inner voltage 94.5 V, 9100 W, 61.30 N·m.

    The model has no brush, core or stray loss: those stand here as the published numbers.
    """
    check = published("dc-02")
    given = check["inputs"]
    hot_ohm = given["R20_ohm"] * (1 + given["alpha"] * (given["T_C"] - 20))
    motor = MotorModel(given["V"], 1500, 0.0, given["V"] / hot_ohm)
    inner_v = motor.back_emf_v(given["V"], given["I_A"]) - given["brush_V"]
    lost_w = given["core_W"] + given["stray_W"] + given["friction_W"]
    shaft_w = inner_v * given["I_A"] - lost_w
    torque_nm = shaft_w / (given["n_rpm"] * RAD_S_PER_RPM)
    assert [motor.resistance_ohm, inner_v, shaft_w, torque_nm] == approx(check)
    cold = MotorModel(given["V"], 1500, 0.0, given["V"] / given["R20_ohm"])
    assert cold.resistance_at(given["T_C"]) == pytest.approx(hot_ohm, rel=2e-3)


def test_dc_03_a_textbook_motor_at_two_loads() -> None:
    """Fitzgerald, Kingsley and Umans, Electric Machinery, 6th ed., ch. 7 (printed figures from memory)."""
    check = published("dc-03")
    given = check["inputs"]
    stall_a = given["V1"] / given["R_ohm"]
    motor = MotorModel(given["V1"], given["n1_rpm"], given["I1_A"], stall_a)
    speed = given["n2_rpm"] * RAD_S_PER_RPM
    lost_w = motor.back_emf_v(given["V1"], given["I1_A"]) * given["I1_A"]
    back_v = motor.k_v_s_per_rad * speed
    current_a = (given["V2"] - back_v) / motor.resistance_ohm
    assert motor.speed_rad_s(given["V2"], current_a) == pytest.approx(speed)
    assert [motor.k_v_s_per_rad, lost_w, back_v, current_a, back_v * current_a - lost_w] == approx(check)


def test_dc_04_a_loaded_motor_at_half_the_voltage() -> None:
    """Inputs of a textbook companion; the book prints a less exact answer."""
    check = published("dc-04")
    given = check["inputs"]
    motor = MotorModel(given["V0"], given["n0_rpm"], 0.0, given["V0"] / given["R_ohm"])
    current_a = motor.steady_current_a(given["T_Nm"])
    speed = motor.steady_speed_rad_s(given["V"], given["T_Nm"])
    back_v = motor.back_emf_v(given["V"], current_a)
    assert [motor.k_v_s_per_rad, current_a, back_v, speed / RAD_S_PER_RPM] == approx(check)


def test_dc_05_stall_free_run_most_power_and_best_efficiency() -> None:
    """Closed forms: maximum of (V − I·R)(I − I0) and of that over V·I; half-supply rule for I0 = 0."""
    check = published("dc-05")
    motor, volt = _motor_of_dc_05(check), check["inputs"]["V"]
    power_a = motor.max_power_current_a
    assert [
        motor.stall_current_at(volt),
        volt / motor.k_v_s_per_rad,
        motor.free_speed_rad_s(volt),
        power_a,
        motor.speed_rad_s(volt, power_a),
        motor.max_power_w,
        motor.max_efficiency_current_a,
        motor.max_efficiency,
    ] == approx(check)


def test_dc_05_the_closed_forms_are_maxima_of_the_model_itself() -> None:
    """The same by a search over the model's own torque and speed."""
    check = published("dc-05")
    motor, volt = _motor_of_dc_05(check), check["inputs"]["V"]
    current = np.linspace(motor.free_current_a, motor.stall_current_a, 200_001)
    power = motor.torque_nm(current) * motor.speed_rad_s(np.full_like(current, volt), current)
    efficiency = power / (volt * current)
    assert power.max() == pytest.approx(motor.max_power_w, rel=1e-7)
    assert current[power.argmax()] == pytest.approx(motor.max_power_current_a, abs=1e-3)
    assert efficiency.max() == pytest.approx(motor.max_efficiency, rel=1e-7)
    assert current[efficiency.argmax()] == pytest.approx(motor.max_efficiency_current_a, abs=1e-2)


def _motor_of_dc_05(check: dict) -> MotorModel:
    """The data sheet that a motor of these constants would have."""
    given = check["inputs"]
    stall_a = given["V"] / given["R_ohm"]
    free_rpm = (given["V"] - given["I0_A"] * given["R_ohm"]) / given["k"] / (2 * math.pi / 60)
    return MotorModel(given["V"], free_rpm, given["I0_A"], stall_a, given["k"] * (stall_a - given["I0_A"]))


def test_cu_07_a_winding_at_its_limit_is_taken_to_have_risen_as_class_b_may() -> None:
    """IEC 60034-1, limits of temperature rise by resistance: 80 K in class B."""
    check = published("cu-07")
    rise_k = dict(zip(check["inputs"]["classes"], check["expected"], strict=True))["B"]
    model = MotorModel(12.0, 5300, 1.8, 120)
    cold_ohm, hot_ohm = winding_ohm(model, np.array([0.0, 1.0])).tolist()
    assert hot_ohm / cold_ohm == pytest.approx(1 + ALPHA20_PER_K * rise_k)


def test_cu_06_that_winding_is_no_hotter_than_its_class_allows() -> None:
    """IEC 60085: 130 °C in class B, of which 40 are the air's (IEC 60034-1), 5 to 15 the hot spot's."""
    check = published("cu-06")
    class_c = dict(zip(check["inputs"]["classes"], check["expected"], strict=True))["B"]
    cold_ohm, hot_ohm = winding_ohm(MotorModel(12.0, 5300, 1.8, 120), np.array([0.0, 1.0])).tolist()
    hottest_c = 40 + (hot_ohm / cold_ohm - 1) / ALPHA20_PER_K
    assert 5 <= class_c - hottest_c <= 15

"""Copper and the permanent-magnet motor against published numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from telemetry.copper import resistance_ratio, winding_temperature_c
from telemetry.motor_model import RAD_S_PER_RPM, MotorModel
from tests.checks.published import approx, published


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

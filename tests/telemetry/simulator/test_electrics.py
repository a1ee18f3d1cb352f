"""Motor and battery against closed forms.

Published check dc-05: stall current, no-load speed, maximum power and maximum efficiency of a motor with
V = 12, R = 0.1, k = 0.02, I0 = 2; closed form, printed at
https://studyelectrical.com/2018/01/voltage-and-power-equations-of-dc-motor-maximum-power-condition.html
"""

import math

import pytest

from telemetry.simulator.electrics import Battery, Motor
from telemetry.simulator.specification import BatterySpec, MotorSpec

STEP_S = 0.001
DC_05 = MotorSpec(
    name="dc-05",
    free_speed_rpm=590 * 30 / math.pi,
    free_current_a=2.0,
    stall_current_a=120.0,
    mechanism="bench",
    continuous_current_a=40,
)


def settle(load_nm: float, *, volts: float = 12.0, steps: int = 20_000) -> Motor:
    """A motor run on a stiff supply against a dry load until its speed no longer changes."""
    motor = Motor(DC_05)
    motor.wanted = 1.0
    for _ in range(steps):
        motor.limit(volts)
        motor.draw(volts)
        motor.turn(STEP_S, 0.0, load_nm)
    motor.draw(volts)
    return motor


def test_data_sheet_gives_the_constants_of_dc_05() -> None:
    assert pytest.approx(0.1, rel=1e-9) == DC_05.resistance_ohm
    assert pytest.approx(0.02, rel=1e-9) == DC_05.constant_v_s
    assert pytest.approx(2.36, rel=1e-9) == DC_05.stall_torque_nm


def test_unloaded_motor_settles_at_the_no_load_speed() -> None:
    motor = settle(0.0)
    assert motor.speed == pytest.approx(590.0, rel=1e-7)
    assert motor.current_a == pytest.approx(2.0, rel=1e-7)


def test_blocked_motor_draws_the_stall_current() -> None:
    motor = settle(10.0)
    assert motor.speed == 0.0
    assert motor.current_a == pytest.approx(120.0, rel=1e-9)


def test_motor_gives_its_maximum_power_at_half_the_no_load_speed() -> None:
    load_nm = 0.02 * (61.0 - 2.0)
    motor = settle(load_nm)
    assert motor.current_a == pytest.approx(61.0, rel=1e-7)
    assert motor.speed == pytest.approx(295.0, rel=1e-7)
    assert motor.speed * load_nm == pytest.approx(348.1, rel=1e-7)


def test_motor_reaches_its_maximum_efficiency_at_the_current_dc_05_names() -> None:
    load_nm = 0.02 * (15.4919334 - 2.0)
    motor = settle(load_nm)
    assert motor.speed * load_nm / (12.0 * motor.current_a) == pytest.approx(0.75846778, rel=1e-7)


def test_unloaded_motor_gathers_speed_with_its_mechanical_time_constant() -> None:
    """w(t) = w0 (1 - exp(-t / T)) with T = J R / k^2: one exponential, to the order of the step."""
    motor = Motor(DC_05)
    motor.wanted = 1.0
    constant_s = motor.inertia * 0.1 / 0.02**2
    for _ in range(round(constant_s / STEP_S)):
        motor.limit(12.0)
        motor.draw(12.0)
        motor.turn(STEP_S)
    assert motor.speed == pytest.approx(590.0 * (1 - math.exp(-1)), rel=0.02)


def test_energy_from_the_supply_is_all_accounted_for() -> None:
    motor = Motor(DC_05)
    motor.wanted = 0.8
    taken = heat = friction = load = 0.0
    for _ in range(400):
        motor.limit(12.0)
        motor.draw(12.0)
        before = motor.speed
        motor.turn(STEP_S, 0.0, 0.3)
        middle = (before + motor.speed) / 2
        taken += 0.8 * 12.0 * motor.current_a * STEP_S
        heat += motor.current_a**2 * motor.resistance * STEP_S
        friction += motor.friction_nm * middle * STEP_S
        load += 0.3 * middle * STEP_S
    kinetic = motor.inertia * motor.speed**2 / 2
    assert taken == pytest.approx(heat + friction + load + kinetic, rel=0.01)
    assert min(taken, heat, friction, load, kinetic) > 1.0


def test_controller_holds_its_current_limit() -> None:
    spec = MotorSpec(**{**DC_05.__dict__, "current_limit_a": 50.0})
    motor = Motor(spec)
    motor.wanted = 1.0
    motor.limit(12.0)
    motor.draw(12.0)
    assert motor.current_a == pytest.approx(50.0)
    assert motor.duty == pytest.approx(50.0 * 0.1 / 12.0)


def test_unplugged_motor_draws_nothing_and_runs_out() -> None:
    motor = settle(0.0, steps=500)
    fast = motor.speed
    motor.unplugged = True
    motor.limit(12.0)
    assert motor.draw(12.0) == 0.0
    motor.turn(STEP_S)
    assert motor.current_a == 0.0
    assert 0.0 < motor.speed < fast


def test_bus_voltage_is_open_circuit_less_current_times_resistance() -> None:
    battery = Battery(BatterySpec(open_circuit_v=12.6, resistance_ohm=0.02, standby_a=3.0))
    motors = [Motor(DC_05), Motor(DC_05)]
    for motor, duty in zip(motors, (1.0, 0.5), strict=True):
        motor.wanted = duty
    battery.supply(motors, STEP_S)
    by_hand_a = 3.0 + sum(motor.duty * motor.current_a for motor in motors)
    assert battery.current_a == pytest.approx(by_hand_a)
    assert by_hand_a > 100.0
    assert battery.bus_v == pytest.approx(12.6 - 0.02 * by_hand_a)
    assert motors[1].current_a == pytest.approx(0.5 * battery.bus_v / 0.1)


def test_open_circuit_voltage_falls_with_the_charge_drawn() -> None:
    battery = Battery(BatterySpec(open_circuit_v=12.6, sag_v_per_ah=0.5, standby_a=3600.0))
    for _ in range(1000):
        battery.supply([], STEP_S)
    assert battery.open_circuit_v == pytest.approx(12.1)

"""Drivetrain, flywheel and hoist on a stiff supply."""

import pytest

from telemetry.simulator.electrics import Motor
from telemetry.simulator.mechanisms import Drivetrain, Flywheel, Hoist
from telemetry.simulator.specification import RobotSpec

STEP_S = 0.001
BUS_V = 12.0


def power(*motors: Motor) -> None:
    for motor in motors:
        motor.limit(BUS_V)
        motor.draw(BUS_V)


def test_a_pushed_robot_slips_its_wheels_instead_of_stalling() -> None:
    drive = Drivetrain(RobotSpec())
    drive.left.wanted = drive.right.wanted = 0.75
    for _ in range(2000):
        power(drive.left, drive.right)
        drive.step(STEP_S, -400.0, -400.0)
    free = 0.75 * BUS_V / drive.left.constant
    assert drive.speed < 0.0
    assert drive.left.speed > 0.3 * free


def test_the_robot_drives_straight_with_equal_duties_and_turns_with_unequal_ones() -> None:
    drive = Drivetrain(RobotSpec())
    drive.left.wanted, drive.right.wanted = 0.5, 0.5
    for _ in range(1500):
        power(drive.left, drive.right)
        drive.step(STEP_S, 0.0, 0.0)
    assert drive.speed_left == drive.speed_right > 1.0
    drive.right.wanted = 0.7
    for _ in range(1500):
        power(drive.left, drive.right)
        drive.step(STEP_S, 0.0, 0.0)
    assert drive.speed_right > drive.speed_left + 0.3


def test_the_flywheel_dips_by_the_fraction_asked_for_and_recovers() -> None:
    wheel = Flywheel(RobotSpec())
    wheel.setpoint = 400.0

    def run(steps: int) -> list[float]:
        speeds = []
        for _ in range(steps):
            wheel.control(BUS_V)
            power(wheel.motor)
            wheel.step(STEP_S)
            speeds.append(wheel.motor.speed)
        return speeds

    run(4000)
    assert wheel.motor.speed == pytest.approx(400.0, rel=0.005)
    assert wheel.ready
    wheel.grip(0.12)
    dipped = run(60)
    assert min(dipped) == pytest.approx(0.88 * 400.0, rel=0.03)
    run(1000)
    assert wheel.ready


def drive_hoist(hoist: Hoist, duty: float, steps: int) -> None:
    for step in range(steps):
        if step % 20 == 0:
            hoist.command(duty)
        power(hoist.motor)
        hoist.step(STEP_S)


def test_the_hoist_stops_by_itself_at_either_limit() -> None:
    hoist = Hoist(RobotSpec())
    assert hoist.low
    drive_hoist(hoist, 0.8, 6000)
    assert hoist.high
    assert not hoist.low
    assert hoist.motor.speed == 0.0
    assert hoist.motor.wanted == 0.0
    drive_hoist(hoist, -0.8, 6000)
    assert hoist.low


def test_a_hoist_that_ignores_its_limits_stalls_at_the_hard_stop() -> None:
    hoist = Hoist(RobotSpec())
    hoist.honours_limits = False
    drive_hoist(hoist, 0.8, 6000)
    assert hoist.high
    assert hoist.motor.speed == 0.0
    assert hoist.motor.current_a == pytest.approx(80.0)


def test_the_raised_robot_stays_up_without_power() -> None:
    hoist = Hoist(RobotSpec())
    hoist.hooked = True
    drive_hoist(hoist, 0.8, 1500)
    drive_hoist(hoist, 0.0, 1000)
    held = hoist.position_m
    drive_hoist(hoist, 0.0, 5000)
    assert hoist.position_m == held

"""Pieces that leave, seen in the speed of the launcher."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.motors import trace_motors
from telemetry.estimators.releases import launcher_dips, launcher_running
from telemetry.log import FloatArray
from telemetry.robot import Robot
from tests.telemetry.building import RATES_HZ, clock, robot_of
from tests.telemetry.logs import log_of, numbers

ROBOT = robot_of(
    '[launcher]\nmotor = "wheel"\n'
    '[motors.wheel]\ncurrent = "wheel_a"\ncommand = "duty"\nspeed = "wheel_rpm"\n'
    "free_speed_rpm = 5300\nfree_current_a = 1.8\nstall_current_a = 130\nstall_torque_nm = 2.4\n"
)
RELEASES_S = (8.0, 8.9, 9.7, 21.0)


def _rpm(t_s: FloatArray, *, drop: float = 0.12, noise: float = 0.002, start_s: float = 3.0) -> FloatArray:
    """A wheel that spins up, loses a share of its speed at each release and wins it back, and runs out."""
    speed = 1 - np.exp(-np.maximum(t_s - start_s, 0) / 0.6)
    for at in RELEASES_S:
        speed -= drop * np.where(t_s >= at, np.exp(-np.maximum(t_s - at, 0) / 0.15), 0)
    speed *= np.exp(-np.maximum(t_s - 25, 0) / 2)
    return 3000 * (speed + noise * np.random.default_rng(4).standard_normal(len(t_s)))


def _dips_s(t_s: FloatArray, rpm: FloatArray, *, robot: Robot = ROBOT) -> list[float]:
    duty = np.where((t_s >= 3) & (t_s < 25), 0.6, 0.0)
    log = log_of(
        numbers("duty", duty.tolist(), t_s.tolist()),
        numbers("wheel_a", np.full(len(t_s), 10.0).tolist(), t_s.tolist()),
        numbers("wheel_rpm", rpm.tolist(), t_s.tolist()),
    )
    return [float(at) for at in launcher_dips(robot, trace_motors(log, robot))]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_every_release_at_any_rate(rate_hz: float) -> None:
    t_s = clock(30, rate_hz)
    assert _dips_s(t_s, _rpm(t_s)) == pytest.approx(RELEASES_S, abs=1 / rate_hz + 1e-9)


@pytest.mark.parametrize("rate_hz", [25.0, 50.0, 250.0])
def test_every_release_with_jitter(rate_hz: float) -> None:
    t_s = clock(30, rate_hz, jitter=0.3)
    assert _dips_s(t_s, _rpm(t_s)) == pytest.approx(RELEASES_S, abs=1.6 / rate_hz)


@pytest.mark.parametrize(("drop", "number"), [(0.015, 0), (0.03, 4)])
def test_a_dip_is_two_percent_of_the_running_speed(drop: float, number: int) -> None:
    t_s = clock(30, 250)
    assert len(_dips_s(t_s, _rpm(t_s, drop=drop, noise=0.0005))) == number


def test_noise_is_no_release() -> None:
    t_s = clock(30)
    assert _dips_s(t_s, _rpm(t_s, drop=0.0, noise=0.02)) == []


def test_spinning_up_and_running_out_are_no_release() -> None:
    t_s = clock(30)
    assert _dips_s(t_s, _rpm(t_s, drop=0.0, noise=0.0)) == []


@pytest.mark.parametrize("text", ["", '[launcher]\nmotor = "gone"\n'])
def test_without_a_launcher_there_is_no_release(text: str) -> None:
    t_s = clock(30)
    assert _dips_s(t_s, _rpm(t_s), robot=robot_of(text)) == []


def test_a_wheel_at_rest_releases_nothing() -> None:
    t_s = clock(30)
    assert _dips_s(t_s, np.zeros(len(t_s))) == []


def test_the_launcher_is_up_to_speed_from_six_tenths_on() -> None:
    t_s = clock(30)
    rpm = np.where(t_s < 5, 0.0, np.where(t_s < 7, 1700.0, 3000.0))
    duty = np.where((t_s >= 5) & (t_s < 20), 0.6, 0.0)
    log = log_of(
        numbers("duty", duty.tolist(), t_s.tolist()),
        numbers("wheel_a", np.full(len(t_s), 10.0).tolist(), t_s.tolist()),
        numbers("wheel_rpm", rpm.tolist(), t_s.tolist()),
    )
    at_s, up = launcher_running(ROBOT, trace_motors(log, ROBOT))
    assert list(zip(at_s.tolist(), up.tolist(), strict=True)) == [(0, 0), (7, 1), (20, 0)]


# By the current alone

ALONE = robot_of('[launcher]\nmotor = "wheel"\n[motors.wheel]\ncurrent = "wheel_a"\n')


def _bumps_s(t_s: FloatArray, *, bump_a: float = 30.0, noise_a: float = 0.3) -> list[float]:
    """A wheel that draws much while it speeds up, little while it runs, and more after each release."""
    current = np.where((t_s >= 3) & (t_s < 25), 10 + 80 * np.exp(-np.maximum(t_s - 3, 0) / 0.6), 0.0)
    for at in RELEASES_S:
        current += bump_a * np.where(t_s >= at, np.exp(-np.maximum(t_s - at, 0) / 0.15), 0)
    current += noise_a * np.random.default_rng(4).standard_normal(len(t_s))
    log = log_of(numbers("wheel_a", np.maximum(current, 0).tolist(), t_s.tolist()))
    return [float(at) for at in launcher_dips(ALONE, trace_motors(log, ALONE))]


@pytest.mark.parametrize("rate_hz", [20.0, 50.0, 250.0])
def test_bumps_of_the_current_alone_tell_of_releases_and_speeding_up_does_not(rate_hz: float) -> None:
    assert _bumps_s(clock(30, rate_hz)) == pytest.approx(RELEASES_S, abs=1 / rate_hz + 1e-9)


@pytest.mark.parametrize(("bump_a", "number"), [(4.0, 0), (8.0, 4)])
def test_a_bump_is_half_the_running_current(bump_a: float, number: int) -> None:
    assert len(_bumps_s(clock(30, 50), bump_a=bump_a, noise_a=0.05)) == number


def test_noise_of_the_current_is_no_release() -> None:
    assert _bumps_s(clock(30, 50), bump_a=0.0, noise_a=2.0) == []


# Beside sags of the battery


def _sagging(
    *, with_speed: bool, releases_s: tuple[float, ...] = (), rate_hz: float = 50.0
) -> tuple[Robot, list[float]]:
    """A wheel by its differential equation, on a battery that sags by a third as the robot starts, twice.

    Its current is logged without a sign, as controllers do.
    """
    step_s, end_s = 0.002, 20.0
    t_s = np.arange(0.0, end_s, step_s)
    battery_v = 12.6 - 4.0 * ((t_s % 5 < 0.5) & (t_s > 9)).astype(float)
    duty, k, ohm, gain = 0.6, 0.0216, 12 / 130, 400.0
    speed, current = np.zeros(len(t_s)), np.zeros(len(t_s))
    hit = np.isin(np.arange(len(t_s)), np.searchsorted(t_s, releases_s))
    for i in range(1, len(t_s)):
        current[i] = (duty * battery_v[i] - k * speed[i - 1]) / ohm
        speed[i] = (speed[i - 1] + step_s * (gain * current[i] * k - 60.0)) * (0.9 if hit[i] else 1.0)
    every = round(1 / rate_hz / step_s)
    logged_s = t_s[::every].tolist()
    robot = robot_of(
        '[launcher]\nmotor = "wheel"\n[supply]\nvoltage = "battery_v"\n[motors.wheel]\ncurrent = "wheel_a"\n'
        + ('speed = "wheel_rpm"\n' if with_speed else "")
        + 'command = "duty"\nnominal_v = 12\nfree_speed_rpm = 5300\n'
        "free_current_a = 1.8\nstall_current_a = 130\nstall_torque_nm = 2.4\n"
    )
    log = log_of(
        numbers("duty", [duty] * len(logged_s), logged_s),
        numbers("battery_v", battery_v[::every].tolist(), logged_s),
        numbers("wheel_a", np.abs(current[::every]).tolist(), logged_s),
        numbers("wheel_rpm", (speed[::every] * 60 / (2 * np.pi)).tolist(), logged_s),
    )
    return robot, [float(at) for at in launcher_dips(robot, trace_motors(log, robot))]


@pytest.mark.parametrize("with_speed", [True, False])
def test_a_sag_of_the_battery_is_no_release(with_speed: bool) -> None:
    assert _sagging(with_speed=with_speed)[1] == []


@pytest.mark.parametrize("with_speed", [True, False])
def test_releases_beside_sags_are_found(with_speed: bool) -> None:
    releases_s = (7.0, 7.6, 13.0, 18.0)
    found_s = _sagging(with_speed=with_speed, releases_s=releases_s)[1]
    assert found_s == pytest.approx(releases_s, abs=0.045)


def test_the_start_of_the_wheel_is_no_release() -> None:
    assert _sagging(with_speed=False, rate_hz=250.0)[1] == []

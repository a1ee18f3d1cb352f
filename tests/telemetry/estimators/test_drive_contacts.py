"""Hits told from the drive alone: a built drivetrain of one motor a side, by the equations of motion."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from telemetry.analysis import Contact
from telemetry.estimators.contacts import find_contacts
from telemetry.estimators.motors import trace_motors
from telemetry.log import FloatArray, Log
from telemetry.robot import Robot
from tests.telemetry.building import robot_of
from tests.telemetry.logs import log_of, numbers

LENGTH_S, STEP_S = 60.0, 0.001
OHM, K = 0.06, 0.0211
INERTIA, FRICTION_NM = 1.4e-3, 0.06
SIDES = ("left", "right")
HITS = (12.0, 25.0, 41.0)
TORQUE_NM, HIT_S = 0.9, 0.08
"""At the motor's shaft: 27 % of its stall torque, for less than a tenth of a second."""

Torque = Callable[[FloatArray], FloatArray]
Played = tuple[FloatArray, FloatArray, FloatArray, FloatArray]


def _robot(*, speed: bool = True) -> Robot:
    sheet = "free_speed_rpm = 5300\nfree_current_a = 2.5\nstall_current_a = 200\nstall_torque_nm = 4.2\n"
    motors = (
        f'[motors.{side}]\ncurrent = "{side}_a"\ncommand = "{side}_duty"\n'
        + (f'speed = "{side}_rad_s"\n' if speed else "")
        + sheet
        for side in SIDES
    )
    drive = '[contact]\ndrive = ["left", "right"]\n[supply]\nvoltage = "battery_v"\n'
    return robot_of("".join(motors) + drive)


def _supply_side(robot: Robot) -> Robot:
    motors = {
        name: motor.model_copy(update={"current_side": "supply"}) for name, motor in robot.motors.items()
    }
    return robot.model_copy(update={"motors": motors})


def _duty(t_s: FloatArray) -> FloatArray:
    """Stretches of steady driving, one of them backwards, with ramps of a fifth of a second between."""
    return np.interp(
        t_s,
        [1, 1.2, 18, 18.2, 30, 30.4, 36, 36.4, 55, 55.2],
        [0, 0.5, 0.5, 0.8, 0.8, -0.5, -0.5, 0.6, 0.6, 0],
    )


def _pushes(starts_s: Sequence[float], lasting_s: float, torque_nm: float) -> Torque:
    def torque(t_s: FloatArray) -> FloatArray:
        acts = np.zeros(len(t_s))
        for start_s in starts_s:
            acts[(t_s >= start_s) & (t_s < start_s + lasting_s)] = torque_nm
        return acts

    return torque


def _restless(t_s: FloatArray) -> FloatArray:
    """Another command every second or so, each reached within a tenth."""
    rng = np.random.default_rng(3)
    at_s, levels = np.cumsum(rng.uniform(0.6, 2.0, 60)), rng.uniform(-0.6, 1.0, 60)
    before = np.concatenate(([0.0], levels[:-1]))
    steps_s = np.stack((at_s, at_s + 0.1), axis=1).ravel()
    return np.interp(t_s, steps_s, np.stack((before, levels), axis=1).ravel()) * (t_s < 55)


def _play(
    against: Torque, inertia: float = INERTIA, duty_of: Torque = _duty, *, coasts: bool = False
) -> Played:
    """Time, duty, current and speed of one side, stepped; `against` brakes whichever way it turns.

    Without duty it is shorted, or `coasts`.
    """
    t_s = np.arange(0.0, LENGTH_S, STEP_S)
    duty, brakes = duty_of(t_s), against(t_s)
    current, speed = np.zeros(len(t_s)), np.zeros(len(t_s))
    turning = 0.0
    for step in range(len(t_s)):
        amperes = 0.0 if coasts and duty[step] == 0.0 else (duty[step] * 12.0 - K * turning) / OHM
        drag_nm = (FRICTION_NM + brakes[step]) * np.tanh(turning / 2.0)
        turning += (K * amperes - drag_nm) / inertia * STEP_S
        current[step], speed[step] = amperes, turning
    return t_s, duty, current, speed


def _slip() -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """The same drive without a hit, on tyres that hold 1.0 N·m at the shaft; last, the ground's speed."""
    t_s = np.arange(0.0, LENGTH_S, STEP_S)
    duty = np.where((t_s * 0.5).astype(int) % 2 == 0, 0.55, -0.45) * (t_s > 1.0) * (t_s < 55.0)
    duty = np.convolve(duty, np.full(200, 1 / 200), mode="same")
    current, wheel, ground = np.zeros(len(t_s)), np.zeros(len(t_s)), np.zeros(len(t_s))
    turning = rolling = 0.0
    for step in range(len(t_s)):
        amperes = (duty[step] * 12.0 - K * turning) / OHM
        grip_nm = min(max(0.05 * (turning - rolling), -1.0), 1.0)
        turning += (K * amperes - grip_nm - FRICTION_NM * np.tanh(turning / 2.0)) / 0.3e-3 * STEP_S
        rolling += grip_nm / 1.1e-3 * STEP_S
        current[step], wheel[step], ground[step] = amperes, turning, rolling
    return t_s, duty, current, wheel, ground


def _log(against: Torque, rate_hz: float = 50.0, *, speed: bool = True, unsigned: bool = False) -> Log:
    return _written(_play(against), rate_hz, speed=speed, unsigned=unsigned)


def _written(
    played: Played,
    rate_hz: float,
    *,
    right: Played | None = None,
    speed: bool = True,
    unsigned: bool = False,
) -> Log:
    """Both sides as played, or the right one as it was played itself."""
    rng = np.random.default_rng(8)
    logged_s = np.arange(0.0, LENGTH_S - 0.01, 1 / rate_hz)
    channels = [numbers("battery_v", [12.0] * len(logged_s), logged_s.tolist())]
    for side, one in zip(SIDES, (played, right or played), strict=True):
        duty, current, turning = (np.interp(logged_s, one[0], values) for values in one[1:])
        amperes = current + 0.3 * rng.standard_normal(len(logged_s))
        amperes = np.abs(amperes) if unsigned else amperes
        channels.append(numbers(f"{side}_a", amperes.tolist(), logged_s.tolist()))
        channels.append(numbers(f"{side}_duty", duty.tolist(), logged_s.tolist()))
        if speed:
            noisy = turning + 0.2 * rng.standard_normal(len(logged_s))
            channels.append(numbers(f"{side}_rad_s", noisy.tolist(), logged_s.tolist()))
    return log_of(*channels)


def _contacts(log: Log, robot: Robot) -> tuple[Contact, ...]:
    return find_contacts(log, robot, trace_motors(log, robot))


@pytest.fixture(scope="module")
def hit() -> Torque:
    return _pushes(HITS, HIT_S, TORQUE_NM)


@pytest.mark.parametrize("rate_hz", [25.0, 50.0, 60.0, 250.0])
def test_hits_in_steady_driving_are_found(hit: Torque, rate_hz: float) -> None:
    found = _contacts(_log(hit, rate_hz), _robot())
    assert [contact.t_s for contact in found] == pytest.approx(HITS, abs=0.06 + 2 / rate_hz)
    assert {(contact.source, contact.peak_g) for contact in found} == {("drive current", None)}


@pytest.mark.parametrize(("torque_nm", "found"), [(0.08, 0), (0.3, 3)])
def test_a_nudge_is_no_hit(torque_nm: float, found: int) -> None:
    """0.08 N·m for 80 ms takes 0.8 % of the free speed off, 0.3 N·m takes 3 %; 1.6 % counts."""
    assert len(_contacts(_log(_pushes(HITS, HIT_S, torque_nm)), _robot())) == found


@pytest.mark.parametrize(("opposite", "found"), [(False, 0), (True, 3)])
def test_a_hit_from_the_side_turns_the_robot(opposite: bool, found: int) -> None:
    """0.15 N·m for 80 ms takes 1.5 % of the free speed off: a bump of the floor, unless the sides part."""
    left, right = (_play(_pushes(HITS, HIT_S, sign * 0.15)) for sign in (1, -1))
    log = _written(left, 100.0, right=right if opposite else left)
    assert len(_contacts(log, _robot())) == found


@pytest.mark.parametrize(("torque_nm", "found"), [(0.35, 1), (0.8, 2)])
def test_a_weak_sway_within_a_second_is_of_the_same_hit(torque_nm: float, found: int) -> None:
    hit, again = _pushes((12.0,), HIT_S, 1.0), _pushes((12.8,), HIT_S, torque_nm)
    log = _log(lambda t_s: hit(t_s) + again(t_s), 100.0)
    assert len(_contacts(log, _robot())) == found


@pytest.mark.parametrize("rate_hz", [25.0, 50.0, 250.0])
def test_wheels_that_slip_and_grip_again_are_no_hits(rate_hz: float) -> None:
    t_s, duty, current, speed, ground = _slip()
    slipping = np.abs(speed - ground) > 0.1 * 555
    assert slipping.mean() > 0.03
    robot = _robot(speed=True)
    assert _contacts(_written((t_s, duty, current, speed), rate_hz), robot) == ()


def test_signs_are_believed_of_a_robot_that_brakes_for_long() -> None:
    """A heavy robot is slowed by its motors for much of the time: its current then goes against the duty."""
    played = _play(_pushes((14.0, 47.0), 0.08, 3.0), inertia=8e-3)
    robot = _robot(speed=False)
    log = _written(played, 50.0, speed=False)
    assert [hit.t_s for hit in _contacts(log, robot)] == pytest.approx([14.0, 47.0], abs=0.1)


def test_without_a_speed_a_current_without_sign_serves() -> None:
    """Which way it flows follows from the speed, which cannot jump: this robot brakes against its duty."""
    played = _play(_pushes((14.0, 47.0), 0.08, 3.0), inertia=8e-3)
    log = _written(played, 50.0, speed=False, unsigned=True)
    assert [hit.t_s for hit in _contacts(log, _robot(speed=False))] == pytest.approx([14.0, 47.0], abs=0.1)


def test_without_a_speed_a_supply_side_current_tells_nothing(hit: Torque) -> None:
    assert _contacts(_log(hit, speed=False), _supply_side(_robot(speed=False))) == ()


@pytest.mark.parametrize("unsigned", [False, True])
def test_a_motor_that_coasts_is_not_seen_to_stop(unsigned: bool) -> None:
    """Without duty and current, back-EMF tells no speed: none falls to nought there, none leaps up after."""
    t_s, duty, current, turning = _play(_pushes((), 0.0, 0.0))
    rests = ((t_s > 8.0) & (t_s < 8.4)) | ((t_s > 23.0) & (t_s < 23.4))
    played = t_s, np.where(rests, 0.0, duty), np.where(rests, 0.0, current), turning
    assert _contacts(_written(played, 50.0, speed=False, unsigned=unsigned), _robot(speed=False)) == ()


@pytest.mark.parametrize("hits_s", [(), HITS[:2]])
def test_a_speed_that_is_logged_late_is_no_hit(hits_s: tuple[float, ...]) -> None:
    """Controllers smooth speed, here by 40 ms, and the current hardly: they part at every start."""
    t_s, duty, current, turning = _play(_pushes(hits_s, HIT_S, TORQUE_NM), duty_of=_restless)
    late = np.convolve(turning, np.exp(-np.arange(0.0, 0.3, STEP_S) / 0.04))[: len(t_s)] * STEP_S / 0.04
    found = _contacts(_written((t_s, duty, current, late), 100.0), _robot())
    assert [contact.t_s for contact in found] == pytest.approx(hits_s, abs=0.12)


@pytest.mark.parametrize("hits_s", [(), HITS[:2]])
def test_a_current_that_is_switched_off_between_two_readings_is_no_hit(hits_s: tuple[float, ...]) -> None:
    """A motor braked down to no duty coasts from there on; the speed is logged 15 ms late."""

    def stop_and_go(t_s: FloatArray) -> FloatArray:
        level = np.where((t_s * 0.4).astype(int) % 2 == 0, 0.7, 0.0) * (t_s < 55)
        return np.convolve(level, np.full(140, 1 / 140))[: len(t_s)].round(6)

    played = _play(_pushes(hits_s, HIT_S, TORQUE_NM), duty_of=stop_and_go, coasts=True)
    t_s, duty, current, turning = played
    late = np.convolve(turning, np.exp(-np.arange(0.0, 0.2, STEP_S) / 0.015))[: len(t_s)] * STEP_S / 0.015
    supply = _supply_side(_robot())
    found = _contacts(_written((t_s, duty, current * duty, late), 50.0), supply)
    assert [contact.t_s for contact in found] == pytest.approx(hits_s, abs=0.12)


@pytest.mark.parametrize("unsigned", [False, True])
def test_a_current_without_sign_serves(hit: Torque, unsigned: bool) -> None:
    found = _contacts(_log(hit, unsigned=unsigned), _robot())
    assert [contact.t_s for contact in found] == pytest.approx(HITS, abs=0.1)


def test_back_emf_serves_where_no_speed_is_logged(hit: Torque) -> None:
    robot = _robot(speed=False)
    found = _contacts(_log(hit, speed=False), robot)
    assert [contact.t_s for contact in found] == pytest.approx(HITS, abs=0.1)


def test_starts_and_reversals_are_no_hits() -> None:
    assert _contacts(_log(_pushes((), 0.0, 0.0)), _robot()) == ()


@pytest.mark.parametrize("lasting_s", [1.0, 3.0])
def test_pushing_is_no_hit(lasting_s: float) -> None:
    """A push sets in and lets go within half a second, as bodies lean on each other."""

    def leaning(t_s: FloatArray) -> FloatArray:
        ramps = [20.0, 20.5, 20.5 + lasting_s, 21.0 + lasting_s]
        return np.interp(t_s, ramps, [0.0, 0.8, 0.8, 0.0])

    assert _contacts(_log(leaning), _robot()) == ()


@pytest.mark.parametrize(("rate_hz", "number"), [(20.0, 3), (15.0, 0)])
def test_read_too_seldom_nothing_is_said(rate_hz: float, number: int) -> None:
    assert len(_contacts(_log(_pushes(HITS, 0.1, 1.5), rate_hz), _robot())) == number


def test_an_accelerometer_comes_first(hit: Torque) -> None:
    log = _log(hit)
    still = numbers("ax_g", [0.0] * len(log.t_s), log.t_s.tolist())
    robot = _robot().model_copy(update={"contact": robot_of('[contact]\naccelerometer = ["ax_g"]').contact})
    assert _contacts(log_of(*log.channels.values(), still), robot) == ()


@pytest.mark.parametrize("missing", ["current", "command"])
def test_without_current_or_command_nothing_is_said(hit: Torque, missing: str) -> None:
    robot = _robot()
    motors = {name: motor.model_copy(update={missing: None}) for name, motor in robot.motors.items()}
    robot = robot.model_copy(update={"motors": motors})
    assert _contacts(_log(hit), robot) == ()

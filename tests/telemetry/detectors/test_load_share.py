"""Two motors on one shaft: one open, one behind a bad joint, two that fight, and pairs that share fairly."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
import pytest

from telemetry.detectors import NotEvaluated
from telemetry.detectors.detector import Judgement
from telemetry.detectors.load_share import LOAD_SHARE
from telemetry.estimators.load_share import mechanisms
from telemetry.estimators.motors import trace_motors
from telemetry.finding import Finding
from telemetry.log import FloatArray
from telemetry.records.sensors import HarnessBreak
from telemetry.robot import Robot
from tests.telemetry.bench import BUS_V, STEP_S, Bench, draw_motors, run
from tests.telemetry.building import analysis_of, robot_of
from tests.telemetry.logs import log_of, numbers

PAIRS, STEPS = 12, 20_000


@cache
def _shaft(seed: int) -> Bench:
    """The shaft of each pair: starts, changes of duty and loads for 40 s."""
    rng = np.random.default_rng(seed)
    duty = np.repeat(
        rng.choice([0.0, 0.4, 0.6, 0.9, -0.5], (50, PAIRS), p=[0.2, 0.2, 0.2, 0.2, 0.2]), 400, axis=0
    )
    load = np.repeat(rng.uniform(0.03, 0.15, (50, PAIRS)), 400, axis=0) * np.sign(duty)
    return run(draw_motors(PAIRS, seed=seed), duty, load)


def _found(number: int, **parts: Any) -> list[Finding]:
    """What is said of pair `number`; `parts` as for `_judgement`."""
    judgement = _judgement(number, **parts)
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def _judgement(
    number: int,
    ohm_factor: float = 1.0,
    gear_factor: float = 1.0,
    open_from_s: float = math.inf,
    *,
    rate_hz: float = 50.0,
    speed: bool = True,
    seed: int = 4,
    command: bool = True,
) -> Judgement:
    """Pair `number`, whose motor b has so much resistance and gear, and opens at an instant."""
    shaft = _shaft(seed)
    every = np.arange(0, STEPS, round(500 / rate_hz))
    t_s, duty, omega = every * STEP_S, shaft.duty[every, number], shaft.speed[every, number]
    ohm, k = shaft.motors.ohm[number], shaft.motors.k[number]
    rng = np.random.default_rng(number)
    noise = rng.normal(0, 0.2, (2, len(every)))
    a = (duty * BUS_V - k * omega) / ohm + noise[0]
    b = (duty * BUS_V - k * gear_factor * omega) / (ohm * ohm_factor) + noise[1]
    b = np.where(t_s >= open_from_s, noise[1], b)
    motors = {"a": (a, omega), "b": (b, omega * gear_factor)}
    return _judged(shaft, number, t_s, duty, motors, speed, command)


def _judged(
    shaft: Bench,
    number: int,
    t_s: FloatArray,
    duty: FloatArray,
    motors: dict[str, tuple[FloatArray, FloatArray]],
    speed: bool,
    command: bool,
) -> Judgement:
    channels = [numbers("battery_v", [BUS_V] * len(t_s), t_s.tolist())]
    if command:
        channels.append(numbers("duty", duty.tolist(), t_s.tolist()))
    for name, (current_a, omega) in motors.items():
        channels.append(numbers(f"{name}_a", np.abs(current_a).tolist(), t_s.tolist()))
        if speed:
            channels.append(numbers(f"{name}_rad_s", omega.tolist(), t_s.tolist()))
    log, robot = log_of(*channels), _robot(shaft, number, speed)
    known = analysis_of(robot, log, motors=trace_motors(log, robot))
    return LOAD_SHARE.judge(known, "belt")


def _robot(shaft: Bench, number: int, speed: bool) -> Robot:
    sheet = shaft.motors
    return robot_of(
        '[supply]\nvoltage = "battery_v"\n'
        + "".join(
            f'[motors.{name}]\nmechanism = "belt"\ncurrent = "{name}_a"\ncommand = "duty"\n'
            + (f'speed = "{name}_rad_s"\n' if speed else "")
            + f"free_speed_rpm = {sheet.free_rpm[number]}\nfree_current_a = {sheet.free_a[number]}\n"
            f"stall_current_a = {sheet.stall_a[number]}\n"
            for name in "ab"
        )
    )


@pytest.mark.parametrize("speed", [True, False])
@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
def test_pairs_that_differ_as_new_motors_do_share_fairly(rate_hz: float, speed: bool) -> None:
    wrong = []
    for number in range(PAIRS):
        ohm = np.random.default_rng(number).uniform(0.88, 1.12)
        wrong += _found(number, ohm_factor=ohm, rate_hz=rate_hz, speed=speed)
    assert wrong == []


@pytest.mark.parametrize("speed", [True, False])
@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
def test_an_open_motor_is_found_in_every_pair(rate_hz: float, speed: bool) -> None:
    for number in range(PAIRS):
        (found,) = _found(number, open_from_s=15.0, rate_hz=rate_hz, speed=speed)
        assert (found.kind, found.subject, found.role) == ("load_share", "belt", "mechanism")
        assert (found.evidence["motor"], found.evidence["cause"]) == ("b", "open")
        assert 14.0 <= found.start_s <= 20.0
        assert found.severity == "fix"


@pytest.mark.parametrize("speed", [True, False])
@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
def test_a_bad_joint_is_found_in_every_pair(rate_hz: float, speed: bool) -> None:
    for number in range(PAIRS):
        (found,) = _found(number, ohm_factor=1.8, rate_hz=rate_hz, speed=speed)
        assert (found.evidence["motor"], found.evidence["cause"]) == ("b", "bad joint")
        assert found.evidence["ratio"] == pytest.approx(1 / 1.8, abs=0.05)


@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
def test_a_motor_dragged_by_its_partner_is_found_in_every_pair(rate_hz: float) -> None:
    for number in range(PAIRS):
        found = _found(number, gear_factor=1.6, rate_hz=rate_hz)
        assert [(one.evidence["motor"], one.evidence["cause"]) for one in found] == [("b", "fighting")]


@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
def test_without_commands_fair_pairs_are_fair(rate_hz: float) -> None:
    for number in range(PAIRS):
        ohm = np.random.default_rng(number).uniform(0.88, 1.12)
        assert _found(number, ohm_factor=ohm, rate_hz=rate_hz, command=False) == []


@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
def test_without_commands_a_bad_joint_shows_in_currents_that_go_together(rate_hz: float) -> None:
    for number in range(PAIRS):
        (found,) = _found(number, ohm_factor=2.0, rate_hz=rate_hz, command=False)
        assert (found.evidence["motor"], found.evidence["cause"]) == ("b", "bad joint")
        assert found.evidence["ratio"] == pytest.approx(0.5, abs=0.05)
        assert "not logged" in found.advice


def test_without_commands_a_motor_that_shared_its_load_and_then_draws_nothing_is_open() -> None:
    for number in range(PAIRS):
        (found,) = _found(number, open_from_s=18.0, command=False)
        assert (found.evidence["motor"], found.evidence["cause"]) == ("b", "open")
        assert 17.0 <= found.start_s <= 22.0


@pytest.mark.parametrize(("gear_factor", "open_from_s"), [(1.6, math.inf), (1.0, 0.0)])
def test_without_commands_what_may_be_another_gear_or_never_asked_for_is_not_judged(
    gear_factor: float, open_from_s: float
) -> None:
    for number in range(PAIRS):
        judgement = _judgement(number, 1.0, gear_factor, open_from_s, command=False)
        assert isinstance(judgement, NotEvaluated)
        assert "of what the others do" in judgement.reason


def test_only_mechanisms_of_several_motors_are_subjects() -> None:
    belt = "".join(f'[motors.{name}]\nmechanism = "belt"\n' for name in "ab")
    robot = robot_of(belt + '[motors.c]\nmechanism = "arm"\n[motors.d]\n')
    assert mechanisms(robot) == {"belt": ("a", "b")}
    assert tuple(LOAD_SHARE.subjects(robot)) == ("belt",)


@pytest.mark.parametrize(
    ("channels", "reason"),
    [
        (("a_a",), "the current of one of its motors is not in the log"),
        (("a_a", "b_a"), "the command of one of its motors is not logged"),
        (("a_a", "b_a", "duty"), "its motors were never driven alike under load"),
    ],
)
def test_what_cannot_be_compared_says_why(channels: tuple[str, ...], reason: str) -> None:
    robot = _robot(_shaft(4), 0, False)
    log = log_of(*(numbers(name, [0.0] * 200, (np.arange(200) / 50).tolist()) for name in channels))
    known = analysis_of(robot, log, motors=trace_motors(log, robot))
    assert LOAD_SHARE.judge(known, "belt") == NotEvaluated(reason)


def _twins(
    *, k_factor: float = 1.0, duty_factor: float = 1.0, from_s: float = 0.0, **parts: object
) -> list[Finding]:
    """Pair 0 with a motor b of other winding, or under its own, told, duty from an instant on."""
    shaft, every = _shaft(4), np.arange(0, STEPS, 10)
    t_s, duty, omega = every * STEP_S, shaft.duty[every, 0], shaft.speed[every, 0]
    ohm, k = shaft.motors.ohm[0], shaft.motors.k[0]
    own = np.where(t_s >= from_s, duty * duty_factor, duty)
    channels = [
        numbers(name, values.tolist(), t_s.tolist())
        for name, values in (
            ("battery_v", np.full(len(t_s), BUS_V)),
            ("duty", duty),
            ("own", own),
            ("a_a", (duty * BUS_V - k * omega) / ohm),
            ("b_a", (own * BUS_V - k * k_factor * omega) / ohm),
            ("a_rad_s", omega),
            ("b_rad_s", omega),
        )
    ]
    log, robot = log_of(*channels), _robot(shaft, 0, True)
    b = robot.motors["b"].model_copy(update={"command": "own"})
    robot = robot.model_copy(update={"motors": {**robot.motors, "b": b}})
    known = analysis_of(robot, log, motors=trace_motors(log, robot), **parts)
    judgement = LOAD_SHARE.judge(known, "belt")
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


@pytest.mark.parametrize("k_factor", [0.96, 1.0, 1.04])
def test_windings_that_differ_by_some_per_cent_are_no_bad_joint(k_factor: float) -> None:
    assert _twins(k_factor=k_factor) == []


@pytest.mark.parametrize("from_s", [0.0, 15.0])
def test_a_twin_under_less_duty_is_told_with_its_duty(from_s: float) -> None:
    (found,) = _twins(duty_factor=0.8, from_s=from_s)
    assert found.evidence["motor"] == "b"
    assert found.evidence["cause"] in ("less duty", "fighting")
    assert found.evidence["duty_share"] == pytest.approx(0.8, abs=0.01)
    assert from_s - 0.5 <= found.start_s <= from_s + 4.0


@pytest.mark.parametrize(("lost", "told"), [({}, 1), ({"b": "no draw"}, 0)])
def test_a_motor_lost_with_its_harness_is_told_there_only(lost: dict[str, str], told: int) -> None:
    broken = HarnessBreak("bus", 14.0, 40.0, ("a", "b"), lost, 0.9, True)
    shaft = _shaft(4)
    every = np.arange(0, STEPS, 10)
    t_s, duty, omega = every * STEP_S, shaft.duty[every, 0], shaft.speed[every, 0]
    a = (duty * BUS_V - shaft.motors.k[0] * omega) / shaft.motors.ohm[0]
    pair = {"a": (a, omega), "b": (np.where(t_s >= 15.0, 0.1, a), omega)}
    channels = [
        numbers("battery_v", [BUS_V] * len(t_s), t_s.tolist()),
        numbers("duty", duty.tolist(), t_s.tolist()),
    ]
    channels += [numbers(f"{name}_a", amps.tolist(), t_s.tolist()) for name, (amps, _) in pair.items()]
    channels += [numbers(f"{name}_rad_s", speed.tolist(), t_s.tolist()) for name, (_, speed) in pair.items()]
    log, robot = log_of(*channels), _robot(shaft, 0, True)
    known = analysis_of(robot, log, motors=trace_motors(log, robot), harness_breaks=(broken,))
    judgement = LOAD_SHARE.judge(known, "belt")
    assert not isinstance(judgement, NotEvaluated)
    assert len(judgement) == told


@pytest.mark.parametrize("speed", [True, False])
@pytest.mark.parametrize(("gear", "least"), [(1.15, 0.25), (1.3, 0.75)])
def test_a_wrong_gear_is_a_fight_not_a_bad_joint(gear: float, least: float, speed: bool) -> None:
    """The less it differs, the more often both still pull; then it is no fight, and nothing is said."""
    causes = [
        found.evidence["cause"]
        for number in range(PAIRS)
        for found in _signed_gear(number, gear, speed=speed)
    ]
    assert len(causes) >= least * PAIRS
    assert set(causes) <= {"fighting", "open"}


def _signed_gear(number: int, gear: float, *, speed: bool) -> list[Finding]:
    shaft, every = _shaft(4), np.arange(0, STEPS, 10)
    t_s, duty, omega = every * STEP_S, shaft.duty[every, number], shaft.speed[every, number]
    ohm, k = shaft.motors.ohm[number], shaft.motors.k[number]
    way = np.where(duty < 0, -1.0, 1.0)
    currents = {
        name: (way * (duty * BUS_V - k * factor * omega) / ohm) * way
        for name, factor in (("a", 1.0), ("b", gear))
    }
    channels = [
        numbers("battery_v", [BUS_V] * len(t_s), t_s.tolist()),
        numbers("duty", duty.tolist(), t_s.tolist()),
    ]
    channels += [numbers(f"{name}_a", amps.tolist(), t_s.tolist()) for name, amps in currents.items()]
    if speed:
        channels += [
            numbers(f"{name}_rad_s", (omega * factor).tolist(), t_s.tolist())
            for name, factor in (("a", 1.0), ("b", gear))
        ]
    log, robot = log_of(*channels), _robot(shaft, number, speed)
    known = analysis_of(robot, log, motors=trace_motors(log, robot))
    judgement = LOAD_SHARE.judge(known, "belt")
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def test_two_that_hold_each_other_fast_are_told_to_fight() -> None:
    """Ten seconds well, then commanded against each other: both draw what a stall takes."""
    shaft, every = _shaft(4), np.arange(0, STEPS, 10)
    t_s, duty, omega = every * STEP_S, shaft.duty[every, 0], shaft.speed[every, 0]
    ohm, k = shaft.motors.ohm[0], shaft.motors.k[0]
    well = t_s < 10.0
    run_a, held_a = (duty * BUS_V - k * omega) / ohm, duty * BUS_V / ohm
    channels = [
        numbers(name, values.tolist(), t_s.tolist())
        for name, values in (
            ("battery_v", np.full(len(t_s), BUS_V)),
            ("duty", duty),
            ("own", np.where(well, duty, -duty)),
            ("a_a", np.where(well, run_a, held_a)),
            ("b_a", np.where(well, run_a, -held_a)),
            ("a_rad_s", np.where(well, omega, 0.0)),
            ("b_rad_s", np.where(well, omega, 0.0)),
        )
    ]
    log, robot = log_of(*channels), _robot(shaft, 0, True)
    b = robot.motors["b"].model_copy(update={"command": "own"})
    robot = robot.model_copy(update={"motors": {**robot.motors, "b": b}})
    known = analysis_of(robot, log, motors=trace_motors(log, robot))
    judgement = LOAD_SHARE.judge(known, "belt")
    assert not isinstance(judgement, NotEvaluated)
    assert [(one.evidence["motor"], one.evidence["cause"]) for one in judgement] == [("b", "fighting")]
    assert judgement[0].start_s == pytest.approx(10.0, abs=1.5)

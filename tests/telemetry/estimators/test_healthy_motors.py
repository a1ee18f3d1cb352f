"""Hundreds of healthy starts, reversals, brakes, hard pushes and overhauled runs: nothing is found in any."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from telemetry.estimators.interruptions import find_interruptions
from telemetry.estimators.motors import trace_motors
from telemetry.estimators.stalls import find_stalls
from telemetry.match import Match, Phase
from tests.telemetry.bench import STEP_S, Bench, draw_motors, run

MOTORS, LENGTH_S = 40, 24.0
STEPS = round(LENGTH_S / STEP_S)
MATCH = Match("m", 0.0, LENGTH_S, (0.0, LENGTH_S), (Phase("teleop", 0.0, LENGTH_S),), "whole log")


def _spans(lengths: np.ndarray, values: np.ndarray) -> np.ndarray:
    """A step function of LENGTH_S: each value for its length in seconds."""
    counts = np.round(lengths / STEP_S).astype(int)
    return np.resize(np.repeat(values, counts), STEPS)


def _starts(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """On for 0.6 to 2 s at 0.3 to 1, off for 0.5 to 1 s; free but for friction and some drag."""
    lengths = rng.uniform(0.6, 2.0, 30)
    lengths[1::2] = rng.uniform(0.5, 1.0, 15)
    duty = rng.uniform(0.3, 1.0, 30)
    duty[1::2] = 0.0
    return _spans(lengths, duty), np.full(STEPS, rng.uniform(0.0, 0.05))


def _reversals(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """From full ahead to full back and again, every 1 to 2 s, without a pause."""
    duty = rng.uniform(0.4, 1.0, 24)
    duty[1::2] *= -1
    return _spans(rng.uniform(1.0, 2.0, 24), duty), np.zeros(STEPS)


def _pushes(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Driven steadily; now and then a load for 0.5 to 2 s that leaves at least a third of the free speed."""
    duty = rng.uniform(0.5, 1.0)
    loads = rng.uniform(0.2, 0.6, 24) * duty
    loads[::2] = 0.02
    return np.full(STEPS, duty), _spans(rng.uniform(0.5, 2.0, 24), loads)


def _overhauled(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Duty stepping between high and low while something drags the motor on at about the lower speed."""
    duty = rng.uniform(0.7, 0.9, 24)
    duty[1::2] = rng.uniform(0.3, 0.5, 12)
    load = np.where(duty > 0.6, 0.05, -rng.uniform(0.0, 0.12, 24))
    lengths = rng.uniform(0.8, 1.6, 24)
    return _spans(lengths, duty), _spans(lengths, load)


def _at(t_s: float) -> int:
    return round(t_s / STEP_S)


DRIVES = {"starts": _starts, "reversals": _reversals, "pushes": _pushes, "overhauled": _overhauled}


@cache
def _bench(kind: str, coasts: bool) -> Bench:
    rng = np.random.default_rng(len(kind))
    drives = [DRIVES[kind](rng) for _ in range(MOTORS)]
    duty, load = (np.stack(parts, axis=1) for parts in zip(*drives, strict=True))
    return run(draw_motors(MOTORS, seed=len(kind)), duty, load, coasts=coasts)


@pytest.mark.parametrize("speed", [True, False])
@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
@pytest.mark.parametrize(
    ("kind", "coasts"),
    [("starts", False), ("starts", True), ("reversals", False), ("pushes", False), ("overhauled", False)],
)
def test_nothing_is_found_in_healthy_work(kind: str, coasts: bool, rate_hz: float, speed: bool) -> None:
    bench = _bench(kind, coasts)
    wrong = []
    for number in range(MOTORS):
        robot = bench.robot(number, speed=speed)
        motors = trace_motors(bench.log(number, rate_hz, speed=speed), robot)
        states = find_stalls(robot, motors, LENGTH_S)["one"]
        lost = find_interruptions(robot, motors, MATCH, LENGTH_S)["one"]
        wrong += [(number, what) for what in (*states.stall.tolist(), *states.near_stall.tolist(), *lost)]
        assert motors["one"].notes == ()
    assert wrong == []


@pytest.mark.parametrize("speed", [True, False])
@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
@pytest.mark.parametrize("unit_a", ["a", "ma"])
def test_a_held_shaft_is_found_in_every_motor(rate_hz: float, speed: bool, unit_a: str) -> None:
    """Held for one second in the midst of work, on each of forty motors."""
    bench = _held_bench()
    for number in range(MOTORS):
        robot = bench.robot(number, speed=speed, unit_a=unit_a)
        motors = trace_motors(bench.log(number, rate_hz, speed=speed, unit_a=unit_a), robot)
        states = find_stalls(robot, motors, LENGTH_S)["one"]
        assert states.stall == pytest.approx(np.array([[12.0, 13.0]]), abs=0.03 + 1 / rate_hz)
        assert len(states.near_stall) == 0


@pytest.mark.parametrize("speed", [True, False])
@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
def test_a_shaft_that_hardly_turns_is_found_in_every_motor(rate_hz: float, speed: bool) -> None:
    """Slowed to 8 to 17 % of the free speed for two seconds; the heaviest rotor takes one to run down."""
    bench = _slowed_bench()
    for number in range(MOTORS):
        robot = bench.robot(number, speed=speed)
        motors = trace_motors(bench.log(number, rate_hz, speed=speed), robot)
        states = find_stalls(robot, motors, LENGTH_S)["one"]
        assert len(states.stall) == 0
        ((start_s, end_s),) = states.near_stall
        assert 12.0 <= start_s <= 13.2
        assert end_s == pytest.approx(14.0, abs=0.2 + 1 / rate_hz)


@pytest.mark.parametrize("speed", [True, False])
@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
def test_a_lead_off_is_found_in_every_motor(rate_hz: float, speed: bool) -> None:
    """Off from 11.3 s for good, over several drives, on each of forty motors."""
    bench = _unplugged_bench()
    for number in range(MOTORS):
        robot = bench.robot(number, speed=speed)
        motors = trace_motors(bench.log(number, rate_hz, speed=speed, noise_a=0.1), robot)
        (lost,) = find_interruptions(robot, motors, MATCH, LENGTH_S)["one"]
        assert 11.2 <= lost.start_s <= 13.5
        assert not lost.came_back
        assert lost.worked_before
        assert len(find_stalls(robot, motors, LENGTH_S)["one"].stall) == 0


@cache
def _held_bench() -> Bench:
    rng = np.random.default_rng(5)
    load = np.full((STEPS, MOTORS), 0.03)
    load[_at(12.0) : _at(13.0)] = np.inf
    return run(draw_motors(MOTORS, seed=5), np.tile(rng.uniform(0.35, 1.0, MOTORS), (STEPS, 1)), load)


@cache
def _slowed_bench() -> Bench:
    rng = np.random.default_rng(7)
    motors = draw_motors(MOTORS, seed=7)
    duty = rng.uniform(0.4, 1.0, MOTORS)
    friction = motors.free_a / motors.stall_a
    load = np.full((STEPS, MOTORS), 0.03)
    load[_at(12.0) : _at(14.0)] = (duty - friction) * (1 - rng.uniform(0.08, 0.17, MOTORS))
    return run(motors, np.tile(duty, (STEPS, 1)), load)


@cache
def _unplugged_bench() -> Bench:
    rng = np.random.default_rng(6)
    duty = np.tile(rng.uniform(0.35, 1.0, MOTORS), (STEPS, 1))
    duty[(np.arange(STEPS) * STEP_S) % 2.5 > 1.7] = 0.0
    live = np.ones((STEPS, MOTORS))
    live[_at(11.3) :] = 0.0
    return run(draw_motors(MOTORS, seed=6), duty, np.full((STEPS, MOTORS), 0.06), live=live)

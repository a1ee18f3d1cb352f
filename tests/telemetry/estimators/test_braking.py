"""Braking without duty, which a supply-side current does not show: told by how fast a motor stops."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from telemetry.estimators.braking import brakes_at_rest, with_brakes
from telemetry.estimators.motors import trace_motors
from telemetry.motor_model import MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.thermal import thermal_level
from tests.telemetry.bench import BUS_V, STEP_S, Bench, draw_motors, run
from tests.telemetry.building import robot_of
from tests.telemetry.estimators.test_unseen_duty import BATTERY_V, OHM, driven
from tests.telemetry.logs import log_of, numbers

MOTORS = 8
THERMAL = "continuous_current_a = 80\nheating_time_constant_s = 60\ncooling_time_constant_s = 300\n"


@cache
def _bench(*, coasts: bool) -> Bench:
    """A second on, a second off, lightly loaded, for 40 s."""
    duty = np.tile(np.repeat([0.8, 0.0], 500), 20)[:, None] * np.ones(MOTORS)
    load = 0.03 * (duty > 0)
    return run(draw_motors(MOTORS, seed=6), duty, load, coasts=coasts)


def _trace(number: int, *, coasts: bool, rate_hz: float, speed: bool = True) -> MotorTrace:
    bench = _bench(coasts=coasts)
    sheet, every = bench.motors, np.arange(0, len(bench.duty), round(1 / rate_hz / STEP_S))
    t_s = (every * STEP_S).tolist()
    duty = bench.duty[every, number]
    channels = [
        numbers("supply_a", (bench.current_a[every, number] * np.abs(duty)).tolist(), t_s),
        numbers("duty", duty.tolist(), t_s),
        numbers("battery_v", [BUS_V] * len(t_s), t_s),
        numbers("speed_rad_s", bench.speed[every, number].tolist(), t_s),
    ]
    robot = robot_of(
        '[motors.one]\ncurrent = "supply_a"\ncurrent_side = "supply"\ncommand = "duty"\n'
        + ('speed = "speed_rad_s"\n' if speed else "")
        + f"free_speed_rpm = {sheet.free_rpm[number]}\nfree_current_a = {sheet.free_a[number]}\n"
        f'stall_current_a = {sheet.stall_a[number]}\n{THERMAL}[supply]\nvoltage = "battery_v"\n'
    )
    return trace_motors(log_of(*channels), robot)["one"]


def _true_peak(number: int, *, coasts: bool) -> float:
    bench = _bench(coasts=coasts)
    t_s = np.arange(len(bench.duty)) * STEP_S
    level = thermal_level(t_s, bench.current_a[:, number], continuous_a=80, heating_s=60, cooling_s=300)
    return float(level.max())


@pytest.mark.parametrize("coasts", [False, True])
@pytest.mark.parametrize("number", range(MOTORS))
def test_a_short_stops_a_motor_as_fast_as_it_starts_and_friction_does_not(number: int, coasts: bool) -> None:
    bench = _bench(coasts=coasts)
    t_s = np.arange(0, len(bench.duty), 5) * STEP_S
    told = brakes_at_rest(t_s, bench.duty[::5, number], bench.speed[::5, number])
    assert told == (not coasts)


@pytest.mark.parametrize("coasts", [False, True])
def test_a_duty_that_fades_within_a_fifth_of_a_second_is_as_good_as_one_that_ends_at_once(
    coasts: bool,
) -> None:
    """Every other pause lasts 60 ms: too short to tell. A motor quicker than its duty is left out."""
    level = np.concatenate((np.linspace(0, 0.8, 100), np.full(400, 0.8), np.linspace(0.8, 0, 100)))
    one = np.concatenate((level, np.zeros(500), level, np.zeros(30)))
    duty = np.tile(one, 8)[:, None] * np.ones(MOTORS)
    motors = draw_motors(MOTORS, seed=6)
    bench = run(motors, duty, 0.03 * (duty > 0), coasts=coasts)
    slow = motors.inertia * motors.ohm / motors.k**2 > 0.1
    t_s = np.arange(0, len(duty), 5) * STEP_S
    told = [brakes_at_rest(t_s, duty[::5, number], bench.speed[::5, number]) for number in range(MOTORS)]
    assert slow.any()
    assert [one for one, counts in zip(told, slow, strict=True) if counts] == [not coasts] * int(slow.sum())


def test_too_few_stops_tell_nothing() -> None:
    bench = _bench(coasts=False)
    assert not brakes_at_rest(np.arange(1000) * STEP_S, bench.duty[:1000, 0], bench.speed[:1000, 0])


@pytest.mark.parametrize("coasts", [False, True])
def test_heat_of_braking_is_right_by_a_supply_side_current_with_speed(coasts: bool) -> None:
    """At every step of the bench, so that nothing is lost by sampling its sudden starts."""
    for number in range(MOTORS):
        true = _true_peak(number, coasts=coasts)
        ours = float(_trace(number, coasts=coasts, rate_hz=500.0).heat.max())
        assert ours == pytest.approx(true, abs=0.001, rel=0.05)


def test_a_motor_that_coasts_keeps_what_was_measured() -> None:
    t_s, speed = np.arange(4000) * 0.01, np.tile(np.linspace(300, 290, 200), 20)
    command, current_a = np.tile(np.repeat([0.8, 0.0], 100), 20), np.full(4000, 5.0)
    model = MotorModel(12.0, 5300, 1.8, 120)
    told = with_brakes(
        t_s,
        current_a,
        command,
        speed,
        voltage_v=np.full(4000, 12.0),
        resistance_ohm=np.full(4000, 0.1),
        model=model,
    )
    assert told is current_a


def test_without_speed_the_heat_is_told_as_a_range_that_holds_the_truth() -> None:
    said = 0
    for number in range(MOTORS):
        trace = _trace(number, coasts=False, rate_hz=100.0, speed=False)
        notes = [note for note in trace.notes if "lies between" in note]
        least = float(trace.heat.max())
        said += len(notes)
        assert least <= _true_peak(number, coasts=False) * 1.02
        if notes:
            most = float(notes[0].split(" and ")[1].split(":")[0])
            assert most >= 0.95 * _true_peak(number, coasts=False)
    assert said >= 2


@pytest.mark.parametrize("brakes", [True, False])
def test_a_load_that_stops_a_coasting_motor_as_fast_as_it_starts_is_no_brake(brakes: bool) -> None:
    duty = np.tile(np.repeat([0.8, 0.0], 100), 8)
    t_s, _, winding_a, speed = driven(duty, brakes=brakes, step_s=0.01, friction_nm=1.0)
    drawn_a = np.where(duty > 0, winding_a, 0.0)
    told = with_brakes(
        t_s, drawn_a, duty, speed, voltage_v=np.full(len(t_s), BATTERY_V),
        resistance_ohm=np.full(len(t_s), OHM), model=MotorModel(BATTERY_V, 5730, 0.0, BATTERY_V / OHM),
    )  # fmt: skip
    assert brakes_at_rest(t_s, duty, speed)
    assert (told is drawn_a) == (not brakes)

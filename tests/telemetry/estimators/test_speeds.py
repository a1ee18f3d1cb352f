"""A speed channel against back-EMF: wrong scales are set right, lies left aside, and either is said."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.motors import trace_motors
from telemetry.motor_model import RAD_S_PER_RPM
from telemetry.records.motors import MotorTrace
from tests.telemetry.bench import BUS_V, STEP_S, Bench, draw_motors, run
from tests.telemetry.building import robot_of
from tests.telemetry.logs import log_of, numbers

STEPS = 6_000
REDUCTION = 7.0


def _bench() -> Bench:
    """Ahead for 3 s, off for 1 s, back for 3 s, and so on, under some load."""
    phase = np.arange(STEPS) * STEP_S % 8
    duty = np.select([phase < 3, (phase >= 4) & (phase < 7)], [0.7, -0.7], 0.0)[:, None]
    return run(draw_motors(1, seed=3), duty, 0.08 * np.sign(duty))


def _trace(
    factor: float, *, name: str = "speed_rpm", command: bool = True, unsigned: bool = False
) -> MotorTrace:
    """The bench's motor with its speed channel `factor` times what it truly was in rpm."""
    bench = _bench()
    every = np.arange(0, STEPS, 10)
    t_s, sheet = (every * STEP_S).tolist(), bench.motors
    rpm = bench.speed[every, 0] / RAD_S_PER_RPM * factor
    robot = robot_of(
        f'[motors.one]\ncurrent = "a_a"\nspeed = "{name}"\nreduction = {REDUCTION}\n'
        + ('command = "duty"\n' if command else "")
        + f"free_speed_rpm = {sheet.free_rpm[0]}\nfree_current_a = {sheet.free_a[0]}\n"
        f'stall_current_a = {sheet.stall_a[0]}\n[supply]\nvoltage = "battery_v"\n'
    )
    log = log_of(
        numbers("battery_v", [BUS_V] * len(t_s), t_s),
        numbers("duty", bench.duty[every, 0].tolist(), t_s),
        numbers("a_a", np.abs(bench.current_a[every, 0]).tolist(), t_s),
        numbers(name, (np.abs(rpm) if unsigned else rpm).tolist(), t_s),
    )
    return trace_motors(log, robot)["one"]


def _true_rad_s() -> np.ndarray:
    return np.abs(_bench().speed[np.arange(0, STEPS, 10), 0])


def test_a_channel_that_agrees_is_taken_without_a_word() -> None:
    trace = _trace(1.0)
    assert (trace.speed_source, trace.notes) == ("channel", ())
    assert np.abs(trace.speed_rad_s) == pytest.approx(_true_rad_s(), rel=1e-9)


def test_a_reversed_channel_is_said_and_used_the_other_way_round() -> None:
    right, turned = _trace(1.0), _trace(-1.0)
    assert turned.notes == ("The speed of motor one is logged with the opposite sign to its command.",)
    assert turned.speed_rad_s == pytest.approx(right.speed_rad_s)


def test_a_channel_without_sign_is_no_mistake() -> None:
    trace = _trace(1.0, unsigned=True)
    assert trace.notes == ()
    assert np.abs(trace.speed_rad_s) == pytest.approx(_true_rad_s())


@pytest.mark.parametrize(
    ("factor", "said"),
    [
        (RAD_S_PER_RPM, "fits rad/s where rpm is written"),
        (1 / RAD_S_PER_RPM, "fits rpm where rad/s is written"),
        (1 / REDUCTION, "fits the output shaft"),
        (RAD_S_PER_RPM / REDUCTION, "fits the output shaft, not the motor's, and fits rad/s"),
    ],
)
def test_a_known_wrong_scale_is_said_and_set_right(factor: float, said: str) -> None:
    trace = _trace(factor)
    assert trace.speed_source == "channel"
    assert said in trace.notes[0]
    assert np.abs(trace.speed_rad_s) == pytest.approx(_true_rad_s(), rel=1e-6)


@pytest.mark.parametrize("factor", [0.4, 3.0])
def test_a_scale_that_nothing_explains_gives_way_to_back_emf(factor: float) -> None:
    trace = _trace(factor)
    assert trace.speed_source == "back-EMF"
    assert "back-EMF instead" in trace.notes[0]
    up = trace.driven & (_true_rad_s() > 0.5 * _true_rad_s().max())
    assert np.median(trace.speed_rad_s[up] / _true_rad_s()[up]) == pytest.approx(1.0, abs=0.02)


def test_a_channel_that_stays_at_rest_while_the_motor_turns_is_left_aside() -> None:
    trace = _trace(0.0)
    assert trace.speed_source == "back-EMF"
    assert "reads nearly nothing" in trace.notes[0]


def test_braking_against_the_rotation_is_a_speed_below_nought() -> None:
    """At 4 s it is stopped, then driven back; signed and unsigned channels agree on what was braked."""
    bench = run(draw_motors(1, seed=3), np.repeat([[0.8], [-0.8]], 1500, axis=0), np.zeros((3000, 1)))
    every = np.arange(0, 3000, 2)
    for unsigned in (False, True):
        speed = bench.speed[every, 0]
        log = log_of(
            numbers("battery_v", [BUS_V] * len(every), (every * STEP_S).tolist()),
            numbers("duty", bench.duty[every, 0].tolist(), (every * STEP_S).tolist()),
            numbers("current_a", bench.current_a[every, 0].tolist(), (every * STEP_S).tolist()),
            numbers(
                "speed_rad_s", (np.abs(speed) if unsigned else speed).tolist(), (every * STEP_S).tolist()
            ),
        )
        trace = trace_motors(log, bench.robot(0))["one"]
        braked = (bench.duty[every, 0] < 0) & (speed > 0.3 * speed.max())
        assert (trace.speed_rad_s[braked] < 0).all()
        assert (trace.speed_rad_s[trace.driven & ~braked & (np.abs(speed) > 0.3 * speed.max())] > 0).all()


def test_without_a_command_only_a_speed_beyond_all_bounds_is_said() -> None:
    assert _trace(1.0, command=False).notes == ()
    (note,) = _trace(1 / RAD_S_PER_RPM, command=False).notes
    assert "far beyond its free speed" in note


@pytest.mark.parametrize("continuous_a", [1.0, 1000.0])
def test_a_winding_thought_too_hot_does_not_discredit_a_sound_channel(continuous_a: float) -> None:
    """At half its stall current: with a limit of 1 A it were burnt, and its resistance half as much again."""
    t_s = np.arange(0, 60, 0.05)
    robot = robot_of(
        '[motors.one]\ncurrent = "a_a"\ncommand = "duty"\nspeed = "speed_rpm"\nfree_speed_rpm = 5300\n'
        f"free_current_a = 2\nstall_current_a = 120\ncontinuous_current_a = {continuous_a}\n"
        'heating_time_constant_s = 20\n[supply]\nvoltage = "battery_v"\n'
    )
    rpm = 5300 * (12 - 60 * 0.1) / (12 - 0.2)
    log = log_of(
        numbers("battery_v", np.full(len(t_s), 12.0), t_s),
        numbers("duty", np.ones(len(t_s)), t_s),
        numbers("a_a", np.full(len(t_s), 60.0), t_s),
        numbers("speed_rpm", np.full(len(t_s), rpm), t_s),
    )
    trace = trace_motors(log, robot)["one"]
    assert (trace.speed_source, trace.notes) == ("channel", ())

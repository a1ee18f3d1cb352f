"""Motors that stand or nearly stand, told from healthy starts, reversals, coasting and no current at all."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from telemetry.estimators.motors import trace_motors
from telemetry.estimators.stalls import find_stalls
from telemetry.estimators.use import sum_up_use
from telemetry.log import FloatArray
from telemetry.match import Match, Phase
from telemetry.motor_model import RAD_S_PER_RPM
from telemetry.records.motors import MotorStates, MotorTrace
from tests.telemetry.building import RATES_HZ, clock, held, robot_of
from tests.telemetry.logs import log_of, numbers

SHEET = """
free_speed_rpm = 5300
free_current_a = 1.8
stall_current_a = 120
stall_torque_nm = 2.4
"""
WITH_SPEED = robot_of(f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\nspeed = "feed_rpm"\n{SHEET}')
BY_CURRENT = robot_of(
    f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\n{SHEET}[supply]\nvoltage = "battery_v"\n'
)
UNCOMMANDED = robot_of(f'[motors.feed]\ncurrent = "feed_a"\nspeed = "feed_rpm"\n{SHEET}')

RESISTANCE_OHM = 0.1
FREE_RPM_AT_HALF = 5300 * (6.0 - 0.18) / (12.0 - 0.18)
K_V_S_PER_RAD = (12.0 - 0.18) / (5300 * RAD_S_PER_RPM)
LENGTH_S = 30.0
WHOLE = Match("m", 0.0, 3600.0, (0.0, 3600.0), (Phase("teleop", 0.0, 3600.0),), "channel")

Share = Mapping[tuple[float, float], float]


def _states(
    share: Share, *, t_s: FloatArray | None = None, by_speed: bool = True, duty: float = 0.5
) -> MotorStates:
    """A motor at half duty from 10 s on, at a share of its free speed, with the current that this takes."""
    t_s = clock(LENGTH_S) if t_s is None else t_s
    start_s, end_s = min(a for a, _ in share), max(b for _, b in share)
    rpm = {span: value * FREE_RPM_AT_HALF for span, value in share.items()}
    current_a = {
        span: (6.0 - K_V_S_PER_RAD * value * RAD_S_PER_RPM) / RESISTANCE_OHM for span, value in rpm.items()
    }
    log = log_of(
        held("duty", t_s, {(start_s, end_s): duty}),
        held("feed_a", t_s, current_a),
        held("feed_rpm", t_s, rpm),
        held("battery_v", t_s, {}, rest=12.0),
    )
    robot = WITH_SPEED if by_speed else BY_CURRENT
    return find_stalls(robot, trace_motors(log, robot), log.span_s)["feed"]


def _driven(
    current_a: FloatArray, command: FloatArray, rpm: FloatArray | None, t_s: FloatArray
) -> MotorStates:
    channels = [
        numbers("duty", command.tolist(), t_s.tolist()),
        numbers("feed_a", current_a.tolist(), t_s.tolist()),
    ]
    if rpm is not None:
        channels.append(numbers("feed_rpm", rpm.tolist(), t_s.tolist()))
    robot = BY_CURRENT if rpm is None else WITH_SPEED
    return find_stalls(robot, trace_motors(log_of(*channels), robot), float(t_s[-1]))["feed"]


def _nothing(states: MotorStates) -> bool:
    return len(states.stall) == len(states.near_stall) == 0


# Both sides of every limit


@pytest.mark.parametrize("by_speed", [True, False])
@pytest.mark.parametrize(("lasting_s", "stalls"), [(0.24, 0), (0.26, 1)])
def test_a_stall_lasts_a_quarter_of_a_second(by_speed: bool, lasting_s: float, stalls: int) -> None:
    states = _states({(10, 10 + lasting_s): 0.0, (10 + lasting_s, 12): 0.9}, by_speed=by_speed)
    assert len(states.stall) == stalls
    assert len(states.near_stall) == 0


@pytest.mark.parametrize("by_speed", [True, False])
@pytest.mark.parametrize(
    ("share", "stalls", "near"), [(0.045, 1, 0), (0.055, 0, 1), (0.19, 0, 1), (0.21, 0, 0)]
)
def test_below_five_percent_is_a_stall_below_twenty_near_it(
    by_speed: bool, share: float, stalls: int, near: int
) -> None:
    states = _states({(10, 12): share, (12, 14): 0.9}, by_speed=by_speed)
    assert (len(states.stall), len(states.near_stall)) == (stalls, near)


@pytest.mark.parametrize("by_speed", [True, False])
@pytest.mark.parametrize(("lasting_s", "near"), [(0.48, 0), (0.52, 1)])
def test_a_near_stall_lasts_half_a_second(by_speed: bool, lasting_s: float, near: int) -> None:
    states = _states({(10, 10 + lasting_s): 0.12, (10 + lasting_s, 12): 0.9}, by_speed=by_speed)
    assert (len(states.stall), len(states.near_stall)) == (0, near)


@pytest.mark.parametrize(("duty", "stalls"), [(0.19, 0), (0.5, 1)])
def test_what_is_not_driven_does_not_stall(duty: float, stalls: int) -> None:
    assert len(_states({(10, 12): 0.0}, duty=duty).stall) == stalls


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
@pytest.mark.parametrize("by_speed", [True, False])
def test_the_same_at_any_rate(rate_hz: float, jitter: float, by_speed: bool) -> None:
    t_s = clock(LENGTH_S, rate_hz, jitter=jitter)
    share = {(10.0, 12.0): 0.9, (12.0, 14.5): 0.01, (14.5, 16.0): 0.9, (16.0, 18.0): 0.12}
    states = _states(share, t_s=t_s, by_speed=by_speed)
    within = (1 + 2 * jitter) / rate_hz + 1e-9
    assert states.stall == pytest.approx(np.array([[12.0, 14.5]]), abs=within)
    assert states.near_stall == pytest.approx(np.array([[16.0, 18.0]]), abs=within)


def test_a_stall_still_on_ends_with_the_log() -> None:
    states = _states({(10, 28): 0.9, (28, LENGTH_S): 0.0})
    assert states.stall == pytest.approx(np.array([[28.0, 29.98]]))


def test_a_motor_that_jerks_along_is_near_stall_all_the_while() -> None:
    """Now 4 %, now 8 %, each for 0.2 s: no stall, but far from turning."""
    jerks = {(10 + 0.2 * k, 10.2 + 0.2 * k): (0.04, 0.08)[k % 2] for k in range(20)}
    states = _states(jerks)
    assert len(states.stall) == 0
    assert states.near_stall == pytest.approx(np.array([[10.0, 14.0]]))


def test_a_stall_is_not_near_stall_as_well() -> None:
    states = _states({(10, 11): 0.12, (11, 12): 0.01, (12, 13): 0.12, (13, 14): 0.9})
    assert states.stall == pytest.approx(np.array([[11.0, 12.0]]))
    assert states.near_stall == pytest.approx(np.array([[10.0, 11.0], [12.0, 13.0]]))


# Not a stall


def _starts(t_s: FloatArray, constant_s: float) -> tuple[FloatArray, FloatArray]:
    """Driven at half duty 2 s of every 4: (command, share of the free speed) as it spins up and down."""
    since_s = t_s % 4
    command = np.where((since_s >= 1) & (since_s < 3), 0.5, 0.0)
    up = 1 - np.exp(-np.maximum(since_s - 1, 0) / constant_s)
    down = np.exp(-np.maximum(since_s - 3, 0) / constant_s)
    return command, up * down


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("constant_s", [0.05, 0.3, 1.5])
@pytest.mark.parametrize("by_speed", [True, False])
def test_a_healthy_start_is_neither(rate_hz: float, constant_s: float, by_speed: bool) -> None:
    t_s = clock(40, rate_hz)
    command, share = _starts(t_s, constant_s)
    rpm = share * FREE_RPM_AT_HALF
    back_emf_v = rpm * RAD_S_PER_RPM * K_V_S_PER_RAD
    current_a = np.where(command > 0, (6.0 - back_emf_v) / RESISTANCE_OHM, 0.0)
    assert _nothing(_driven(current_a, command, rpm if by_speed else None, t_s))


@pytest.mark.parametrize("by_speed", [True, False])
def test_a_reversal_is_neither(by_speed: bool) -> None:
    """From full speed one way to full speed the other, with a braking current above that of a stall."""
    t_s = clock(20)
    command = np.where(t_s < 10, 0.5, -0.5)
    signed = np.where(t_s < 10, 1.0, -1 + 2 * np.exp(-np.maximum(t_s - 10, 0) / 0.3))
    back_emf_v = signed * FREE_RPM_AT_HALF * RAD_S_PER_RPM * K_V_S_PER_RAD
    current_a = (12.0 * command - back_emf_v) / RESISTANCE_OHM
    rpm = signed * FREE_RPM_AT_HALF
    assert _nothing(_driven(current_a, command, rpm if by_speed else None, t_s))


@pytest.mark.parametrize("by_speed", [True, False])
def test_a_motor_that_runs_out_is_neither(by_speed: bool) -> None:
    t_s = clock(20)
    command = np.where(t_s < 10, 0.5, 0.0)
    rpm = FREE_RPM_AT_HALF * np.where(t_s < 10, 1.0, np.exp(-np.maximum(t_s - 10, 0) / 1.0))
    current_a = np.where(t_s < 10, 1.8, 0.0)
    assert _nothing(_driven(current_a, command, rpm if by_speed else None, t_s))


@pytest.mark.parametrize("by_speed", [True, False])
def test_a_motor_without_current_is_not_stalled(by_speed: bool) -> None:
    """Unplugged: driven, at rest, and drawing next to nothing."""
    t_s = clock(20)
    command = np.where((t_s >= 5) & (t_s < 15), 0.8, 0.0)
    current_a = np.full(len(t_s), 0.3)
    assert _nothing(_driven(current_a, command, np.zeros(len(t_s)) if by_speed else None, t_s))


def test_a_gap_in_the_log_is_no_stall() -> None:
    t_s = clock(20)
    t_s = t_s[(t_s < 10.1) | (t_s >= 14)]
    states = _states({(5, 10): 0.9, (10, 10.2): 0.0, (14, 18): 0.9}, t_s=t_s)
    assert _nothing(states)


# What tells the speed


@pytest.mark.parametrize(("name", "factor"), [("feed_rpm", 1.0), ("feed_rad_s", RAD_S_PER_RPM)])
def test_a_slow_motor_is_as_slow_in_any_unit(name: str, factor: float) -> None:
    t_s = clock(20)
    robot = robot_of(f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\nspeed = "{name}"\n{SHEET}')
    log = log_of(
        held("duty", t_s, {(5, 15): 0.5}),
        held("feed_a", t_s, {(5, 15): 55.0}),
        held(name, t_s, {(5, 15): 0.04 * FREE_RPM_AT_HALF * factor}),
    )
    states = find_stalls(robot, trace_motors(log, robot), log.span_s)["feed"]
    assert states.stall == pytest.approx(np.array([[5.0, 15.0]]))


def test_without_a_command_current_and_speed_tell_a_stall() -> None:
    t_s = clock(20)
    log = log_of(held("feed_a", t_s, {(5, 6): 60.0, (6, 15): 5.0}), held("feed_rpm", t_s, {(6, 15): 2500.0}))
    states = find_stalls(UNCOMMANDED, trace_motors(log, UNCOMMANDED), log.span_s)["feed"]
    assert states.stall == pytest.approx(np.array([[5.0, 6.0]]))


@pytest.mark.parametrize("command", ["", 'command = "duty"\n'])
def test_without_a_data_sheet_there_are_no_states(command: str) -> None:
    robot = robot_of(f'[motors.feed]\ncurrent = "feed_a"\n{command}')
    log = log_of(numbers("feed_a", [60.0] * 9), numbers("duty", [0.5] * 9))
    assert dict(find_stalls(robot, trace_motors(log, robot), log.span_s)) == {}


def test_a_hot_winding_that_draws_less_still_stalls() -> None:
    """At 1.0 of its thermal level the copper takes a quarter less current at rest."""
    robot = robot_of(
        f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\n{SHEET}'
        "continuous_current_a = 45\nheating_time_constant_s = 5\n"
    )
    t_s = clock(60)
    log = log_of(held("duty", t_s, {(2, 58): 0.5}), held("feed_a", t_s, {(2, 58): 60 / 1.31}))
    states = find_stalls(robot, trace_motors(log, robot), log.span_s)["feed"]
    assert states.stall[-1][1] == pytest.approx(58.0)
    assert states.stall[-1][1] - states.stall[-1][0] > 30


# In a few numbers


def test_a_match_in_a_few_numbers() -> None:
    t_s = clock(3600, 1.0)
    robot = robot_of(
        f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\nspeed = "feed_rpm"\n{SHEET}'
        'continuous_current_a = 40\nheating_time_constant_s = 60\n[supply]\nvoltage = "battery_v"\n'
    )
    log = log_of(
        held("battery_v", t_s, {}, rest=12.0),
        held("duty", t_s, {}, rest=0.5),
        held("feed_a", t_s, {}, rest=20.0),
        held("feed_rpm", t_s, {}, rest=2000.0),
    )
    motors = trace_motors(log, robot)
    use = sum_up_use(robot, motors, find_stalls(robot, motors, log.span_s), WHOLE)["feed"]
    assert (use.peak_current_a, use.stall_s, use.near_stall_s) == (20.0, 0.0, 0.0)
    assert (use.peak_heat, use.end_heat) == pytest.approx((0.25, 0.25))
    assert use.energy_wh == pytest.approx(12 * 10 * 3599 / 3600)


def test_what_is_not_known_is_none() -> None:
    robot = robot_of('[motors.feed]\ncurrent = "feed_a"\n')
    motors: Mapping[str, MotorTrace] = trace_motors(log_of(numbers("feed_a", [4, 9])), robot)
    use = sum_up_use(robot, motors, {}, WHOLE)["feed"]
    assert use.peak_current_a == 9.0
    assert [use.stall_s, use.near_stall_s, use.peak_heat, use.end_heat, use.energy_wh] == [None] * 5


@pytest.mark.parametrize(
    ("battery", "of_rest", "found"),
    [
        ("battery_v", 0.97, (1, 0)),
        ("battery_v", 0.93, (0, 1)),
        ("battery_v", 0.77, (0, 0)),
        (None, 0.97, (1, 0)),
        (None, 0.93, (0, 1)),
        (None, 0.77, (0, 1)),
    ],
)
def test_a_weaker_battery_than_the_one_assumed_hides_no_motor_that_stands(
    battery: str | None, of_rest: float, found: tuple[int, int]
) -> None:
    """The current is so much of what a charged battery would drive at rest: known to turn, or not."""
    t_s = clock(20)
    supply = f'[supply]\nvoltage = "{battery}"\n' if battery else ""
    robot = robot_of(f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\n{SHEET}{supply}')
    channels = [held("duty", t_s, {(5, 7): 0.5}), held("feed_a", t_s, {(5, 7): 55.8})]
    assumed = trace_motors(
        log_of(*channels), robot_of(f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\n{SHEET}')
    )
    at_rest_a = of_rest * float(assumed["feed"].applied_v[300]) / (12.0 / 120.0)
    channels = [channels[0], held("feed_a", t_s, {(5, 7): at_rest_a})]
    volts = assumed["feed"].voltage_v.tolist()
    log = log_of(*channels, *([numbers("battery_v", volts, t_s.tolist())] if battery else []))
    states = find_stalls(robot, trace_motors(log, robot), log.span_s)["feed"]
    assert (len(states.stall), len(states.near_stall)) == found


def test_one_slow_stretch_under_an_assumed_voltage_is_told_as_one_trouble() -> None:
    """Of 3 s at 0.15 of the free speed, half a second seems to stand."""
    t_s = clock(20)
    robot = robot_of(f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\n{SHEET}')
    duty = held("duty", t_s, {(5, 8): 0.5})
    idle = trace_motors(log_of(duty, held("feed_a", t_s, {(5, 8): 52.0})), robot)["feed"]
    most_a = float(idle.applied_v[300]) / (12.0 / 120.0)
    log = log_of(
        duty, held("feed_a", t_s, {(5, 7): 0.85 * most_a, (7, 7.5): 0.97 * most_a, (7.5, 8): 0.85 * most_a})
    )
    states = find_stalls(robot, trace_motors(log, robot), log.span_s)["feed"]
    assert len(states.stall) == 0
    np.testing.assert_allclose(states.near_stall, [[5, 8]], atol=0.05)


@pytest.mark.parametrize(("share", "found"), [(0.23, 1), (0.27, 0)])
def test_room_is_left_above_a_fifth_of_the_speed_where_the_voltage_is_assumed(
    share: float, found: int
) -> None:
    t_s = clock(20)
    robot = robot_of(f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\n{SHEET}')
    duty = held("duty", t_s, {(5, 8): 0.5})
    applied_v = 6.0
    for _ in range(20):
        current_a = (1 - share) * applied_v / (12.0 / 120.0)
        trace = trace_motors(log_of(duty, held("feed_a", t_s, {(5, 8): current_a})), robot)["feed"]
        applied_v = float(trace.applied_v[300])
    states = find_stalls(robot, {"feed": trace}, 20.0)["feed"]
    assert (len(states.stall), len(states.near_stall)) == (0, found)


@pytest.mark.parametrize(
    ("middle", "stalls", "drags"), [(0.03, [(10.0, 16.0)], []), (0.09, [], [(10.0, 16.0)])]
)
def test_a_speed_by_current_that_trembles_about_the_limit_is_one_trouble(
    middle: float, stalls: list[tuple[float, float]], drags: list[tuple[float, float]]
) -> None:
    """Twice for half a second on the other side of 5 % than the rest, twice surely below."""
    share = {(10.0, 11.0): middle, (11.0, 11.5): 0.02, (11.5, 13.0): middle, (13.0, 13.5): 0.02}
    share |= {(13.5, 14.0): 0.07, (14.0, 16.0): middle}
    states = _states(share, by_speed=False)
    assert states.stall.tolist() == [pytest.approx(one, abs=0.05) for one in stalls]
    assert states.near_stall.tolist() == [pytest.approx(one, abs=0.05) for one in drags]


@pytest.mark.parametrize("by_speed", [True, False])
def test_the_only_start_of_a_heavy_wheel_is_no_near_stall(by_speed: bool) -> None:
    """Over half a second below a fifth of its speed, gaining all the while, as its inertia makes it."""
    rises = {
        (10 + step / 50, 10 + (step + 1) / 50): float(-np.expm1(-(step + 0.5) / 50 / 2.8))
        for step in range(900)
    }
    assert _states(rises, by_speed=by_speed).near_stall.tolist() == []


@pytest.mark.parametrize("by_speed", [True, False])
def test_one_held_at_its_only_start_and_then_let_go_is_near_stall(by_speed: bool) -> None:
    found = _states({(10, 10.8): 0.1, (10.8, 20): 0.9}, by_speed=by_speed).near_stall
    assert found[:, 0] == pytest.approx([10.0], abs=0.05)

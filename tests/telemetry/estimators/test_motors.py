"""What a motor did: current, speed and voltage, from whatever channels and units there are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from telemetry.estimators.motors import DRIVEN_COMMAND, assumed_voltage_note, supply_current_a, trace_motors
from telemetry.log import Channel
from telemetry.motor_model import RAD_S_PER_RPM
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Lapse
from tests.telemetry.building import robot_of
from tests.telemetry.logs import log_of, numbers

SHEET = """
free_speed_rpm = 5300
free_current_a = 1.8
stall_current_a = 120
stall_torque_nm = 2.4
"""
K_V_S_PER_RAD = (12.0 - 1.8 * 0.1) / (5300 * RAD_S_PER_RPM)


def _feed(*channels: Channel, roles: str = "", battery_v: Sequence[float] = (12.0,)) -> MotorTrace:
    robot = robot_of(f'[motors.feed]\ncurrent = "feed_a"\n{SHEET}{roles}\n[supply]\nvoltage = "battery_v"')
    return trace_motors(log_of(*channels, numbers("battery_v", battery_v)), robot)["feed"]


# Current


def test_current_is_the_windings_without_sign() -> None:
    trace = _feed(numbers("feed_a", [-10, 0, 10, 20]))
    assert trace.current_a.tolist() == [10, 0, 10, 20]


def test_milliamperes_are_amperes() -> None:
    robot = robot_of('[motors.feed]\ncurrent = "feed_ma"\n')
    trace = trace_motors(log_of(numbers("feed_ma", [1500])), robot)["feed"]
    assert trace.current_a.tolist() == [1.5]


def test_a_supply_side_current_is_more_in_the_winding() -> None:
    trace = _feed(
        numbers("feed_a", [10, 10, 10, 1]),
        numbers("duty", [1, 0.5, -0.25, 0]),
        roles='command = "duty"\ncurrent_side = "supply"',
    )
    assert trace.current_a.tolist() == [10, 20, 40, 1]
    assert supply_current_a(trace).tolist() == [10, 10, 10, 1]


def test_a_motor_whose_current_is_not_logged_has_no_trace() -> None:
    robot = robot_of('[motors.feed]\ncurrent = "feed_a"\n[motors.arm]\ncommand = "duty"\n')
    assert dict(trace_motors(log_of(numbers("duty", [1]), numbers("feed_a", [])), robot)) == {}


# Speed


@pytest.mark.parametrize(
    ("name", "logged"),
    [("feed_rpm", 2650.0), ("feed_rad_s", 2650.0 * RAD_S_PER_RPM), ("feed [deg/s]", 15900.0)],
)
def test_speed_in_any_unit_is_the_same(name: str, logged: float) -> None:
    trace = _feed(
        numbers("feed_a", [5, 5]),
        numbers("duty", [0.5, 0.5]),
        numbers(name, [-logged, logged]),
        roles=f'command = "duty"\nspeed = "{name}"',
    )
    assert trace.speed_source == "channel"
    assert trace.speed_rad_s == pytest.approx([2650 * RAD_S_PER_RPM] * 2)
    free = (6.0 - 1.8 * 0.1) / K_V_S_PER_RAD
    assert trace.speed_share == pytest.approx([2650 * RAD_S_PER_RPM / free] * 2)


def test_without_a_speed_channel_back_emf_tells_it() -> None:
    trace = _feed(
        numbers("feed_a", [60, 30, 1.8]), numbers("duty", [0.5, 0.5, 0.5]), roles='command = "duty"'
    )
    assert trace.speed_source == "back-EMF"
    assert trace.speed_rad_s == pytest.approx([0, 3 / K_V_S_PER_RAD, 5.82 / K_V_S_PER_RAD])
    assert trace.speed_share == pytest.approx([0, 3 / 5.82, 1])


def test_the_logged_supply_voltage_counts() -> None:
    trace = _feed(
        numbers("feed_a", [40, 40]),
        numbers("duty", [0.5, 0.5]),
        roles='command = "duty"',
        battery_v=[10, 8],
    )
    assert trace.applied_v.tolist() == [5, 4]
    assert trace.speed_rad_s == pytest.approx([1 / K_V_S_PER_RAD, 0])


def test_without_command_and_speed_nothing_tells_the_speed() -> None:
    trace = _feed(numbers("feed_a", [10, 20]))
    assert trace.speed_source == "none"
    assert np.isnan(trace.speed_rad_s).all()
    assert np.isnan(trace.speed_share).all()


def test_without_a_command_current_and_speed_tell_the_voltage() -> None:
    trace = _feed(numbers("feed_a", [30]), numbers("feed_rad_s", [100.0]), roles='speed = "feed_rad_s"')
    assert trace.applied_v == pytest.approx([3 + 100 * K_V_S_PER_RAD])


def test_below_one_volt_no_share_is_told() -> None:
    trace = _feed(numbers("feed_a", [1, 1]), numbers("duty", [0.05, 0.5]), roles='command = "duty"')
    assert np.isnan(trace.speed_share).tolist() == [True, False]


# Driven


@pytest.mark.parametrize(
    ("command", "driven"),
    [(DRIVEN_COMMAND, True), (-DRIVEN_COMMAND, True), (0.199, False), (0.0, False), (-0.199, False)],
)
def test_driven_from_a_fifth_of_the_duty_on(command: float, driven: bool) -> None:
    trace = _feed(numbers("feed_a", [1]), numbers("duty", [command]), roles='command = "duty"')
    assert trace.driven.tolist() == [driven]


def test_without_a_command_the_voltage_tells_whether_it_is_driven() -> None:
    trace = _feed(
        numbers("feed_a", [30, 0.5, 2]), numbers("feed_rad_s", [0, 0, 300]), roles='speed = "feed_rad_s"'
    )
    assert trace.driven.tolist() == [True, False, True]


def test_a_command_logged_when_it_changes_holds_until_then() -> None:
    duty = replace(numbers("duty", [0, 0.8, 0], [0, 2, 5]), sampled=False)
    trace = _feed(numbers("feed_a", [1] * 7), duty, roles='command = "duty"')
    assert trace.command.tolist() == [0, 0, 0.8, 0.8, 0.8, 0, 0]


# Heat


def test_heat_needs_the_robot_files_numbers() -> None:
    assert np.isnan(_feed(numbers("feed_a", [10, 20])).heat).all()


def test_heat_nears_the_square_of_the_load() -> None:
    trace = _feed(
        numbers("feed_a", [32] * 200),
        roles="continuous_current_a = 64\nheating_time_constant_s = 10",
    )
    assert trace.heat[0] == 0
    assert trace.heat[10] == pytest.approx(0.25 * (1 - np.exp(-1)))
    assert trace.heat[-1] == pytest.approx(0.25, rel=1e-6)


# What is not logged


def test_an_assumed_battery_voltage_is_said_with_its_range() -> None:
    robot = robot_of(f'[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\n{SHEET}')
    motors = trace_motors(log_of(numbers("feed_a", [0, 50]), numbers("duty", [0, 1])), robot)
    (note,) = assumed_voltage_note(motors)
    assert motors["feed"].voltage_source == "assumed"
    assert "11.6 to 12.6 V" in note


def test_a_logged_battery_voltage_needs_no_word() -> None:
    trace = _feed(numbers("feed_a", [0, 50]))
    assert (trace.voltage_source, assumed_voltage_note({"feed": trace})) == ("channel", ())
    assert assumed_voltage_note({}) == ()


HEAT = 'continuous_current_a = 32\nheating_time_constant_s = 90\ncurrent_side = "supply"\n'


@pytest.mark.parametrize(
    ("roles", "source", "said"),
    [
        ('command = "duty"\n', "supply current and command", ""),
        ('speed = "feed_rpm"\n', "supply current and speed", "how it slows down tells when it brakes"),
        ("", "supply current alone", "only its supply-side current is logged"),
    ],
)
def test_heat_by_a_supply_side_current_says_what_it_cannot_see(roles: str, source: str, said: str) -> None:
    channels = [
        numbers(name, [value] * 9) for name, value in (("feed_a", 20), ("duty", 0.5), ("feed_rpm", 900))
    ]
    trace = _feed(*channels, roles=HEAT + roles)
    assert trace.heat_source == source
    assert [said in note for note in trace.notes] == ([True] if said else [])
    assert np.isfinite(trace.heat).all() == (source != "supply current alone")


def test_what_a_frozen_channel_repeats_is_not_believed() -> None:
    """A current frozen from 4 to 6 s ends there and begins anew; a frozen speed is told by back-EMF."""
    t_s = np.arange(0, 10, 0.02)
    frozen = (t_s >= 4) & (t_s < 6)
    robot = robot_of(
        '[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\nspeed = "feed_rpm"\n'
        "free_speed_rpm = 5300\nfree_current_a = 2\nstall_current_a = 120\n"
        '[supply]\nvoltage = "battery_v"\n'
    )
    log = log_of(
        numbers("feed_a", np.where(frozen, 100.0, 20.0), t_s),
        numbers("duty", np.full(len(t_s), 0.5), t_s),
        numbers("feed_rpm", np.where(frozen, 100.0, 1796.6), t_s),
        numbers("battery_v", np.full(len(t_s), 12.0), t_s),
    )

    def traced(name: str) -> MotorTrace:
        return trace_motors(log, robot, lapses={name: [Lapse(name, "frozen", 4.0, 6.0)]})["feed"]

    by_current = traced("feed_a")
    assert by_current.t_s.tolist() == t_s[~frozen].tolist()
    assert by_current.current_a.max() == 20.0
    by_speed = traced("feed_rpm")
    told = by_speed.speed_rad_s[frozen] * 60 / (2 * np.pi)
    assert told == pytest.approx(np.full(100, (6.0 - 10.0) / (12.0 - 0.2) * 5300), abs=1.0)
    assert traced("duty").speed_rad_s[frozen] == pytest.approx(np.full(100, 100 * 2 * np.pi / 60))


def test_a_supply_side_current_is_not_divided_by_a_duty_that_never_was() -> None:
    """Half duty for half of each second, read 20 ms before the current: none or half, and no quarter."""
    t_s = np.arange(0, 10, 0.1)
    read_s = t_s + 0.02
    robot = robot_of('[motors.feed]\ncurrent = "feed_a"\ncurrent_side = "supply"\ncommand = "duty"\n')
    log = log_of(
        numbers("feed_a", np.where(read_s % 1 < 0.5, 10.0, 0.0), read_s),
        numbers("duty", np.where(t_s % 1 < 0.45, 0.5, 0.0), t_s),
    )
    assert set(trace_motors(log, robot)["feed"].current_a.tolist()) == {0.0, 20.0}

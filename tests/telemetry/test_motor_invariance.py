"""The same match in other units, at other rates, with other signs and channels: the same findings."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from types import MappingProxyType

import numpy as np
import pytest

from telemetry.analysis import Analysis
from telemetry.judge import judge
from telemetry.log import Log
from telemetry.robot import Robot
from tests.telemetry.bench import STEP_S, Bench, Motors, run
from tests.telemetry.building import robot_of
from tests.telemetry.logs import log_of, numbers

LENGTH_S = 60.0
KINDS = (
    "stall",
    "near_stall",
    "no_draw",
    "breaker_cycling",
    "overheat",
    "breaker_risk",
    "chain_risk",
    "source_resistance",
)
Values = np.ndarray


@cache
def _bench() -> Bench:
    """Two motors: the first is held at 12 s and slowed at 22 s, the second loses its lead at 31 s."""
    steps = round(LENGTH_S / STEP_S)
    t_s = np.arange(steps) * STEP_S
    sheet = Motors(
        np.array([5300.0, 6000.0]), np.array([2.0, 1.5]), np.array([130.0, 80.0]), np.array([4e-4, 2e-4])
    )
    duty = np.where((t_s % 6 < 4)[:, None], np.array([0.8, -0.6]), 0.0)
    load = np.array([0.1, -0.08]) * np.ones((steps, 1))
    load[(t_s >= 12.5) & (t_s < 14.0), 0] = np.inf
    load[(t_s >= 24.5) & (t_s < 27.5), 0] = 0.68
    live = np.ones((steps, 2))
    live[t_s >= 31, 1] = 0
    return run(sheet, duty, load, live=live)


def _read(rate_hz: float, change: Callable[[str, Values], tuple[str, Values]]) -> tuple[Log, Robot]:
    """The bench as a log: `change` takes each channel's key and values, and gives its name and values."""
    bench = _bench()
    rng = np.random.default_rng(0)
    due_s = np.arange(0, LENGTH_S - 1 / rate_hz, 1 / rate_hz)
    every = np.unique(np.round((due_s + rng.uniform(0, 0.5 / rate_hz, len(due_s))) / STEP_S).astype(int))
    drawn_a = (bench.duty * bench.current_a).sum(axis=1)[every]
    values = {"battery.v": 12.0 - 1e-4 * drawn_a, "total.a": drawn_a}
    for number, name in enumerate(("first", "second")):
        values[f"{name}.a"] = bench.current_a[every, number] + rng.normal(0, 0.1, len(every))
        values[f"{name}.duty"] = bench.duty[every, number]
        values[f"{name}.speed"] = bench.speed[every, number]
    named = {key: change(key, value) for key, value in values.items()}
    t_s = (every * STEP_S).tolist()
    log = log_of(*(numbers(name, kept.tolist(), t_s) for name, kept in named.values()))
    return log, _robot({key: name for key, (name, _) in named.items()})


def _robot(names: dict[str, str]) -> Robot:
    sheet = _bench().motors
    parts = [f'[supply]\nvoltage = "{names["battery.v"]}"\ncurrent = "{names["total.a"]}"\n']
    for number, name in enumerate(("first", "second")):
        parts.append(
            f'[motors.{name}]\ncurrent = "{names[f"{name}.a"]}"\ncommand = "{names[f"{name}.duty"]}"\n'
            f'speed = "{names[f"{name}.speed"]}"\nfree_speed_rpm = {sheet.free_rpm[number]}\n'
            f"free_current_a = {sheet.free_a[number]}\nstall_current_a = {sheet.stall_a[number]}\n"
            "continuous_current_a = 90\nheating_time_constant_s = 40\ncooling_time_constant_s = 200\n"
            "breaker_a = 20\nreduction = 5\n"
            "chain = { sprocket_teeth = 22, pitch_in = 0.25, breaking_load_lbf = 200 }\n"
        )
    return robot_of("".join(parts))


UNITS = MappingProxyType({"a": "_a", "v": "_v", "duty": "_duty", "speed": "_rad_s"})


def _plain(key: str, values: Values) -> tuple[str, Values]:
    name, quantity = key.split(".")
    return f"{name}{UNITS[quantity]}", values


def _other_units(key: str, values: Values) -> tuple[str, Values]:
    name, quantity = key.split(".")
    other = {"a": ("_ma", 1e3), "v": ("_mv", 1e3), "duty": ("_duty", 1.0), "speed": ("_rpm", 30 / np.pi)}
    return name + other[quantity][0], values * other[quantity][1]


def _without_sign(key: str, values: Values) -> tuple[str, Values]:
    name, kept = _plain(key, values)
    return name, np.abs(kept) if key in ("first.a", "second.a", "first.speed", "second.speed") else kept


def _turned(key: str, values: Values) -> tuple[str, Values]:
    name, kept = _plain(key, values)
    return name, -kept if key.endswith((".a", ".speed")) else kept


def _silent_speed(key: str, values: Values) -> tuple[str, Values]:
    """The speeds stay at nought: they must be told from the back-EMF."""
    name, kept = _plain(key, values)
    return name, 0 * kept if key.endswith(".speed") else kept


@cache
def _judged(rate_hz: float, change: Callable[[str, Values], tuple[str, Values]]) -> Analysis:
    log, robot = _read(rate_hz, change)
    (analysis,) = judge(log, robot, name="m")
    assert analysis.failures == ()
    return analysis


def _told(analysis: Analysis) -> list[tuple[str, str, str]]:
    return sorted(
        (one.kind, one.subject, str(one.severity)) for one in analysis.findings if one.kind in KINDS
    )


def test_the_match_holds_what_was_put_in() -> None:
    told = {(kind, subject) for kind, subject, _ in _told(_judged(50.0, _plain))}
    assert {("stall", "first"), ("near_stall", "first"), ("no_draw", "second")} <= told
    assert ("breaker_cycling", "second") not in told


@pytest.mark.parametrize("change", [_other_units, _without_sign, _turned])
def test_units_and_signs_change_nothing(change: Callable[[str, Values], tuple[str, Values]]) -> None:
    plain, other = _judged(50.0, _plain), _judged(50.0, change)
    assert _told(other) == _told(plain)
    for name, use in plain.motor_use.items():
        assert other.motor_use[name].peak_heat == pytest.approx(use.peak_heat, abs=0.01)
        assert other.motor_use[name].stall_s == pytest.approx(use.stall_s, abs=0.05)


@pytest.mark.parametrize("rate_hz", [10.0, 20.0, 100.0, 250.0])
def test_a_log_sampled_otherwise_gives_the_same_findings(rate_hz: float) -> None:
    plain, other = _judged(50.0, _plain), _judged(rate_hz, _plain)
    assert _told(other) == _told(plain)
    for name, use in plain.motor_use.items():
        assert other.motor_use[name].peak_heat == pytest.approx(use.peak_heat, abs=0.03)
        assert other.motor_use[name].stall_s == pytest.approx(use.stall_s, abs=0.11)


def test_a_dead_speed_channel_is_said_and_changes_no_kind_of_finding() -> None:
    plain, other = _judged(50.0, _plain), _judged(50.0, _silent_speed)
    assert {one[:2] for one in _told(other)} == {one[:2] for one in _told(plain)}
    assert any("reads nearly nothing" in note for note in other.notes)


def test_energies_add_up() -> None:
    """By phase, by motor and by mechanism: parts of one whole."""
    analysis = _judged(50.0, _plain)
    supply = analysis.supply
    assert supply is not None
    assert supply.energy_wh is not None
    by_motor = sum(use.energy_wh or 0.0 for use in analysis.motor_use.values())
    assert sum((supply.energy_by_mechanism_wh or {}).values()) == pytest.approx(by_motor)
    assert by_motor == pytest.approx(supply.energy_wh, rel=0.02)
    assert sum((supply.energy_by_phase_wh or {}).values()) == pytest.approx(supply.energy_wh, rel=1e-6)

"""The battery: resistance behind noise and sag, dips, energy."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.motors import trace_motors
from telemetry.estimators.source import source_stretches
from telemetry.estimators.supply import judge_supply
from telemetry.log import Channel, FloatArray
from telemetry.records.supply import Supply
from tests.telemetry.building import RATES_HZ, clock, held, inside, robot_of
from tests.telemetry.logs import log_of, numbers

WITH_CURRENT = robot_of('[supply]\nvoltage = "battery_v"\ncurrent = "total_a"\n')
BY_MOTORS = robot_of(
    '[supply]\nvoltage = "battery_v"\n[motors.a]\ncurrent = "a_a"\ncommand = "duty"\n'
    '[motors.b]\ncurrent = "b_a"\ncommand = "duty"\n'
)
OPEN_V, OHM = 12.7, 0.02


def _judged(*channels: Channel) -> Supply:
    supply = judge_supply(log_of(*channels), WITH_CURRENT, {})
    assert supply is not None
    return supply


def _load_a(t_s: FloatArray) -> FloatArray:
    """Bursts of 20 to 180 A."""
    level = np.random.default_rng(2).uniform(20, 180, int(t_s[-1]) + 2)
    return np.where(t_s % 1 < 0.6, level[t_s.astype(int)], 5.0)


def _volts(t_s: FloatArray, load_a: FloatArray, *, sag_v: float = 0.0, noise_v: float = 0.0) -> FloatArray:
    noise = noise_v * np.random.default_rng(3).standard_normal(len(t_s))
    charge = np.cumsum(load_a) / load_a.sum()
    return np.asarray(OPEN_V - sag_v * charge - OHM * load_a + noise)


def _channels(t_s: FloatArray, voltage_v: FloatArray, load_a: FloatArray) -> tuple[Channel, Channel]:
    return (
        numbers("battery_v", voltage_v.tolist(), t_s.tolist()),
        numbers("total_a", load_a.tolist(), t_s.tolist()),
    )


@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
@pytest.mark.parametrize("sag_v", [0.0, 0.6])
def test_open_circuit_voltage_and_resistance(rate_hz: float, sag_v: float) -> None:
    t_s = clock(100, rate_hz)
    load_a = _load_a(t_s)
    supply = _judged(*_channels(t_s, _volts(t_s, load_a, sag_v=sag_v, noise_v=0.05), load_a))
    assert supply.open_circuit_v == pytest.approx(OPEN_V, abs=0.05)
    assert supply.resistance_ohm == pytest.approx(OHM, abs=0.001)


def test_outliers_hardly_move_the_resistance() -> None:
    t_s = clock(100)
    load_a = _load_a(t_s)
    voltage_v = _volts(t_s, load_a, noise_v=0.03)
    voltage_v[::25] = 3.0
    supply = _judged(*_channels(t_s, voltage_v, load_a))
    assert supply.resistance_ohm == pytest.approx(OHM, abs=0.002)


def test_a_current_counted_the_other_way_round_is_the_same() -> None:
    t_s = clock(60)
    load_a = _load_a(t_s)
    one, other = (_judged(*_channels(t_s, _volts(t_s, load_a), sign * load_a)) for sign in (1, -1))
    assert one.resistance_ohm == pytest.approx(other.resistance_ohm)
    assert one.energy_wh == pytest.approx(other.energy_wh)


@pytest.mark.parametrize(("swing_a", "told"), [(19.0, False), (21.0, True)])
def test_a_load_that_hardly_changes_tells_no_resistance(swing_a: float, told: bool) -> None:
    t_s = clock(20)
    load_a = np.where(t_s % 2 < 1, 10.0, 10.0 + swing_a)
    supply = _judged(*_channels(t_s, _volts(t_s, load_a, noise_v=0.01), load_a))
    assert (supply.resistance_ohm is not None) == told


def test_a_resistance_below_nought_is_not_told() -> None:
    t_s = clock(20)
    load_a = _load_a(t_s)
    assert source_stretches(t_s, 12 + 0.01 * load_a, load_a) == ()


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_dips_with_their_lowest_voltage_at_any_rate(rate_hz: float) -> None:
    t_s = clock(20, rate_hz)
    supply = _judged(held("battery_v", t_s, {(5.0, 6.0): 8.5, (6.0, 6.5): 9.1, (12.0, 13.0): 6.5}, rest=12.0))
    assert [dip.residual_v for dip in supply.dips] == [8.5, 6.5]
    edges_s = [edge for dip in supply.dips for edge in (dip.start_s, dip.end_s)]
    assert edges_s == pytest.approx([5.0, 6.5, 12.0, 13.0], abs=1 / rate_hz)
    assert supply.lowest_v == 6.5


@pytest.mark.parametrize(("back_v", "number"), [(9.23, 1), (9.25, 2)])
def test_a_dip_is_over_at_its_level_and_two_percent_of_twelve_volts(back_v: float, number: int) -> None:
    t_s = clock(20)
    supply = _judged(held("battery_v", t_s, {(5, 6): 8.0, (6, 7): back_v, (7, 8): 8.0}, rest=12.0))
    assert len(supply.dips) == number


def test_a_dip_still_open_ends_with_the_log() -> None:
    supply = _judged(numbers("battery_v", [12, 12, 8, 8]))
    assert [(dip.start_s, dip.end_s) for dip in supply.dips] == [(2.0, 3.0)]


def test_energy_is_voltage_times_current_over_time_without_gaps() -> None:
    t_s = clock(200, 10)
    t_s = t_s[~inside(t_s, [(50, 150)])]
    supply = _judged(held("battery_v", t_s, {}, rest=12.0), held("total_a", t_s, {}, rest=50.0))
    assert supply.energy_wh == pytest.approx(600 * 100 / 3600, rel=0.01)


def test_without_a_total_the_motors_are_added_up() -> None:
    """Winding currents of 40 and 60 A at half duty take 50 A from the battery."""
    t_s = clock(36, 10)
    log = log_of(
        held("battery_v", t_s, {}, rest=12.0),
        held("a_a", t_s, {}, rest=40.0),
        held("b_a", t_s, {}, rest=-60.0),
        held("duty", t_s, {}, rest=-0.5),
    )
    supply = judge_supply(log, BY_MOTORS, trace_motors(log, BY_MOTORS))
    assert supply is not None
    assert supply.energy_wh == pytest.approx(12 * 50 * 35.9 / 3600)


def test_without_any_current_dips_are_told_all_the_same() -> None:
    supply = _judged(numbers("battery_v", [12, 8, 12]))
    assert len(supply.dips) == 1
    assert [supply.energy_wh, supply.resistance_ohm, supply.open_circuit_v] == [None] * 3


def test_millivolts_are_volts() -> None:
    robot = robot_of('[supply]\nvoltage = "battery_mv"\n')
    supply = judge_supply(log_of(numbers("battery_mv", [12000, 8500, 12000])), robot, {})
    assert supply is not None
    assert supply.lowest_v == 8.5


@pytest.mark.parametrize("channels", [(), (numbers("battery_v", []),)])
def test_no_voltage_no_supply(channels: tuple[Channel, ...]) -> None:
    assert judge_supply(log_of(*channels), WITH_CURRENT, {}) is None
    assert judge_supply(log_of(numbers("battery_v", [12])), robot_of(""), {}) is None


def test_motors_logged_at_other_instants_than_the_voltage_are_taken_in_between() -> None:
    """Currents that ramp up and down in a second, read ten times a second half a period after the voltage."""
    t_s = clock(60, 10.0)
    read_s = t_s + 0.05
    rising = 100 * np.abs((t_s % 2) - 1)
    later = 100 * np.abs((read_s % 2) - 1)
    log = log_of(
        numbers("battery_v", OPEN_V - OHM * rising, t_s),
        numbers("a_a", later, read_s),
        numbers("duty", np.ones(len(read_s)), read_s),
        numbers("b_a", np.zeros(len(read_s)), read_s),
    )
    supply = judge_supply(log, BY_MOTORS, trace_motors(log, BY_MOTORS))
    assert supply is not None
    assert supply.resistance_ohm == pytest.approx(OHM, rel=0.03)


@pytest.mark.parametrize(("hidden", "known"), [(0.1, True), (1.0, False)])
def test_a_resistance_not_known_to_a_twentieth_is_not_told(hidden: float, known: bool) -> None:
    """Besides the load that is logged flows another, so many times as great."""
    t_s = clock(100)
    load_a, other_a = _load_a(t_s), np.roll(_load_a(t_s), 1234)
    supply = _judged(*_channels(t_s, _volts(t_s, load_a + hidden * other_a, noise_v=0.02), load_a))
    assert len(supply.source) == 1
    assert (supply.resistance_ohm is not None, len(supply.notes)) == (known, 0 if known else 1)

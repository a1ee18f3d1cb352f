"""Source resistance over time: steps and when, slow drift, windows and their intervals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.estimators.source import source_stretches, source_windows
from telemetry.log import FloatArray
from tests.telemetry.building import clock

OPEN_V = 12.7


def _load_a(t_s: FloatArray, seed: int = 0) -> FloatArray:
    """A new load about twice a second, reached within a tenth."""
    rng = np.random.default_rng(seed)
    level = rng.uniform(0, 150, int(t_s[-1] * 2) + 2)
    wanted = level[(t_s * 2).astype(int)]
    width = max(1, int(0.1 / np.median(np.diff(t_s))))
    return np.convolve(wanted, np.ones(width) / width, mode="same")


def _volts(t_s: FloatArray, load_a: FloatArray, ohm: FloatArray | float, noise_v: float = 0.02) -> FloatArray:
    charge = np.concatenate(([0.0], np.cumsum(np.diff(t_s) * load_a[1:]))) / 3600
    noise = noise_v * np.random.default_rng(1).standard_normal(len(t_s))
    return np.asarray(OPEN_V - 0.12 * charge - ohm * load_a + noise)


@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
@pytest.mark.parametrize(("before", "after"), [(0.017, 0.035), (0.012, 0.015), (0.03, 0.02)])
def test_a_step_is_found_with_both_sides_and_its_time(rate_hz: float, before: float, after: float) -> None:
    t_s = clock(140, rate_hz)
    load_a = _load_a(t_s)
    first, second = source_stretches(t_s, _volts(t_s, load_a, np.where(t_s < 61.3, before, after)), load_a)
    assert first.resistance_ohm == pytest.approx(before, rel=0.02)
    assert second.resistance_ohm == pytest.approx(after, rel=0.02)
    assert first.end_s == second.start_s == pytest.approx(61.3, abs=1.0)
    assert first.open_circuit_v == pytest.approx(OPEN_V, abs=0.03)


def test_two_steps_are_three_stretches() -> None:
    t_s = clock(150)
    load_a = _load_a(t_s)
    ohm = np.select([t_s < 50, t_s < 100], [0.015, 0.03], 0.045)
    found = source_stretches(t_s, _volts(t_s, load_a, ohm), load_a)
    assert [stretch.resistance_ohm for stretch in found] == pytest.approx([0.015, 0.03, 0.045], rel=0.03)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("rate_hz", [10.0, 50.0])
def test_a_resistance_that_stays_or_creeps_has_no_step(seed: int, rate_hz: float) -> None:
    t_s = clock(140, rate_hz)
    load_a = _load_a(t_s, seed)
    steady = _volts(t_s, load_a, 0.02, noise_v=0.05)
    creeping = _volts(t_s, load_a, 0.016 + 0.00006 * t_s, noise_v=0.05)
    assert len(source_stretches(t_s, steady, load_a)) == 1
    assert len(source_stretches(t_s, creeping, load_a)) == 1


def test_the_interval_holds_the_truth_about_as_often_as_it_says() -> None:
    """95 % asked for; of 60 noisy logs at least 53 must hold it, and they must not be wide."""
    t_s = clock(60)
    held = 0
    for seed in range(60):
        load_a = _load_a(t_s, seed)
        noise = 0.1 * np.random.default_rng(seed + 100).standard_normal(len(t_s))
        (stretch,) = source_stretches(t_s, _volts(t_s, load_a, 0.02, 0.0) + noise, load_a)
        held += stretch.low_ohm <= 0.02 <= stretch.high_ohm
        assert stretch.high_ohm - stretch.low_ohm < 0.001
    assert held >= 53


def test_windows_follow_what_creeps() -> None:
    t_s = clock(140)
    load_a = _load_a(t_s)
    windows = source_windows(t_s, _volts(t_s, load_a, 0.016 + 0.00006 * t_s), load_a)
    assert len(windows) == 25
    for window in windows:
        middle_s = (window.start_s + window.end_s) / 2
        assert window.resistance_ohm == pytest.approx(0.016 + 0.00006 * middle_s, rel=0.05)


def test_a_gap_is_no_step() -> None:
    t_s = clock(140)
    load_a = _load_a(t_s)
    voltage_v = _volts(t_s, load_a, 0.02)
    logged = (t_s < 50) | (t_s > 75)
    (stretch,) = source_stretches(t_s[logged], voltage_v[logged], load_a[logged])
    assert stretch.resistance_ohm == pytest.approx(0.02, rel=0.01)


@settings(max_examples=25)
@given(scale=st.floats(0.3, 20), start_s=st.floats(0, 1e4))
def test_a_larger_battery_and_the_clocks_zero_change_nothing(scale: float, start_s: float) -> None:
    t_s = clock(60)
    load_a = _load_a(t_s)
    voltage_v = _volts(t_s, load_a, np.where(t_s < 30, 0.015, 0.03))
    plain = source_stretches(t_s, voltage_v, load_a)
    scaled = source_stretches(t_s + start_s, scale * voltage_v, scale * load_a)
    assert len(plain) == len(scaled) == 2
    for one, other in zip(plain, scaled, strict=True):
        assert other.resistance_ohm == pytest.approx(one.resistance_ohm, rel=1e-2)

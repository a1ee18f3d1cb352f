"""Heat over gaps, the time left and the current that is safe."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.heat import (
    heat_level,
    heating_steps,
    next_match_safe_a,
    peaks_and_ends,
    time_left_s,
)
from telemetry.match import Match
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor
from telemetry.thermal import safe_current_a, thermal_level
from tests.telemetry.building import clock, match_of

MOTOR = Motor(continuous_current_a=30, heating_time_constant_s=60, cooling_time_constant_s=300)


def _trace(current_a: np.ndarray, t_s: np.ndarray) -> MotorTrace:
    nothing = np.full(len(t_s), np.nan)
    return MotorTrace(
        t_s, current_a, nothing, nothing, nothing, heat_level(t_s, current_a, MOTOR), nothing,
        np.zeros(len(t_s), dtype=bool), "none",
    )  # fmt: skip


def test_a_gap_is_filled_with_the_load_of_either_side() -> None:
    """40 A for 20 s, 20 s not logged, 40 A again: as if it had been logged throughout."""
    t_s = clock(60)
    steady = np.full(len(t_s), 40.0)
    logged = (t_s < 20) | (t_s >= 40)
    whole = heat_level(t_s, steady, MOTOR)[-1]
    assert heat_level(t_s[logged], steady[logged], MOTOR)[-1] == pytest.approx(whole, abs=1e-9)


def test_each_sample_stands_for_half_the_way_to_either_side() -> None:
    edges_s, held_a = heating_steps(np.array([0.0, 1.0, 2.0, 4.0]), np.array([1.0, 2.0, 3.0, 4.0]))
    assert edges_s.tolist() == [0.0, 0.5, 1.5, 3.0, 4.0]
    assert held_a.tolist() == [1.0, 2.0, 3.0, 4.0]


def test_a_gap_behind_a_spike_is_not_a_spike_all_along() -> None:
    t_s = np.concatenate((np.arange(0, 10, 0.02), np.arange(30, 40, 0.02)))
    current_a = np.full(len(t_s), 10.0)
    current_a[499] = 150.0
    edges_s, held_a = heating_steps(t_s, current_a)
    (gap,) = np.flatnonzero(np.diff(edges_s) > 1)
    assert (edges_s[gap], edges_s[gap + 1]) == pytest.approx((9.99, 29.99))
    assert 10 < held_a[gap] < 15


@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
def test_pulses_heat_alike_at_any_rate(rate_hz: float) -> None:
    t_s = clock(120, rate_hz, jitter=0.3)
    level = heat_level(t_s, np.where(t_s % 1.73 < 0.61, 45.0, 5.0), MOTOR)[-1]
    fine = clock(120, 1000)
    truth = heat_level(fine, np.where(fine % 1.73 < 0.61, 45.0, 5.0), MOTOR)[-1]
    assert level == pytest.approx(truth, abs=0.03)


def test_without_its_figures_nothing_is_said_of_heat() -> None:
    assert np.isnan(heat_level(clock(1), clock(1), Motor(continuous_current_a=30))).all()


def test_the_time_left_at_the_present_load_is_when_the_level_gets_there() -> None:
    t_s = clock(20)
    trace = _trace(np.full(len(t_s), 45.0), t_s)
    match = Match("m", 0.0, float(t_s[-1]), (0.0, 60.0), (), "channel")
    left_s = time_left_s(trace, MOTOR, match)
    assert left_s is not None
    level = thermal_level(
        [0.0, left_s], [45.0, 0.0],
        continuous_a=30, heating_s=60, cooling_s=300, initial=float(trace.heat[-1]),
    )  # fmt: skip
    assert level[-1] == pytest.approx(1.0, abs=1e-9)


def test_a_load_it_bears_for_ever_leaves_all_the_time() -> None:
    t_s = clock(60)
    assert time_left_s(_trace(np.full(len(t_s), 29.9), t_s), MOTOR, match_of()) is None


@pytest.mark.parametrize("level", [0.0, 0.5, 0.95])
@pytest.mark.parametrize("rest_s", [10.0, 150.0, 1e6])
def test_the_safe_current_just_reaches_the_limit(level: float, rest_s: float) -> None:
    safe_a = safe_current_a(level, rest_s, continuous_a=30, heating_s=60)
    end = thermal_level(
        [0.0, rest_s], [safe_a, 0.0], continuous_a=30, heating_s=60, cooling_s=60, initial=level
    )[-1]
    assert end == pytest.approx(1.0, abs=1e-9)
    assert safe_a >= 30 * (1 - 1e-9)


def test_above_the_limit_no_current_is_safe() -> None:
    assert safe_current_a(1.0, 60.0, continuous_a=30, heating_s=60) == 0.0


def test_a_cool_motor_may_bear_more_in_the_next_match() -> None:
    t_s = clock(30)
    cool, warm = (
        next_match_safe_a(_trace(np.full(len(t_s), amps), t_s), MOTOR, match_of()) for amps in (5.0, 40.0)
    )
    assert cool is not None
    assert warm is not None
    assert cool > warm > 30


@pytest.mark.parametrize("rate_hz", [5.0, 50.0, 333.0])
@pytest.mark.parametrize("gap", [False, True])
def test_peaks_and_ends_from_warm_starts_are_those_of_the_whole_replica(rate_hz: float, gap: bool) -> None:
    """To half a percent of the limit, as they are shown in whole percents."""
    t_s = clock(150, rate_hz, jitter=0.3)
    t_s = t_s[(t_s < 60) | (t_s > 75)] if gap else t_s
    current_a = np.where(t_s % 17 < 3, 60.0, 12.0) + np.where(t_s > 140, 15.0, 0.0)
    starts = (0.0, 0.5, 1.0, 1.5)
    found = peaks_and_ends(t_s, current_a, MOTOR, starts, heat_level(t_s, current_a, MOTOR))
    for (peak, end), start in zip(found, starts, strict=True):
        level = heat_level(t_s, current_a, MOTOR, initial=start)
        assert peak == pytest.approx(max(level.max(), start), abs=0.005)
        assert end == pytest.approx(level[-1], abs=0.005)


def test_without_its_figures_or_samples_there_are_no_peaks() -> None:
    t_s = clock(10)
    cold = np.full(len(t_s), np.nan)
    assert peaks_and_ends(t_s, np.full(len(t_s), 5.0), Motor(), (0.0,), cold) == []
    assert peaks_and_ends(t_s[:0], cold[:0], MOTOR, (0.0,), cold[:0]) == []
    ((peak, end),) = peaks_and_ends(t_s[:1], np.array([5.0]), MOTOR, (0.0,), np.zeros(1))
    assert (peak, end) == (0.0, 0.0)

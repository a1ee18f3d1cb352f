"""A current read too seldom for how fast it changes: its heat is a range that holds the truth."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.heat import heat_level
from telemetry.estimators.heat_sampling import read_too_seldom
from telemetry.log import FloatArray
from telemetry.robot import Motor
from tests.telemetry.building import clock

MOTOR = Motor(continuous_current_a=30, heating_time_constant_s=60, cooling_time_constant_s=300)


def _starts(t_s: FloatArray, late_s: float, every_s: float = 2.87) -> FloatArray:
    """Every so often a start of 120 A that dies away within a tenth of a second, over 8 A."""
    return 8 + 120 * np.exp(-((t_s - late_s) % every_s) / 0.08)


@pytest.mark.parametrize("late_s", [0.0, 0.03, 0.05, 0.08])
def test_starts_between_slow_readings_leave_a_range_that_holds_the_true_heat(late_s: float) -> None:
    fine = clock(150, 2000)
    true = heat_level(fine, _starts(fine, late_s), MOTOR)[-1]
    t_s = clock(150, 10)
    current_a = _starts(t_s, late_s)
    heat = heat_level(t_s, current_a, MOTOR)
    off = read_too_seldom(t_s, current_a, heat, MOTOR)
    if off is None:
        assert heat[-1] == pytest.approx(true, abs=0.03)
    else:
        assert heat[-1] - off[-1] <= true <= heat[-1] + off[-1]


def test_starts_read_at_their_peak_leave_a_range() -> None:
    t_s = clock(150, 10)
    current_a = _starts(t_s, 0.0, every_s=3.0)
    assert read_too_seldom(t_s, current_a, heat_level(t_s, current_a, MOTOR), MOTOR) is not None


@pytest.mark.parametrize("rate_hz", [50.0, 250.0])
def test_what_is_read_often_enough_is_told_as_a_number(rate_hz: float) -> None:
    t_s = clock(150, rate_hz)
    current_a = _starts(t_s, 0.0)
    assert read_too_seldom(t_s, current_a, heat_level(t_s, current_a, MOTOR), MOTOR) is None


def test_steady_loads_need_few_readings() -> None:
    t_s = clock(150, 5)
    current_a = np.where(t_s < 75, 25.0, 35.0)
    assert read_too_seldom(t_s, current_a, heat_level(t_s, current_a, MOTOR), MOTOR) is None


def test_without_its_figures_nothing_is_said() -> None:
    t_s = clock(150, 10)
    assert read_too_seldom(t_s, _starts(t_s, 0.0), np.full(len(t_s), np.nan), Motor()) is None

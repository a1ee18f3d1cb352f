from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.thermal import cooled_level, cooling_time_s, operate_time_s, thermal_level

SETTINGS = {"continuous_a": 30.0, "heating_s": 60.0, "cooling_s": 300.0}


def by_the_sample(t_s, current_a, *, continuous_a, heating_s, cooling_s, initial=0.0):
    """The slow, obvious way."""
    level = [initial]
    for step, current in zip(np.diff(t_s), current_a, strict=False):
        target = (current / continuous_a) ** 2
        constant = heating_s if target > level[-1] else cooling_s
        level.append(target + (level[-1] - target) * math.exp(-step / constant))
    return np.asarray(level)


@given(
    steps=st.lists(st.floats(0, 40), min_size=1, max_size=60),
    amperes=st.lists(st.floats(-200, 200), min_size=61, max_size=61),
    heating_s=st.floats(0.01, 500),
    cooling_s=st.floats(0.01, 500),
    initial=st.floats(0, 3),
)
def test_agrees_with_the_loop_at_uneven_steps(steps, amperes, heating_s, cooling_s, initial) -> None:
    t_s = np.concatenate(([0.0], np.cumsum(steps)))
    settings = {"continuous_a": 30.0, "heating_s": heating_s, "cooling_s": cooling_s, "initial": initial}
    slow = by_the_sample(t_s, amperes, **settings)
    fast = thermal_level(t_s, amperes[: len(t_s)], **settings)
    np.testing.assert_allclose(fast, slow, rtol=0, atol=1e-12 * max(1.0, slow.max()))


@pytest.mark.parametrize(("heating_s", "cooling_s"), [(60, 300), (300, 60), (60, 60), (0.5, 50)])
@pytest.mark.parametrize("amperes", ["steady", "noisy", "bursts"])
def test_agrees_with_the_loop_over_a_long_log(heating_s, cooling_s, amperes) -> None:
    random = np.random.default_rng(7)
    t_s = np.cumsum(random.exponential(0.02, 20_000))
    current = {
        "steady": np.full(20_000, 45.0),
        "noisy": 30 + 4 * random.normal(size=20_000),
        "bursts": np.where(np.sin(t_s / 3) > 0.4, 90.0, 2.0),
    }[amperes]
    settings = {"continuous_a": 30.0, "heating_s": heating_s, "cooling_s": cooling_s}
    fast, slow = thermal_level(t_s, current, **settings), by_the_sample(t_s, current, **settings)
    assert np.abs(fast - slow).max() < 1e-12


def test_it_does_not_matter_how_often_a_steady_current_is_sampled() -> None:
    often = thermal_level(np.arange(0, 60.001, 0.01), np.full(6001, 45.0), **SETTINGS)
    seldom = thermal_level([0.0, 7.0, 60.0], [45.0, 45.0, 45.0], **SETTINGS)
    assert often[-1] == pytest.approx(seldom[-1], abs=1e-12)


def test_rises_with_one_time_constant_and_falls_with_the_other() -> None:
    level = thermal_level([0, 60, 360], [30, 0, 0], **SETTINGS)
    assert level == pytest.approx([0, 1 - math.exp(-1), (1 - math.exp(-1)) * math.exp(-1)], abs=1e-15)


def test_the_sign_of_the_current_does_not_matter() -> None:
    t_s = np.arange(100.0)
    current = 40 * np.sin(t_s)
    assert (
        thermal_level(t_s, current, **SETTINGS).tolist() == thermal_level(t_s, -current, **SETTINGS).tolist()
    )


def test_an_unknown_current_is_the_one_before_it() -> None:
    known = thermal_level([0, 1, 2, 3], [0, 50, 50, 0], **SETTINGS)
    assert thermal_level([0, 1, 2, 3], [math.nan, 50, math.nan, 0], **SETTINGS).tolist() == known.tolist()


def test_starts_where_the_last_match_ended_after_the_pause() -> None:
    carried = cooled_level(0.8, 600, 300)
    assert carried == pytest.approx(0.8 * math.exp(-2))
    assert thermal_level([0.0], [50.0], **SETTINGS, initial=carried).tolist() == [carried]


def test_no_samples_give_no_levels_and_the_input_stays_as_it_was() -> None:
    assert thermal_level([], [], **SETTINGS).shape == (0,)
    t_s, current = np.arange(3.0), np.ones(3)
    t_s.flags.writeable = current.flags.writeable = False
    assert thermal_level(t_s, current, **SETTINGS).shape == (3,)


@pytest.mark.parametrize(
    "wrong", [{"continuous_a": 0.0}, {"heating_s": 0.0}, {"cooling_s": -1.0}, {"initial": -0.1}]
)
def test_senseless_settings_are_refused(wrong) -> None:
    with pytest.raises(ValueError, match="above 0"):
        thermal_level([0.0, 1.0], [1.0, 1.0], **{**SETTINGS, **wrong})


def test_shapes_that_differ_are_refused() -> None:
    with pytest.raises(ValueError, match="one shape"):
        thermal_level([0.0, 1.0], [1.0], **SETTINGS)


def test_the_operate_time_is_when_the_level_gets_there() -> None:
    wait = float(operate_time_s(1.5, 60.0, level=0.4))
    level = thermal_level([0.0, wait], [45.0, 0.0], **SETTINGS, initial=0.4)
    assert level[-1] == pytest.approx(1.0, abs=1e-12)


def test_above_the_limit_there_is_no_time_left() -> None:
    assert operate_time_s([0.0, 0.5, 3.0], 60.0, level=[1.0, 1.2, 1.0]).tolist() == [0, 0, 0]


def test_cooling_under_a_load_never_goes_below_what_the_load_keeps_up() -> None:
    assert cooling_time_s([0.2, 0.9], 0.25, 300.0, ratio=0.5).tolist() == [0.0, math.inf]
    wait = float(cooling_time_s(0.9, 0.5, 300.0, ratio=0.5))
    level = thermal_level([0.0, wait], [15.0, 0.0], **SETTINGS, initial=0.9)
    assert level[-1] == pytest.approx(0.5, abs=1e-12)
    assert cooling_time_s(0.3, 0.5, 300.0) == 0

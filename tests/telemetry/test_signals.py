"""Array functions: ten samples with the answer written out, and slow obvious twins."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.log import BoolArray, FloatArray
from telemetry.signals import (
    at_instants,
    dips,
    dwells,
    filled,
    hold_s,
    integral,
    medians_by,
    moving_median,
    period_s,
    runs,
    spans,
    sta_lta,
    steps,
    trigger,
)

RATES_HZ = (10.0, 25.0, 50.0, 250.0, 1000.0)

few = settings(max_examples=60)
flags = st.lists(st.booleans(), max_size=30)
clock = st.lists(st.integers(0, 200), max_size=30).map(lambda ticks: [tick / 8 for tick in sorted(ticks)])
levels = st.lists(st.integers(-8, 8).map(float), max_size=40)


def _frozen(values: Sequence[float]) -> FloatArray:
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def _flagged(values: Sequence[bool] | BoolArray) -> BoolArray:
    array = np.array(values, dtype=bool)
    array.setflags(write=False)
    return array


# Periods


def test_filled_replaces_what_is_missing_and_copies_nothing_else() -> None:
    whole = np.array([1.0, -np.inf, 0.0])
    assert filled(whole) is whole
    assert filled(np.array([1.0, np.nan, np.inf]), 7.0).tolist() == [1.0, 7.0, np.inf]


def test_the_period_is_the_median_step_and_repeated_instants_do_not_count() -> None:
    assert period_s(_frozen([0.0, 0.0, 0.1, 0.2, 0.2, 0.9])) == pytest.approx(0.1)


def test_a_clock_that_changes_is_measured_again() -> None:
    t_s = np.arange(5.0)
    assert period_s(t_s) == 1.0

    t_s *= 3.0

    assert period_s(t_s) == 3.0


def test_clocks_that_come_and_go_in_one_place_keep_their_own_periods() -> None:
    found = [period_s(_frozen([0.0, step, 2 * step])) for step in (0.1, 0.2, 0.3, 0.4) * 20]

    assert found == pytest.approx([0.1, 0.2, 0.3, 0.4] * 20)


@pytest.mark.parametrize("t_s", [[], [1.0], [1.0, 1.0]])
def test_no_period_without_two_different_instants(t_s: list[float]) -> None:
    assert period_s(_frozen(t_s)) == 0.0
    assert hold_s(_frozen(t_s)) == 0.0


def test_a_reading_stands_for_three_periods() -> None:
    assert hold_s(_frozen([0.0, 0.02, 0.04, 0.06])) == pytest.approx(0.06)


# Runs


def test_runs_of_ten_samples() -> None:
    first, last = runs(_flagged([True, True, False, False, True, False, True, True, True, False]))
    assert first.tolist() == [0, 4, 6]
    assert last.tolist() == [2, 5, 9]


def test_a_run_may_reach_the_end() -> None:
    first, last = runs(_flagged([False, True, True]))
    assert (first.tolist(), last.tolist()) == ([1], [3])


@few
@given(flags)
def test_runs_are_those_found_by_walking(flagged: list[bool]) -> None:
    found: list[list[int]] = []
    for number, on in enumerate(flagged):
        if on and (number == 0 or not flagged[number - 1]):
            found.append([number, number + 1])
        elif on:
            found[-1][1] = number + 1
    first, last = runs(_flagged(flagged))
    assert np.column_stack((first, last)).tolist() == found


# Spans


def test_spans_of_ten_samples() -> None:
    t_s = _frozen([0, 1, 2, 3, 4, 5, 6, 7, 8, 9])
    flagged = _flagged([False, True, True, False, False, True, False, False, False, True])
    assert spans(t_s, flagged, 10.0, 3.0).tolist() == [[1, 3], [5, 6], [9, 10]]


def test_a_flagged_sample_says_nothing_across_a_gap() -> None:
    t_s = _frozen([0, 1, 2, 8, 9])
    assert spans(t_s, _flagged([True] * 5), 10.0, 3.0).tolist() == [[0, 5], [8, 10]]


def test_the_last_sample_holds_no_longer_than_any_other() -> None:
    assert spans(_frozen([0, 1, 2]), _flagged([False, False, True]), 60.0, 3.0).tolist() == [[2, 5]]


@pytest.mark.parametrize(
    ("bridge_s", "expected"), [(1.9, [[0, 1], [3, 4]]), (2.0, [[0, 4]]), (2.1, [[0, 4]])]
)
def test_spans_no_further_apart_than_the_bridge_are_joined(
    bridge_s: float, expected: list[list[float]]
) -> None:
    flagged = _flagged([True, False, False, True, False])
    assert spans(_frozen([0, 1, 2, 3, 4]), flagged, 5.0, 3.0, bridge_s).tolist() == expected


def test_nothing_flagged_is_no_span() -> None:
    assert spans(_frozen([0, 1]), _flagged([False, False]), 2.0, 3.0).shape == (0, 2)
    assert spans(_frozen([]), _flagged([]), 2.0, 3.0).shape == (0, 2)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_spans_are_the_same_within_a_sample_at_any_rate(rate_hz: float, jitter: float) -> None:
    number = np.arange(round(20 * rate_hz))
    shift = jitter * np.random.default_rng(3).uniform(-1, 1, len(number))
    t_s = _frozen(((number + shift) / rate_hz).tolist())
    flagged = _flagged(((t_s >= 3.0) & (t_s < 7.0)) | ((t_s >= 11.0) & (t_s < 12.5)))
    found = spans(t_s, flagged, 20.0, hold_s(t_s))
    assert found == pytest.approx(np.array([[3.0, 7.0], [11.0, 12.5]]), abs=(1 + 2 * jitter) / rate_hz)


@few
@given(clock, st.data())
def test_spans_are_those_found_by_walking(t_s: list[float], data: st.DataObject) -> None:
    flagged = data.draw(st.lists(st.booleans(), min_size=len(t_s), max_size=len(t_s)))
    hold = data.draw(st.sampled_from([0.25, 1.0, 4.0]))
    bridge = data.draw(st.sampled_from([0.0, 0.5, 3.0]))
    end_s = (t_s[-1] if t_s else 0.0) + 1.0
    expected: list[list[float]] = []
    for number, start in enumerate(t_s):
        until = t_s[number + 1] if number + 1 < len(t_s) else end_s
        stop = min(until, start + hold)
        if flagged[number] and expected and start - expected[-1][1] <= bridge:
            expected[-1][1] = stop
        elif flagged[number]:
            expected.append([start, stop])
    assert spans(_frozen(t_s), _flagged(flagged), end_s, hold, bridge).tolist() == expected


# Steps, dwells and holds


def test_steps_of_ten_readings() -> None:
    on = [False, False, True, True, True, False, True, True, False, False]
    t_s, state = steps(_frozen(range(10)), _flagged(on))
    assert t_s.tolist() == [0, 2, 5, 6, 8]
    assert state.tolist() == [False, True, False, True, False]


@few
@given(flags)
def test_steps_held_on_give_the_readings_back(on: list[bool]) -> None:
    readings_s = _frozen(range(len(on)))
    t_s, state = steps(readings_s, _flagged(on))
    assert all(state[1:] != state[:-1])
    assert at_instants(t_s, state.astype(float), readings_s).tolist() == on


def test_dwells_last_until_the_next_step_and_the_end() -> None:
    assert dwells(_frozen([0, 2, 5, 6, 8]), 12.0).tolist() == [2, 3, 1, 2, 4]


def test_a_step_at_the_end_lasts_no_less_than_nothing() -> None:
    assert dwells(_frozen([0, 2]), 1.0).tolist() == [2, 0]
    assert dwells(_frozen([]), 3.0).tolist() == []


def test_values_at_instants() -> None:
    t_s, values = _frozen([1, 2, 2, 4]), _frozen([10, 20, 21, 40])
    found = at_instants(t_s, values, _frozen([0.5, 1.0, 1.9, 2.0, 3.9, 4.0, 99.0]))
    assert found == pytest.approx([np.nan, 10, 10, 21, 21, 40, 40], nan_ok=True)


def test_values_at_instants_of_nothing() -> None:
    assert at_instants(_frozen([]), _frozen([]), _frozen([1.0])) == pytest.approx([np.nan], nan_ok=True)


@few
@given(clock, clock)
def test_values_at_instants_are_the_last_before(t_s: list[float], instants_s: list[float]) -> None:
    values = [float(number) for number in range(len(t_s))]
    expected = [
        max((value for at, value in zip(t_s, values, strict=True) if at <= instant), default=np.nan)
        for instant in instants_s
    ]
    found = at_instants(_frozen(t_s), _frozen(values), _frozen(instants_s))
    assert found == pytest.approx(expected, nan_ok=True)


# Means and sums


def test_moving_median_of_ten_samples() -> None:
    found = moving_median(_frozen(range(10)), _frozen([1, 1, 1, 9, 1, 1, 6, 6, 6, 2]), 2.0)
    assert found.tolist() == [1, 1, 1, 1, 1, 1, 6, 6, 6, 2]


def test_moving_median_of_hardly_anything() -> None:
    assert moving_median(_frozen([]), _frozen([]), 1.0).tolist() == []
    assert moving_median(_frozen([3]), _frozen([7]), 1.0).tolist() == [7]
    assert moving_median(_frozen([3, 3]), _frozen([7, 9]), 1.0).tolist() == [8, 8]
    assert moving_median(_frozen([3, 4]), _frozen([7, 9]), 2.0).tolist() == [7, 9]


@few
@given(st.lists(st.integers(-99, 99), min_size=2, max_size=40), st.integers(1, 5))
def test_moving_median_is_the_median_of_the_neighbours(values: list[int], half: int) -> None:
    ends_held = [values[0]] * half + values + [values[-1]] * half
    expected = [np.median(ends_held[here : here + 2 * half + 1]) for here in range(len(values))]
    found = moving_median(_frozen(range(len(values))), _frozen(values), 2.0 * half)
    assert found.tolist() == expected


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_moving_median_follows_a_slope_and_leaves_out_a_spike_at_any_rate(rate_hz: float) -> None:
    """A spike shifts the median by no more than the slope over its own length, and one sample."""
    t_s = np.arange(round(20 * rate_hz)) / rate_hz
    slope = 0.1 * t_s
    values = slope + 5.0 * ((t_s >= 9.0) & (t_s < 9.2))
    found = moving_median(_frozen(t_s.tolist()), _frozen(values.tolist()), 1.0)
    calm = (t_s > 0.5) & (t_s < 19.5)
    assert found[calm] == pytest.approx(slope[calm], abs=0.1 * (0.2 + 1 / rate_hz))


def test_the_integral_is_the_area_under_the_line_without_its_gaps() -> None:
    t_s, values = _frozen([0, 1, 2, 12, 13]), _frozen([0, 2, 2, 100, 4])
    assert integral(t_s, values, 3.0) == pytest.approx(1 + 2 + 52)
    assert integral(t_s[:1], values[:1], 3.0) == 0.0


def test_medians_by_group() -> None:
    group = np.array([0, 2, 0, 2, 2, 0])
    assert medians_by(group, _frozen([1, 10, 3, 30, 20, 8]), 4).tolist() == [3, 0, 20, 0]


# STA/LTA and triggers


def test_ratio_of_ten_samples() -> None:
    ratio = sta_lta(_frozen([1, 1, 1, 1, 3, 1, 1, 1, 1, 0]), 1, 4)
    assert ratio == pytest.approx([0, 0, 0, 1, 3, 1 / 3, 1 / 3, 1 / 3, 1, 0])


def test_silence_has_no_ratio_and_too_few_samples_neither() -> None:
    assert sta_lta(_frozen([0] * 6), 2, 4).tolist() == [0] * 6
    assert sta_lta(_frozen([1, 2, 3]), 2, 4).tolist() == [0, 0, 0]
    assert sta_lta(_frozen([]), 2, 4).tolist() == []


@pytest.mark.parametrize(("short", "long"), [(0, 4), (5, 4), (-1, 4)])
def test_a_short_term_longer_than_the_long_one_is_refused(short: int, long: int) -> None:
    with pytest.raises(ValueError, match="short"):
        sta_lta(_frozen([1, 2]), short, long)


@few
@given(levels, st.integers(1, 6), st.integers(0, 6))
def test_ratio_is_that_of_two_means(x: list[float], short: int, more: int) -> None:
    long = short + more
    expected = [0.0] * len(x)
    for last in range(long - 1, len(x)):
        sta = np.mean([value**2 for value in x[last - short + 1 : last + 1]])
        lta = np.mean([value**2 for value in x[last - long + 1 : last + 1]])
        expected[last] = float(sta / lta) if lta else 0.0
    assert sta_lta(_frozen(x), short, long) == pytest.approx(expected, abs=1e-9)


def test_trigger_of_ten_samples() -> None:
    assert trigger(_frozen([0, 2, 4, 2, 1, 4, 5, 3, 2, 0]), 3, 1).tolist() == [[2, 3], [5, 8]]


@pytest.mark.parametrize(("level", "expected"), [(3.0, []), (3.001, [[1, 1]])])
def test_a_trigger_fires_above_its_on_level_only(level: float, expected: list[list[int]]) -> None:
    assert trigger(_frozen([0, level, 0]), 3, 1).tolist() == expected


def test_a_trigger_still_on_closes_with_the_last_sample() -> None:
    assert trigger(_frozen([0, 4, 2, 2]), 3, 1).tolist() == [[1, 3]]


def test_an_off_level_above_the_on_level_is_refused() -> None:
    with pytest.raises(ValueError, match="off level 3"):
        trigger(_frozen([1.0]), 2, 3)


@few
@given(levels, st.integers(-3, 4), st.integers(0, 4))
def test_a_trigger_is_the_one_found_by_walking(level: list[float], off: int, more: int) -> None:
    on, expected, active = off + more, [], False
    for number, value in enumerate(level):
        if not active and value > on:
            active = True
            expected.append([number, number])
        elif active and value > off:
            expected[-1][1] = number
        else:
            active = False
    assert trigger(_frozen(level), on, off).tolist() == expected


# Dips


def test_dips_of_ten_samples() -> None:
    voltage_v = _frozen([12, 8.9, 8.5, 9.1, 9.3, 12, 9.1, 8.0, 9.2, 9.0])
    assert dips(voltage_v, 9.0, 0.24) == [(1, 4, 8.5), (7, 10, 8.0)]


@pytest.mark.parametrize(("lowest_v", "expected"), [(9.0, []), (8.999, [(1, 2, 8.999)])])
def test_a_dip_lies_below_its_threshold(lowest_v: float, expected: list[tuple[int, int, float]]) -> None:
    assert dips(_frozen([12, lowest_v, 12]), 9.0, 0.25) == expected


@pytest.mark.parametrize(("recovered_v", "number"), [(9.25, 2), (9.2499, 1)])
def test_a_dip_ends_at_threshold_plus_hysteresis(recovered_v: float, number: int) -> None:
    assert len(dips(_frozen([12, 8, recovered_v, 8, 12]), 9.0, 0.25)) == number


@few
@given(levels, st.integers(0, 3))
def test_dips_are_those_found_by_walking(voltage_v: list[float], hysteresis: int) -> None:
    expected: list[list[float]] = []
    inside = False
    for number, value in enumerate(voltage_v):
        if not inside and value < 0:
            inside = True
            expected.append([number, number, value])
        if inside and value >= hysteresis:
            inside = False
        if inside:
            expected[-1] = [expected[-1][0], number + 1, min(expected[-1][2], value)]
    assert [list(dip) for dip in dips(_frozen(voltage_v), 0.0, hysteresis)] == expected

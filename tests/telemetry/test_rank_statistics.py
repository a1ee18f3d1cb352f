"""Order statistics against slow, obvious twins, and what they say of too few values."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.rank_statistics import hodges_lehmann, kaplan_meier, mann_kendall, pettitt, theil_sen
from telemetry.statistics import chance_of_any, fisher_exact, poisson_limits

few = st.lists(st.integers(0, 3), min_size=1, max_size=6)


def _s(values: tuple[int, ...]) -> int:
    return sum(
        int(np.sign(values[j] - values[i])) for i in range(len(values)) for j in range(i + 1, len(values))
    )


@given(few)
def test_exact_p_counts_arrangements_ties_and_all(values: list[int]) -> None:
    found = mann_kendall(values)
    scores = [_s(order) for order in permutations(values)]
    assert found.s == _s(tuple(values))
    assert found.p == pytest.approx(np.mean([abs(score) >= abs(found.s) for score in scores]))
    assert found.rising_p == pytest.approx(np.mean([score >= found.s for score in scores]))


@given(few)
def test_the_mirrored_series_has_the_mirrored_trend(values: list[int]) -> None:
    found, mirrored = mann_kendall(values), mann_kendall(values[::-1])
    assert (found.s, found.p) == (-mirrored.s, pytest.approx(mirrored.p))


def test_the_normal_curve_takes_over_where_counting_would_be_long() -> None:
    assert mann_kendall(range(30)).exact
    assert not mann_kendall(range(31)).exact


def test_equal_values_have_no_trend() -> None:
    assert mann_kendall([2.0] * 6).p == 1.0
    assert mann_kendall([2.0] * 40).p == 1.0


def test_one_outlier_leaves_the_slope_alone() -> None:
    assert theil_sen(range(7), [0, 2, 4, 60, 8, 10, 12]).slope == pytest.approx(2.0)


@pytest.mark.parametrize(("points", "has_interval"), [(4, False), (5, True), (6, True), (40, True)])
def test_an_interval_of_95_percent_needs_five_points(points: int, has_interval: bool) -> None:
    found = theil_sen(range(points), np.arange(points) ** 1.1)
    assert (found.low is not None) is has_interval


def test_the_slopes_interval_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(5)
    kept = 0
    for _ in range(400):
        found = theil_sen(range(8), 0.5 * np.arange(8) + rng.normal(0, 1, 8))
        assert found.low is not None
        assert found.high is not None
        kept += found.low <= 0.5 <= found.high
    assert kept >= 0.93 * 400


def test_without_two_places_there_is_no_slope() -> None:
    with pytest.raises(ValueError, match="no two points"):
        theil_sen([1, 1], [2, 3])


def test_a_step_is_found_where_it_is() -> None:
    assert pettitt([1, 2, 1, 2, 9, 8, 9, 8]).after == 4


@given(few, few)
def test_swapping_the_groups_mirrors_the_shift(x: list[int], y: list[int]) -> None:
    xs = np.asarray(x) + np.arange(len(x)) * 1e-3
    ys = np.asarray(y) + 0.5e-4 + np.arange(len(y)) * 1e-3 + 3e-5
    found = hodges_lehmann(xs, ys)
    assert found.shift == pytest.approx(-hodges_lehmann(ys, xs).shift)
    assert 0 < found.p <= 1


def test_a_cycle_cut_short_raises_the_median() -> None:
    cut = kaplan_meier([10, 12, 14, 30], [True, True, True, False]).median
    assert cut == 12
    assert kaplan_meier([10, 11, 20, 20], [True, False, False, False]).median is None


def test_a_margin_of_zero_tells_nothing() -> None:
    assert fisher_exact([[0, 4], [0, 4]])[0] == 1.0


@pytest.mark.parametrize("count", [0, 1, 5, 40])
def test_the_chance_of_another_lies_within_its_interval_and_near_that_of_the_plain_rate(count: int) -> None:
    found = chance_of_any(count, 10.0, 1.0)
    assert found.low < found.probability < found.high < 1
    low, high = (1 - np.exp(-limit / 10) for limit in poisson_limits(count, level=0.9))
    assert low <= found.high
    assert found.low <= high

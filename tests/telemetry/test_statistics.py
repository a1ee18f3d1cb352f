from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.statistics import (
    adjusted_p,
    compare_rates,
    median_interval,
    moments,
    poisson_limits,
    proportion_limits,
    scatter_of,
)


class TestScatter:
    def test_counts_of_one_rate_scatter_as_poissons_and_no_less(self) -> None:
        assert scatter_of([2, 1, 2, 1], [5, 5]) == 1.0

    def test_each_group_is_held_against_its_own_mean_and_an_empty_one_tells_nothing(self) -> None:
        uneven = (16 + 16) / 4  # (0, 8) about 4
        assert scatter_of([0, 8], [3, 3]) == pytest.approx((uneven + 4) / (2 + 4))
        assert scatter_of([0, 8], [0, 0, 0]) == scatter_of([0, 8]) == pytest.approx((uneven + 4) / (1 + 4))

    def test_nothing_at_all_is_no_scatter(self) -> None:
        assert scatter_of() == scatter_of([], [0]) == 1.0


class TestCompareRates:
    def test_without_any_event_nothing_can_be_said(self) -> None:
        found = compare_rates(0, 10.0, 0, 20.0)
        assert (found.rate_ratio, found.low, found.high, found.p) == (None, None, None, 1.0)

    @pytest.mark.parametrize("exposures", [(0.0, 20.0), (10.0, 0.0), (math.nan, 10.0)])
    def test_without_exposure_on_one_side_nothing_can_be_said(self, exposures) -> None:
        assert compare_rates(1, exposures[0], 2, exposures[1]).p == 1.0

    def test_events_on_one_side_only_leave_the_other_limit_open(self) -> None:
        only_first = compare_rates(5, 10.0, 0, 90.0)
        assert only_first.rate_ratio is None
        assert only_first.high is None
        assert only_first.low == pytest.approx(
            proportion_limits(5, 5)[0] / (1 - proportion_limits(5, 5)[0]) * 9
        )
        assert only_first.p == pytest.approx(0.1**5)
        only_second = compare_rates(0, 10.0, 5, 90.0)
        assert only_second.rate_ratio == only_second.low == 0

    @given(st.integers(0, 300), st.integers(0, 300), st.floats(0.1, 1e4), st.floats(0.1, 1e4))
    def test_is_the_same_test_the_other_way_round(self, first, second, time, other) -> None:
        there, back = compare_rates(first, time, second, other), compare_rates(second, other, first, time)
        assert there.p == pytest.approx(back.p, rel=1e-6)
        if there.rate_ratio and back.rate_ratio:
            assert there.rate_ratio == pytest.approx(1 / back.rate_ratio)
            assert there.low == pytest.approx(1 / back.high)

    @given(st.integers(0, 12), st.integers(0, 12), st.integers(1, 9), st.integers(1, 9))
    def test_p_agrees_with_the_definition_in_exact_fractions(self, first, second, time, other) -> None:
        both, chance = first + second, Fraction(time, time + other)
        pmf = [math.comb(both, k) * chance**k * (1 - chance) ** (both - k) for k in range(both + 1)]
        p = sum(outcome for outcome in pmf if outcome <= pmf[first])
        assert compare_rates(first, time, second, other).p == pytest.approx(float(p), rel=1e-9)

    def test_many_events_keep_their_precision(self) -> None:
        found = compare_rates(50_000, 1.0, 50_000, 1.0)
        assert found.p == pytest.approx(1.0)
        assert found.low == pytest.approx(math.exp(-1.96 * math.sqrt(2 / 50_000)), rel=1e-4)

    def test_negative_counts_are_refused(self) -> None:
        with pytest.raises(ValueError, match="0 or more"):
            compare_rates(-1, 1.0, 1, 1.0)


class TestLimits:
    def test_the_limits_are_where_the_tails_are(self) -> None:
        low, high = poisson_limits(7, level=0.9)
        assert 1 - _poisson_cdf(6, low) == pytest.approx(0.05)
        assert _poisson_cdf(7, high) == pytest.approx(0.05)

    def test_no_trials_say_nothing(self) -> None:
        assert proportion_limits(0, 0) == (0.0, 1.0)
        assert proportion_limits(4, 4)[1] == 1.0


class TestAdjustedP:
    def test_keeps_the_order_given_and_never_falls_below_p(self) -> None:
        assert adjusted_p([0.04, 0.01, 0.03]).tolist() == pytest.approx([0.04, 0.03, 0.04])

    def test_of_nothing_is_nothing(self) -> None:
        assert adjusted_p([]).tolist() == []
        assert adjusted_p([], []).tolist() == []

    def test_what_weighs_more_has_more_of_the_level(self) -> None:
        assert adjusted_p([0.04, 0.04], [3, 1]).tolist() == pytest.approx([2 * 0.04 / 1.5, 0.04 / 0.5])
        assert adjusted_p([0.04, 0.01], [7, 7]).tolist() == adjusted_p([0.04, 0.01]).tolist()

    @given(st.lists(st.floats(0, 1), min_size=1, max_size=20))
    def test_agrees_with_the_definition_read_literally(self, p_values) -> None:
        ranked = sorted(p_values)
        m = len(ranked)
        by_value = {
            p: min(1.0, *(m * ranked[j] / (j + 1) for j in range(ranked.index(p), m)), 1.0) for p in p_values
        }
        assert adjusted_p(p_values).tolist() == pytest.approx([by_value[p] for p in p_values])


class TestMoments:
    def test_of_one_value_and_of_equal_values(self) -> None:
        assert (moments([3.0]).mean, moments([3.0]).sd, moments([3.0]).autocorrelation) == (3.0, None, None)
        assert moments([2.0, 2.0]).sd == 0.0
        assert moments([2.0, 2.0]).autocorrelation is None

    def test_of_nothing_is_refused(self) -> None:
        with pytest.raises(ValueError, match="no values"):
            moments([])


class TestMedianInterval:
    def test_six_values_are_the_fewest_for_95_percent(self) -> None:
        five, six = median_interval([1, 2, 3, 4, 5]), median_interval([3, 1, 2, 6, 5, 4])
        assert (five.median, five.low, five.high, five.level) == (3, None, None, 0.0)
        assert (six.median, six.low, six.high) == (3.5, 1, 6)
        assert six.level == pytest.approx(1 - 2 / 2**6)

    def test_twenty_values_lie_between_the_sixth_from_each_end(self) -> None:
        found = median_interval(np.arange(1.0, 21.0))
        assert (found.low, found.high) == (6, 15)
        assert found.level == pytest.approx(0.9586, abs=5e-5)

    @pytest.mark.parametrize("n", [6, 7, 11, 30, 101])
    def test_covers_the_true_median_as_often_as_it_says(self, n) -> None:
        random = np.random.default_rng(n)
        found = [median_interval(sample) for sample in random.exponential(size=(2_000, n))]
        covered = np.mean([interval.low <= math.log(2) <= interval.high for interval in found])
        assert found[0].level >= 0.95
        assert covered == pytest.approx(found[0].level, abs=0.02)


def _poisson_cdf(k: int, mean: float) -> float:
    return sum(math.exp(-mean) * mean**i / math.factorial(i) for i in range(k + 1))

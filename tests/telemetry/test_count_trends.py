"""A trend in counts, by two tests that must agree."""

from itertools import permutations, product

import numpy as np
import pytest
from scipy.stats import permutation_test

from telemetry.count_trends import count_trend_p, order_trend_p, poisson_trend_p

EQUAL = [100.0] * 4


def test_of_three_events_in_four_matches_all_64_ways_are_counted() -> None:
    ways = [sum(places) for places in product(range(4), repeat=3)]
    as_late = sum(abs(way - 4.5) >= abs(8 - 4.5) for way in ways)
    assert poisson_trend_p([0, 0, 1, 2], EQUAL, range(4)) == pytest.approx(as_late / 64)


def test_more_faults_in_longer_matches_are_no_trend() -> None:
    exposures_s = [50.0, 100.0, 150.0, 200.0]
    assert poisson_trend_p([1, 2, 3, 4], exposures_s, range(4)) == pytest.approx(1.0)
    assert count_trend_p([1, 2, 3, 4], exposures_s, range(4)) == pytest.approx(1.0)


def test_it_is_the_same_backwards() -> None:
    assert poisson_trend_p([5, 2, 1, 0], EQUAL, range(4)) == pytest.approx(
        poisson_trend_p([0, 1, 2, 5], EQUAL, range(4))
    )


def test_many_events_by_the_normal_curve_come_near_the_exact_sum() -> None:
    counts = [36, 38, 40, 42, 48]
    chance = np.ones(1)
    for _ in range(sum(counts)):
        chance = np.convolve(chance, np.full(5, 0.2))
    far = np.abs(np.arange(len(chance)) - 2 * sum(counts)) >= abs(np.arange(5) @ counts - 2 * sum(counts))
    assert poisson_trend_p(counts, [1.0] * 5, range(5)) == pytest.approx(chance[far].sum(), rel=0.05)


@pytest.mark.parametrize("values", [[0, 1, 1, 3], [2.0, 0.5, 3.0, 1.0], [0, 0, 0, 9]])
def test_all_orders_are_counted(values: list[float]) -> None:
    x = np.arange(4) - 1.5
    reached = [abs(np.array(order) @ x) >= abs(np.array(values) @ x) - 1e-9 for order in permutations(values)]
    assert order_trend_p(values, range(4)) == pytest.approx(np.mean(reached))


def test_orders_agree_with_scipy() -> None:
    values, x = np.array([0.0, 1, 0, 2, 3, 2, 5]), np.arange(7.0)
    told = permutation_test(
        (values,), lambda v: abs(float((v - v.mean()) @ (x - 3))), permutation_type="pairings",
        alternative="greater", n_resamples=np.inf,
    )  # fmt: skip
    assert order_trend_p(values, range(7)) == pytest.approx(told.pvalue)


def test_of_many_matches_as_many_orders_are_tried_each_time_the_same() -> None:
    values = [0, 1, 0, 2, 1, 3, 2, 4, 3, 5]
    assert order_trend_p(values, range(10)) == order_trend_p(values, range(10)) < 0.002


def test_of_very_many_matches_the_normal_curve_comes_near_the_drawn_orders() -> None:
    values = np.random.default_rng(6).poisson(np.linspace(1.0, 2.2, 40)).astype(float)
    x = np.arange(40) - 19.5
    orders = np.random.default_rng(7).random((20_000, 40)).argsort(axis=1)
    drawn = np.mean(np.abs(values[orders] @ x) >= abs(values @ x))
    assert order_trend_p(values, range(40)) == pytest.approx(drawn, abs=0.01)
    assert 0.001 < drawn < 0.2


def test_one_bad_match_at_the_end_is_no_trend_though_chance_did_not_make_it() -> None:
    counts, exposures_s = [0, 0, 0, 0, 0, 0, 0, 9], [150.0] * 8
    assert poisson_trend_p(counts, exposures_s, range(8)) < 1e-4
    assert count_trend_p(counts, exposures_s, range(8)) == pytest.approx(0.25)

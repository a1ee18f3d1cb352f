"""A trend in counts: three questions that must agree."""

from itertools import product

import numpy as np
import pytest
from scipy.stats import norm

from telemetry.count_trends import CountTrend, clustering, count_trend, poisson_rise_p
from telemetry.rank_statistics import mann_kendall

EQUAL = [100.0] * 4


def _clustering(counts: list[int]) -> float:
    return clustering(np.array(counts), np.full(len(counts), 100.0), np.arange(len(counts)))


def test_of_three_events_in_four_matches_all_64_ways_are_counted() -> None:
    ways = [sum(places) for places in product(range(4), repeat=3)]
    assert poisson_rise_p([0, 0, 1, 2], EQUAL, range(4)) == pytest.approx(sum(w >= 8 for w in ways) / 64)


def test_more_faults_in_longer_matches_are_no_trend() -> None:
    exposures = [50.0, 100.0, 150.0, 200.0]
    assert poisson_rise_p([1, 2, 3, 4], exposures, range(4)) > 0.5
    assert count_trend([1, 2, 3, 4], exposures, range(4)).p > 0.5


def test_backwards_a_rise_is_a_fall() -> None:
    there, back = count_trend([0, 1, 2, 5], EQUAL, range(4)), count_trend([5, 2, 1, 0], EQUAL, range(4))
    assert (back.rising_p, back.falling_p) == pytest.approx((there.falling_p, there.rising_p))
    assert (there.rises, back.rises) == (True, False)


def test_a_fall_must_be_four_times_as_clear_as_a_rise() -> None:
    assert CountTrend(0.03, 0.99).p == pytest.approx(0.0375)
    assert CountTrend(0.99, 0.03).p == pytest.approx(0.15)


def test_a_match_that_was_not_judged_leaves_its_place_empty() -> None:
    whole = poisson_rise_p([0, 0, 1, 2], EQUAL, [0, 1, 2, 4])
    ways = [sum(places) for places in product((0, 1, 2, 4), repeat=3)]
    assert whole == pytest.approx(sum(way >= 10 for way in ways) / 64)


def test_many_events_by_the_normal_curve_come_near_the_exact_sum() -> None:
    counts = [36, 38, 40, 42, 48]
    chance = np.ones(1)
    for _ in range(sum(counts)):
        chance = np.convolve(chance, np.full(5, 0.2))
    late = float(chance[np.arange(5) @ counts :].sum())
    assert poisson_rise_p(counts, [1.0] * 5, range(5)) == pytest.approx(late, rel=0.05)


def test_counts_on_a_straight_line_do_not_cluster_however_steep_it_is() -> None:
    assert _clustering([1, 2, 3, 4, 5, 6]) == 1.0
    assert _clustering([3, 3, 3, 3]) == 1.0


def test_the_scatter_about_the_line_is_set_against_what_poisson_would_scatter() -> None:
    assert _clustering([4, 0, 0, 4]) == pytest.approx(4 * 2**2 / 2 / 2)


def test_what_comes_in_clusters_must_be_clearer() -> None:
    counts = [0, 4, 0, 4, 0, 8, 4, 8]
    late = np.arange(8) @ counts
    poisson_z = (late - 28 * 3.5) / np.sqrt(28 * 5.25)
    scatter = clustering(np.array(counts), np.ones(8), np.arange(8))
    assert scatter > 2
    told = count_trend(counts, [1.0] * 8, range(8)).rising_p
    assert told == pytest.approx(norm.sf(poisson_z / np.sqrt(scatter)))
    assert told > 2 * poisson_rise_p(counts, [1.0] * 8, range(8))


def test_one_bad_match_at_the_end_is_no_trend_though_chance_did_not_make_it() -> None:
    counts, exposures = [1, 0, 1, 0, 1, 0, 1, 9], [150.0] * 8
    assert poisson_rise_p(counts, exposures, range(8)) < 0.001
    assert count_trend(counts, exposures, range(8)).p > 0.1


def test_a_rise_that_each_match_bears_out_stands_without_any_one_of_them() -> None:
    assert count_trend([0, 1, 1, 2, 3, 3, 4, 5], [150.0] * 8, range(8)).p < 0.01


@pytest.mark.parametrize("cluster", [1, 2])
def test_steady_counts_show_a_trend_about_as_often_as_the_level_says(cluster: int) -> None:
    rng = np.random.default_rng(8)
    drawn = [(cluster * rng.poisson(3.0, 8)).tolist() for _ in range(600)]
    found = np.mean([count_trend(counts, [150.0] * 8, range(8)).p <= 0.05 for counts in drawn])
    assert 0 < found <= 0.07


def test_without_any_event_there_is_no_trend() -> None:
    assert count_trend([0, 0, 0, 0], EQUAL, range(4)).p == 1.0


def test_a_rise_more_even_than_chance_shows_by_its_order_alone() -> None:
    counts = [1, 1, 2, 2, 2, 3, 3, 3]
    told = count_trend(counts, [150.0] * 8, range(8))
    assert poisson_rise_p(counts, [150.0] * 8, range(8)) > 0.05
    assert told.rising_p == pytest.approx(8 * mann_kendall(counts).rising_p)
    assert told.p <= 0.05
    backwards = count_trend(counts[::-1], [150.0] * 8, range(8))
    assert backwards.falling_p == pytest.approx(told.rising_p)

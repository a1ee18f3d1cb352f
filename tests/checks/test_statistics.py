"""Exact tests, intervals and descriptive numbers against published values."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.statistics import adjusted_p, compare_rates, moments, poisson_limits, proportion_limits
from tests.checks.published import approx, published


def test_ct_01_exact_poisson_limits() -> None:
    """Garwood, Biometrika 28 (1936)."""
    check = published("ct-01")
    limits = [poisson_limits(count, level=check["inputs"]["level"]) for count in check["inputs"]["counts"]]
    assert np.asarray(limits) == approx(check, np.asarray(check["expected"]))


def test_ct_02_exact_poisson_limits_at_three_levels() -> None:
    """Garwood's limits of a count of 25, as a table on the web prints them."""
    check = published("ct-02")
    limits = [poisson_limits(check["inputs"]["count"], level=level) for level in check["inputs"]["levels"]]
    assert np.asarray(limits) == approx(check, np.asarray(check["expected"]))


def test_ct_03_two_poisson_rates() -> None:
    """Przyborowski and Wilenski (1940); the example of poisson.test in R, its output from memory."""
    check = published("ct-03")
    given = check["inputs"]
    found = compare_rates(given["x1"], given["t1"], given["x2"], given["t2"])
    assert [found.p, found.rate_ratio, found.low, found.high] == approx(check)


def test_ct_04_two_counts_in_equal_times() -> None:
    """Exact: 43400 / 2^20."""
    check = published("ct-04")
    given = check["inputs"]
    assert compare_rates(given["x1"], given["t1"], given["x2"], given["t2"]).p == approx(check)


def test_ct_05_one_poisson_rate() -> None:
    """The example of poisson.test(137, 24.19893) in R, its output from memory."""
    check = published("ct-05")
    count, time = check["inputs"]["k"], check["inputs"]["t"]
    assert [count / time, *(limit / time for limit in poisson_limits(count))] == approx(check)


def test_ct_09_clopper_pearson_limits() -> None:
    """Newcombe, Statistics in Medicine 17 (1998), Table I, method 5 (printed values from memory)."""
    check = published("ct-09")
    limits = [proportion_limits(k, n) for k, n in check["inputs"]["k_n"]]
    assert np.asarray(limits) == approx(check, np.asarray(check["expected"]))


def test_ct_10_false_discovery_rate() -> None:
    """Benjamini and Hochberg, JRSS B 57 (1995), section 4.1: four of fifteen rejected at 0.05."""
    check = published("ct-10")
    adjusted = adjusted_p(check["inputs"]["p"])
    assert adjusted.tolist() == approx(check)
    assert np.count_nonzero(adjusted <= check["inputs"]["alpha"]) == 4


@pytest.mark.parametrize("identifier", [f"st-{number:02d}" for number in range(1, 9)])
def test_moments_of_the_reference_data_sets(identifier: str) -> None:
    """NIST Statistical Reference Datasets, univariate: Lew, Lottery, Mavro, Michelso, NumAcc1 to NumAcc4."""
    check = published(identifier)
    found = moments(_data(check["inputs"]))
    assert [found.mean, found.sd, found.autocorrelation] == approx(check)


def _data(inputs: dict) -> np.ndarray:
    """The values, or as generated: `1.2 then (1.1, 1.3) x 500`."""
    if "data" in inputs:
        return np.asarray(inputs["data"])
    first, pair = inputs["generate"].removesuffix(" x 500").split(" then ")
    return np.asarray([float(first), *[float(value) for value in pair.strip("()").split(", ")] * 500])

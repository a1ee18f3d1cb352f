"""Trends, shifts, waiting times and tests of tables against published values."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.rank_statistics import (
    hodges_lehmann,
    kaplan_meier,
    log_rank,
    mann_kendall,
    pettitt,
    theil_sen,
    walsh_shift,
)
from telemetry.statistics import e_test, fisher_exact
from tests.checks.published import approx, published


def test_ct_06_e_test_of_two_poisson_means() -> None:
    """Krishnamoorthy and Thomson (2004), example in the documentation of scipy.stats."""
    check = published("ct-06")
    given = check["inputs"]
    assert [*e_test(given["k1"], given["n1"], given["k2"], given["n2"])] == approx(check)


def test_ct_07_the_lady_tasting_tea() -> None:
    """Fisher, The Design of Experiments (1935), ch. II."""
    check = published("ct-07")
    all_right = fisher_exact(check["inputs"]["table_44"])
    three_right = fisher_exact(check["inputs"]["table_34"])
    assert [all_right[1], three_right[1], three_right[0]] == approx(check)


def test_tr_01_mann_kendall_with_ties() -> None:
    """EPA QA/G-9S (2006), p. 109."""
    check = published("tr-01")
    x = check["inputs"]["x"]
    found = mann_kendall(x, method="normal")
    slope = theil_sen(range(len(x)), x).slope
    assert [found.s, found.variance, found.z, found.p, slope] == approx(check)


def test_tr_02_mann_kendall_of_a_small_sample() -> None:
    """EPA QA/G-9 (2000), worked example (printed values from memory)."""
    check = published("tr-02")
    x = check["inputs"]["x"]
    found = mann_kendall(x)
    assert [found.s, found.rising_p, theil_sen(range(len(x)), x).slope] == approx(check)


def test_tr_03_exact_upper_tails() -> None:
    """Gilbert, Statistical Methods for Environmental Pollution Monitoring (1987), Table A18 (from memory)."""
    check = published("tr-03")
    tails = [mann_kendall(_arrangement(n, s)).rising_p for n, s in check["inputs"]["n_s"]]
    assert tails == approx(check)


def _arrangement(n: int, s: int) -> list[int]:
    """1 … n in an order that has Kendall's S: swaps of neighbours, each taking 2 off, from the sorted one."""
    order = list(range(n))
    inversions = (n * (n - 1) // 2 - s) // 2
    for end in range(n - 1, 0, -1):
        for place in range(end):
            if inversions and order[place] < order[place + 1]:
                order[place], order[place + 1] = order[place + 1], order[place]
                inversions -= 1
    return order


def test_tr_04_the_slope_is_the_median_of_the_pairwise_slopes() -> None:
    """Slopes after Wilcox: from one point to a second for each of them, the seconds all at one x."""
    check = published("tr-04")
    slopes = check["inputs"]["slopes"]
    assert theil_sen([0, *[1] * len(slopes)], [0, *slopes]).slope == approx(check)


def test_tr_05_the_nile() -> None:
    """Cobb, Biometrika 65 (1978): a change near 1898, after 28 values."""
    check = published("tr-05")
    x = check["inputs"]["x"]
    trend, step = mann_kendall(x), pettitt(x)
    before, after = float(np.mean(x[: step.after])), float(np.mean(x[step.after :]))
    slope = theil_sen(range(len(x)), x).slope
    found = [trend.s, trend.variance, trend.z, slope, step.after, before, after, step.k, step.after, step.p]
    assert found == approx(check)


def test_km_01_weeks_in_remission() -> None:
    """Freireich et al., Blood 21 (1963); tables in Klein and Moeschberger, Survival Analysis."""
    check = published("km-01")
    curve = kaplan_meier(check["inputs"]["time"], check["inputs"]["event"])
    found = np.column_stack((curve.t, curve.share, curve.standard_error))
    assert found == approx(check, np.asarray(check["expected"]))


def test_km_02_medians_log_rank_and_restricted_mean() -> None:
    """As km-01."""
    check, treated = published("km-02"), published("km-01")["inputs"]
    placebo = check["inputs"]["placebo_time"]
    curve = kaplan_meier(treated["time"], treated["event"])
    other = kaplan_meier(placebo, np.ones(len(placebo)))
    chi2, p = log_rank(treated["time"], treated["event"], placebo, np.ones(len(placebo)))
    weeks, relapses = sum(treated["time"]) + sum(placebo), sum(treated["event"]) + len(placebo)
    found = [curve.median, other.median, chi2, p, weeks, relapses, curve.restricted_mean(35)]
    assert found == approx(check)


def test_hl_01_paired_shift() -> None:
    """Hollander and Wolfe, Nonparametric Statistical Methods, ch. 3 (estimate and limits from memory)."""
    check = published("hl-01")
    x, y = np.asarray(check["inputs"]["x"]), np.asarray(check["inputs"]["y"])
    found = walsh_shift(y - x)
    estimate, low, high, _, one_sided_p = check["expected"]
    assert [found.shift, found.low, found.high] == approx(check, [estimate, low, high])
    assert found.p / 2 == approx(check, one_sided_p)


def test_hl_02_shift_between_two_groups() -> None:
    """Hollander and Wolfe, ch. 4, permeability data."""
    check = published("hl-02")
    found = hodges_lehmann(check["inputs"]["x"], check["inputs"]["y"])
    shift, _, one_sided_p = check["expected"]
    assert found.shift == approx(check, shift)
    assert found.p / 2 == pytest.approx(one_sided_p, abs=1e-6)

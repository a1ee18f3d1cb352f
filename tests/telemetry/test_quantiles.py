"""Quantiles from their definitions, against scipy and against themselves."""

import pytest
from scipy.special import betaincinv, gammainc, gammaincinv

from telemetry.quantiles import gamma_quantile, log_choose, share_limit

LEVELS = (1e-6, 0.005, 0.025, 0.05, 0.5, 0.95, 0.975, 0.995)


@pytest.mark.parametrize("shape", [0.5, 1, 1.5, 2, 7.5, 51, 200.5, 3000])
@pytest.mark.parametrize("level", LEVELS)
def test_quantiles_of_the_gamma_distribution_agree_with_scipy(shape: float, level: float) -> None:
    assert gamma_quantile(shape, level) == pytest.approx(float(gammaincinv(shape, level)), rel=1e-9)


@pytest.mark.parametrize(
    ("successes", "trials"), [(1, 1), (1, 5), (5, 5), (3, 17), (40, 300), (999, 1000), (1, 5000)]
)
@pytest.mark.parametrize("tail", LEVELS)
def test_limits_of_a_share_are_quantiles_of_the_beta_distribution(
    successes: int, trials: int, tail: float
) -> None:
    expected = float(betaincinv(successes, trials - successes + 1, tail))
    assert share_limit(successes, trials, tail) == pytest.approx(expected, rel=1e-9)


def test_so_little_as_one_in_a_million_lies_below_its_quantile() -> None:
    assert float(gammainc(12.5, gamma_quantile(12.5, 1e-6))) == pytest.approx(1e-6, rel=1e-9)


def test_binomial_coefficients() -> None:
    assert log_choose(4).tolist() == pytest.approx([0.0, 1.3862943611, 1.7917594692, 1.3862943611, 0.0])
    assert log_choose(0).tolist() == [0.0]

"""Hidden Markov chains against the worked examples of the textbooks."""

from __future__ import annotations

from collections.abc import Sequence
from math import lgamma
from typing import Any

import numpy as np
import pytest

from telemetry.estimators.markov import Chain, Step, backward, forward, most_likely_path
from telemetry.log import FloatArray
from tests.checks.published import approx, published


def _chain(given: dict[str, Any], instants: int | None = None) -> Chain:
    """A plain chain, one row of health, over the first so many of its observations."""
    observed = np.array(given["observations"][:instants], dtype=np.intp)
    return Chain(
        start=np.array([given["start"]]),
        steps=[Step.of_matrices(np.ones((1, 1)), np.array([given["transition"]]))],
        taken=np.zeros(len(observed), dtype=np.intp),
        likelihood=np.array(given["emission"]).T[:, None, :],
        observed=observed,
    )


def _forward_variables(given: dict[str, Any]) -> list[float]:
    """The unscaled chances of the textbooks: what is filtered × the likelihood until then."""
    found: list[float] = []
    for instants in range(1, len(given["observations"]) + 1):
        filtered, log_likelihood = forward(_chain(given, instants))
        found += (filtered[-1, 0] * np.exp(log_likelihood)).tolist()
    return found


def test_hm_01_rain_of_two_days() -> None:
    """Russell and Norvig, Artificial Intelligence: A Modern Approach, 3rd ed., section 15.2."""
    check = published("hm-01")
    chain = _chain(check["inputs"])
    filtered, _ = forward(chain)
    smoothed = backward(chain, filtered)
    assert [*filtered[:, 0, 0].tolist(), float(smoothed[0, 0, 0])] == approx(check)


def test_hm_02_filtered_rain_of_five_days() -> None:
    """Russell and Norvig, 3rd ed., the same world over five days."""
    check = published("hm-02")
    filtered, _ = forward(_chain(check["inputs"]))
    assert filtered[:, 0, 0].tolist() == approx(check)


def test_hm_03_smoothed_rain_of_five_days_and_the_likelihood() -> None:
    """Russell and Norvig, 3rd ed., the same world over five days, forward-backward."""
    check = published("hm-03")
    chain = _chain(check["inputs"])
    filtered, log_likelihood = forward(chain)
    smoothed = backward(chain, filtered)
    assert [*smoothed[:, 0, 0].tolist(), float(np.exp(log_likelihood))] == approx(check)


def test_hm_05_forward_variables_and_likelihood() -> None:
    """Jurafsky and Martin, Speech and Language Processing, 3rd ed. draft, appendix A, figure A.5."""
    check = published("hm-05")
    _, log_likelihood = forward(_chain(check["inputs"]))
    assert [*_forward_variables(check["inputs"]), float(np.exp(log_likelihood))] == approx(check)


def test_hm_07_smoothed_chance_of_a_hot_day() -> None:
    """Jurafsky and Martin, the data of figure A.5, forward-backward."""
    check = published("hm-07")
    chain = _chain(check["inputs"])
    assert backward(chain, forward(chain)[0])[:, 0, 0].tolist() == approx(check)


@pytest.mark.parametrize(
    ("identifier", "path"),
    [("hm-04", slice(0, 5)), ("hm-06", slice(6, 9)), ("hm-08", slice(1, 4))],
)
def test_most_likely_path(identifier: str, path: slice) -> None:
    """Russell and Norvig, figure 15.5; Jurafsky and Martin, figure A.8; the fever of the encyclopedia."""
    check = published(identifier)
    assert most_likely_path(_chain(check["inputs"])).tolist() == check["expected"][path]


def test_hm_08_likelihood_of_the_fever() -> None:
    """The worked example of the encyclopedia's article on the Viterbi algorithm."""
    check = published("hm-08")
    _, log_likelihood = forward(_chain(check["inputs"]))
    assert float(np.exp(log_likelihood)) == approx(check, check["expected"][-1])


def test_hm_09_chance_of_a_week_of_weather_seen_as_it_is() -> None:
    """Rabiner, Proc. IEEE 77(2), 1989, section II: states observed as they are, the first one certain."""
    check = published("hm-09")
    given = check["inputs"]
    first = np.eye(3)[given["sequence"][0]].tolist()
    seen = {**given, "start": first, "emission": np.eye(3).tolist(), "observations": given["sequence"]}
    _, log_likelihood = forward(_chain(seen))
    assert float(np.exp(log_likelihood)) == approx(check, check["expected"][0])


def _poisson_surprise(
    rates: Sequence[float], transition: Sequence[Sequence[float]], start: FloatArray
) -> float:
    """Minus the log likelihood of the series of counts in a chain with these Poisson rates."""
    counts = np.array(published("hm-10")["inputs"]["counts"])
    rate = np.array(rates)[:, None]
    weighed = counts * np.log(rate) - rate - np.array([lgamma(count + 1) for count in counts])
    chain = Chain(
        start=start[None],
        steps=[Step.of_matrices(np.ones((1, 1)), np.array([transition]))],
        taken=np.zeros(len(counts), dtype=np.intp),
        likelihood=np.exp(weighed).T[:, None, :],
        observed=np.arange(len(counts)),
    )
    return -forward(chain)[1]


def _stationary(transition: Sequence[Sequence[float]]) -> FloatArray:
    matrix = np.array(transition)
    states = len(matrix)
    both = np.vstack((matrix.T - np.eye(states), np.ones(states)))
    share: FloatArray = np.linalg.lstsq(both, np.append(np.zeros(states), 1.0))[0]
    return share


def test_hm_10_a_chain_of_one_state_is_one_poisson_distribution() -> None:
    """Zucchini and MacDonald, Hidden Markov Models for Time Series (2009), ch. 1: world earthquakes."""
    check = published("hm-10")
    mean = float(np.mean(check["inputs"]["counts"]))
    assert _poisson_surprise([mean], [[1.0]], np.ones(1)) == pytest.approx(
        check["expected"][3], rel=check["rel_tol"]
    )


def test_hm_11_a_chain_without_memory_is_a_mixture() -> None:
    """Zucchini and MacDonald (2009), Table 1.2: the mixture of two Poisson distributions."""
    check = published("hm-11")
    *fitted, surprise = check["expected"]
    rates, shares = fitted[:2], np.array(fitted[2:])
    assert _poisson_surprise(rates, [shares.tolist()] * 2, shares) == pytest.approx(
        surprise, abs=check["abs_tol"]
    )


@pytest.mark.parametrize("identifier", ["hm-12", "hm-13", "hm-14"])
def test_likelihood_of_the_earthquakes_in_a_poisson_chain(identifier: str) -> None:
    """Zucchini and MacDonald (2009), ch. 1 to 3: two and three states, stationary or from the first state."""
    check = published(identifier)
    given = check["inputs"]
    start = np.array(given["start"]) if "start" in given else _stationary(given["transition"])
    assert _poisson_surprise(given["lambda"], given["transition"], start) == approx(check)

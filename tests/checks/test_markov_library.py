"""The Markov chain of the pieces beside hmmlearn (PyPI) on shared models: chances, likelihood, best path."""

from __future__ import annotations

import numpy as np
import pytest
from hmmlearn.hmm import CategoricalHMM

from telemetry.estimators.markov import Chain, Step, backward, draw_paths, forward, most_likely_path

SEEDS = range(6)
INSTANTS = 400


def _shared(seed: int) -> tuple[CategoricalHMM, Chain]:
    """A model of two to seven states and two to five symbols, and what it emits, in both libraries."""
    rng = np.random.default_rng(seed)
    states, symbols = int(rng.integers(2, 8)), int(rng.integers(2, 6))
    start = rng.dirichlet(np.ones(states))
    moves = rng.dirichlet(np.full(states, 0.5), size=states)
    emission = rng.dirichlet(np.full(symbols, 0.5), size=states)
    observed = rng.integers(0, symbols, INSTANTS)
    theirs = CategoricalHMM(n_components=states, n_features=symbols)
    theirs.startprob_, theirs.transmat_, theirs.emissionprob_ = start, moves, emission
    ours = Chain(
        start=start[None, :],
        steps=[Step.of_matrices(np.ones((1, 1)), moves[None])],
        taken=np.zeros(INSTANTS, dtype=np.intp),
        likelihood=emission.T[:, None, :],
        observed=observed,
    )
    return theirs, ours


@pytest.mark.parametrize("seed", SEEDS)
def test_smoothed_chances_and_likelihood(seed: int) -> None:
    theirs, ours = _shared(seed)
    log_likelihood, chances = theirs.score_samples(ours.observed[:, None])
    filtered, told = forward(ours)
    assert told == pytest.approx(log_likelihood, rel=1e-9)
    assert backward(ours, filtered)[:, 0] == pytest.approx(chances, abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_path_is_likelier_than_the_likeliest(seed: int) -> None:
    """Some models have several; they are as likely to the last digit."""
    theirs, ours = _shared(seed)
    best, _ = theirs.decode(ours.observed[:, None], algorithm="viterbi")
    path = most_likely_path(ours)
    chance = np.log(theirs.startprob_[path[0]]) + np.log(theirs.emissionprob_[path, ours.observed]).sum()
    chance += np.log(theirs.transmat_[path[:-1], path[1:]]).sum()
    assert chance == pytest.approx(best, rel=1e-12)


@pytest.mark.parametrize("seed", SEEDS[:2])
def test_paths_drawn_from_the_posterior_are_spread_as_the_chances(seed: int) -> None:
    theirs, ours = _shared(seed)
    _, chances = theirs.score_samples(ours.observed[:, None])
    filtered, _ = forward(ours)
    drawn = draw_paths(ours, filtered, draws=4_000, seed=1)
    share = np.stack([(drawn == state).mean(axis=0) for state in range(chances.shape[1])], axis=1)
    assert np.abs(share - chances).max() < 5 * 0.5 / np.sqrt(4_000)

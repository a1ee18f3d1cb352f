"""Hidden Markov chains against going through every path, one by one."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.estimators.markov import (
    Chain,
    Step,
    backward,
    consensus_path,
    draw_paths,
    forward,
    most_likely_path,
)
from telemetry.log import FloatArray

few = settings(max_examples=40, deadline=None)


@dataclass(frozen=True)
class _Size:
    health: int
    occupancies: int
    instants: int


sizes = st.builds(_Size, st.integers(1, 3), st.integers(2, 3), st.integers(1, 5))


def _chain(size: _Size, seed: int, *, sparse: float = 0.0) -> Chain:
    """A chain of random weights; a share of the moves is not possible, to stay always is."""
    random = np.random.default_rng(seed)
    h, s = size.health, size.occupancies

    def step() -> Step:
        possible = (random.random((h, s, s)) >= sparse) | np.eye(s, dtype=bool)
        health = _frozen(random.random((h, h)) + 0.05)
        return Step.of_matrices(health, _frozen(possible * random.random((h, s, s))))

    return Chain(
        start=_frozen(random.random((h, s))),
        steps=[step(), step()],
        taken=random.integers(0, 2, size.instants),
        likelihood=_frozen(random.random((3, h, s)) + 0.02),
        observed=random.integers(0, 3, size.instants),
    )


def _moves(step: Step) -> FloatArray:
    """The full matrices of a step, (H, S, S): rows are where from."""
    index = step.links.index
    occupancies = len(index)
    moves = np.zeros((len(step.health), occupancies, occupancies))
    to = np.broadcast_to(np.arange(occupancies)[:, None], index.shape)
    for health, weight in enumerate(step.weight.T):
        np.add.at(moves[health], (index, to), weight)
    return moves


def _frozen(array: FloatArray) -> FloatArray:
    array.setflags(write=False)
    return array


def _weights(chain: Chain) -> dict[tuple[int, ...], float]:
    """The weight of every path of flat states there is, multiplied out."""
    h, s = chain.start.shape
    weights = {}
    for path in product(range(h * s), repeat=len(chain.observed)):
        pairs = [divmod(state, s) for state in path]
        weight = chain.start[pairs[0]]
        for k, (health, occupancy) in enumerate(pairs):
            weight = weight * chain.likelihood[chain.observed[k], health, occupancy]
        for k, ((health, occupancy), (next_health, next_occupancy)) in enumerate(pairwise(pairs), start=1):
            step = chain.steps[chain.taken[k]]
            weight = weight * step.health[health, next_health]
            weight = weight * _moves(step)[next_health, occupancy, next_occupancy]
        weights[path] = float(weight)
    return weights


def _smoothed(chain: Chain, weights: dict[tuple[int, ...], float]) -> FloatArray:
    chance = np.zeros((len(chain.observed), chain.start.size))
    for path, weight in weights.items():
        chance[np.arange(len(path)), path] += weight
    smoothed: FloatArray = (chance / sum(weights.values())).reshape(-1, *chain.start.shape)
    return smoothed


# Against every path


@few
@given(sizes, st.integers(0, 10**6))
def test_the_likelihood_is_the_sum_over_all_paths(size: _Size, seed: int) -> None:
    chain = _chain(size, seed, sparse=0.3)
    _, log_likelihood = forward(chain)
    assert log_likelihood == pytest.approx(np.log(sum(_weights(chain).values())))


@few
@given(sizes, st.integers(0, 10**6))
def test_filtered_chances_know_the_past_only(size: _Size, seed: int) -> None:
    chain = _chain(size, seed)
    filtered, _ = forward(chain)
    for instants in range(1, size.instants + 1):
        until_now = Chain(
            chain.start, chain.steps, chain.taken[:instants], chain.likelihood, chain.observed[:instants]
        )
        assert filtered[instants - 1] == pytest.approx(_smoothed(until_now, _weights(until_now))[-1])


@few
@given(sizes, st.integers(0, 10**6))
def test_smoothed_chances_know_the_future_too(size: _Size, seed: int) -> None:
    chain = _chain(size, seed, sparse=0.3)
    smoothed = backward(chain, forward(chain)[0])
    assert smoothed == pytest.approx(_smoothed(chain, _weights(chain)), abs=1e-12)


@few
@given(sizes, st.integers(0, 10**6))
def test_no_path_is_likelier_than_the_most_likely_one(size: _Size, seed: int) -> None:
    chain = _chain(size, seed, sparse=0.3)
    weights = _weights(chain)
    path = tuple(most_likely_path(chain).tolist())
    assert weights[path] == pytest.approx(max(weights.values()))


@few
@given(sizes, st.integers(0, 10**6))
def test_the_consensus_is_the_possible_path_that_agrees_best(size: _Size, seed: int) -> None:
    chain = _chain(size, seed, sparse=0.5)
    smoothed = backward(chain, forward(chain)[0])
    possible = [_moves(step).any(axis=0) for step in chain.steps]

    def agreement(path: tuple[int, ...]) -> float:
        allowed = [possible[chain.taken[k]][a, b] for k, (a, b) in enumerate(pairwise(path), start=1)]
        return float(np.prod([smoothed[k, :, at].sum() for k, at in enumerate(path)]) * np.prod(allowed))

    best = max(agreement(path) for path in product(range(size.occupancies), repeat=size.instants))
    assert agreement(tuple(consensus_path(chain, smoothed.sum(axis=1)).tolist())) == pytest.approx(best)


# Drawing


@pytest.mark.parametrize("seed", range(4))
def test_drawn_paths_fall_as_often_as_they_are_likely(seed: int) -> None:
    """Each state's share of n draws lies within 5 standard errors, √(p·(1 − p)/n), of its smoothed chance.

    That is passed in error once in about two million comparisons; four chains make 240.
    """
    draws = 4_000
    chain = _chain(_Size(3, 4, 5), seed, sparse=0.3)
    filtered, _ = forward(chain)
    smoothed = backward(chain, filtered).reshape(5, -1)
    paths = draw_paths(chain, filtered, draws=draws, seed=seed)
    for k in range(5):
        share = np.bincount(paths[:, k], minlength=12) / draws
        allowed = 5 * np.sqrt(smoothed[k] * (1 - smoothed[k]) / draws) + 1e-12
        assert (np.abs(share - smoothed[k]) <= allowed).all()


@pytest.mark.parametrize("seed", range(4))
def test_whole_paths_are_drawn_as_often_as_they_are_likely(seed: int) -> None:
    """As above, for each whole path: what hangs together is drawn together."""
    draws = 4_000
    chain = _chain(_Size(2, 2, 4), seed)
    weights = _weights(chain)
    filtered, _ = forward(chain)
    drawn = [tuple(path) for path in draw_paths(chain, filtered, draws=draws, seed=seed).tolist()]
    total = sum(weights.values())
    for path, weight in weights.items():
        chance = weight / total
        share = drawn.count(path) / draws
        assert abs(share - chance) <= 5 * np.sqrt(chance * (1 - chance) / draws) + 1 / draws


def test_only_possible_paths_are_drawn() -> None:
    chain = _chain(_Size(2, 3, 5), 11, sparse=0.6)
    weights = _weights(chain)
    drawn = draw_paths(chain, forward(chain)[0], draws=500, seed=0)
    assert all(weights[tuple(path)] > 0 for path in drawn.tolist())


def test_the_same_seed_draws_the_same_paths() -> None:
    chain = _chain(_Size(2, 3, 5), 1)
    filtered, _ = forward(chain)
    first, again, other = (draw_paths(chain, filtered, draws=50, seed=seed) for seed in (7, 7, 8))
    assert first.tolist() == again.tolist()
    assert first.tolist() != other.tolist()


# Long chains


def test_twenty_thousand_instants_do_not_vanish() -> None:
    chain = _chain(_Size(3, 3, 20_000), 5)
    filtered, log_likelihood = forward(chain)
    smoothed = backward(chain, filtered)
    assert np.isfinite(log_likelihood)
    assert filtered.sum(axis=(1, 2)) == pytest.approx(1.0)
    assert smoothed.sum(axis=(1, 2)) == pytest.approx(1.0)
    assert (smoothed >= 0).all()

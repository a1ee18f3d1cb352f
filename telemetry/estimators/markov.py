"""Hidden Markov chains: forward-backward, the most likely path, and paths drawn from the posterior.

A state is a pair (health, occupancy), so that each step factors into a small matrix over health and then, in
each health, one over occupancy; a plain chain has one row of health. Scaled, not in logarithms. Sources:
Rabiner, Proc. IEEE 77(2), 1989; drawing paths backwards: Carter and Kohn, Biometrika 81 (1994).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from telemetry.log import FloatArray

__all__ = [
    "Chain",
    "IntArray",
    "Step",
    "backward",
    "consensus_path",
    "draw_paths",
    "forward",
    "most_likely_path",
]

IntArray = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Step:
    """One kind of step: `health` first, then in the health it led to a move of the occupancy.

    Attributes:
        health: (H, H), rows are where from, columns where to; weights need not sum to 1.
        index: (S, D), the occupancies that lead to each, padded with any where there are fewer than D.
        weight: (H, S, D), the weight of each of them in each health; 0 where padded.
    """

    health: FloatArray
    index: IntArray
    weight: FloatArray

    @classmethod
    def of_matrices(cls, health: FloatArray, moves: FloatArray) -> Step:
        """A step from full matrices: `health` (H, H) and `moves` (H, S, S), rows are where from."""
        to, origin = np.nonzero(moves.any(axis=0).T)
        fan_in = np.bincount(to, minlength=moves.shape[1])
        column = np.arange(len(to)) - np.repeat(np.cumsum(fan_in) - fan_in, fan_in)
        index = np.zeros((moves.shape[1], int(fan_in.max(initial=1))), dtype=np.intp)
        weight = np.zeros((len(moves), *index.shape))
        index[to, column] = origin
        weight[:, to, column] = moves[:, origin, to]
        return cls(health, index, weight)

    @cached_property
    def _origin(self) -> IntArray:
        """The flat state that each weight leads from, (H·S·D,)."""
        healths, occupancies = self.weight.shape[:2]
        first = occupancies * np.arange(healths)
        return np.asarray((first[:, None, None] + self.index).ravel())

    def ahead(self, state: FloatArray) -> FloatArray:
        """Chances after the step out of those before, both (H, S)."""
        turned = self.health.T @ state
        return np.asarray(np.einsum("hsd,hsd->hs", turned.take(self.index, axis=1), self.weight))

    def back(self, message: FloatArray) -> FloatArray:
        """The message before the step out of the one after, both (H, S)."""
        carried = (self.weight * message[:, :, None]).ravel()
        before = np.bincount(self._origin, weights=carried, minlength=message.size)
        return np.asarray(self.health @ before.reshape(message.shape))

    def ways_into(self, state: int) -> tuple[IntArray, FloatArray]:
        """The flat states that lead to a flat state, and the weight of each, both (H·D,)."""
        health, occupancy = divmod(state, self.index.shape[0])
        origins, weight = self._ways
        return origins[occupancy], weight[health, occupancy]

    @cached_property
    def _ways(self) -> tuple[IntArray, FloatArray]:
        """All of those: origins (S, H·D), weights (H, S, H·D)."""
        healths, (occupancies, fan_in) = len(self.health), self.index.shape
        first = occupancies * np.arange(healths)
        origins = self.index[:, None, :] + first[None, :, None]
        weight = self.health.T[:, None, :, None] * self.weight[:, :, None, :]
        ways = healths * fan_in
        return origins.reshape(occupancies, ways), weight.reshape(healths, occupancies, ways)

    def possible(self) -> Step:
        """The same moves without health and without preference."""
        return Step(np.ones((1, 1)), self.index, (self.weight > 0).any(axis=0, keepdims=True).astype(float))


@dataclass(frozen=True, eq=False)
class Chain:
    """A whole chain over T instants.

    Attributes:
        start: (H, S), the chances before the first observation.
        steps: the kinds of step there are.
        taken: (T,), which kind leads from instant k - 1 to k; the first entry is not used.
        likelihood: (L, H, S), the chance of each of L observations in each state.
        observed: (T,), which observation each instant brought.
    """

    start: FloatArray
    steps: Sequence[Step]
    taken: IntArray
    likelihood: FloatArray
    observed: IntArray


def forward(chain: Chain) -> tuple[FloatArray, float]:
    """Filtered chances (T, H, S), and the logarithm of the likelihood of all observations."""
    filtered = np.empty((len(chain.observed), *chain.start.shape))
    log_likelihood = 0.0
    state = chain.start
    for k, seen in enumerate(chain.observed):
        if k:
            state = chain.steps[chain.taken[k]].ahead(state)
        state = state * chain.likelihood[seen]
        scale = state.sum()
        state = state / scale
        log_likelihood += float(np.log(scale))
        filtered[k] = state
    return filtered, log_likelihood


def backward(chain: Chain, filtered: FloatArray) -> FloatArray:
    """Smoothed chances (T, H, S) out of the filtered ones."""
    smoothed = np.empty_like(filtered)
    smoothed[-1] = filtered[-1]
    message = np.ones(chain.start.shape)
    for k in range(len(filtered) - 2, -1, -1):
        seen = message * chain.likelihood[chain.observed[k + 1]]
        message = chain.steps[chain.taken[k + 1]].back(seen)
        message = message / message.max()
        state = filtered[k] * message
        smoothed[k] = state / state.sum()
    return smoothed


def most_likely_path(chain: Chain) -> IntArray:
    """The Viterbi path as flat state numbers (health × S + occupancy), shape (T,)."""
    shape = chain.start.shape
    best = chain.start * chain.likelihood[chain.observed[0]]
    came_from = np.zeros((len(chain.observed), *shape), dtype=np.intp)
    for k in range(1, len(chain.observed)):
        best, came_from[k] = _best_step(best / best.max(), chain.steps[chain.taken[k]])
        best = best * chain.likelihood[chain.observed[k]]
    path = np.empty(len(chain.observed), dtype=np.intp)
    path[-1] = int(np.argmax(best))
    for k in range(len(path) - 1, 0, -1):
        path[k - 1] = came_from[k].flat[path[k]]
    return path


def consensus_path(chain: Chain, smoothed: FloatArray) -> IntArray:
    """The possible path of occupancies that agrees best with the smoothed chances, shape (T,).

    The path of Viterbi is the likeliest single one; where an event may have happened at any of many instants,
    each of those paths is unlikely, and it prefers a story without the event. This one maximises the product
    of the smoothed chances along a path of possible moves (Fariselli, Martelli, Casadio, BMC Bioinformatics
    6, 2005, "posterior-Viterbi"; from memory).
    """
    occupancy = smoothed.sum(axis=1, keepdims=True)
    return most_likely_path(
        Chain(
            start=np.ones(occupancy.shape[1:]),
            steps=[step.possible() for step in chain.steps],
            taken=chain.taken,
            likelihood=occupancy,
            observed=np.arange(len(occupancy)),
        )
    )


def _best_step(best: FloatArray, step: Step) -> tuple[FloatArray, IntArray]:
    """The best way into each state: its value and the flat state it came from, both (H, S)."""
    by_health = best[:, None, :] * step.health[:, :, None]
    reached = by_health.max(axis=0).take(step.index, axis=1) * step.weight
    healths, occupancies = best.shape
    origin = step.index[np.arange(occupancies), reached.argmax(axis=2)]
    health_from = by_health.argmax(axis=0)[np.arange(healths)[:, None], origin]
    return reached.max(axis=2), health_from * occupancies + origin


def draw_paths(chain: Chain, filtered: FloatArray, *, draws: int, seed: int) -> IntArray:
    """Paths drawn from the posterior as flat state numbers, shape (draws, T).

    Paths that stand in one state are taken a step back together: at most instants there are few of them.
    """
    chance = np.random.default_rng(seed).random((len(filtered), draws))
    paths = np.empty((len(filtered), draws), dtype=np.intp)
    paths[-1] = _pick(filtered[-1].ravel(), chance[-1])
    for k in range(len(filtered) - 2, -1, -1):
        step, after = chain.steps[chain.taken[k + 1]], paths[k + 1]
        first = int(after[0])
        if (after == first).all():
            paths[k] = _origins(step, first, filtered[k], chance[k])
            continue
        for state in np.unique(after).tolist():
            at = after == state
            paths[k, at] = _origins(step, state, filtered[k], chance[k, at])
    return paths.T


def _origins(step: Step, state: int, filtered: FloatArray, chance: FloatArray) -> IntArray:
    """Where paths that a step led to one state came from, flat, shape (n,)."""
    origins, weight = step.ways_into(state)
    return np.asarray(origins[_pick(filtered.take(origins) * weight, chance)])


def _pick(weight: FloatArray, chance: FloatArray) -> IntArray:
    total = np.cumsum(weight)
    picked = np.searchsorted(total, chance * total[-1], side="right")
    return np.asarray(np.minimum(picked, len(weight) - 1))

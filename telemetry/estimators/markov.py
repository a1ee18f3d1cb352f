"""Hidden Markov chains: forward-backward, the most likely path, and paths drawn from the posterior.

A state is a pair (health, occupancy), so that each step factors into a small matrix over health and then, in
each health, one over occupancy; a plain chain has one row of health. Scaled, not in logarithms. Sources:
Rabiner, Proc. IEEE 77(2), 1989; drawing paths backwards: Carter and Kohn, Biometrika 81 (1994).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray

__all__ = [
    "Chain",
    "IntArray",
    "Kernel",
    "Links",
    "Step",
    "backward",
    "consensus_path",
    "draw_paths",
    "forward",
    "margins",
    "most_likely_path",
]

IntArray = NDArray[np.intp]

_RESCALED_EVERY = 8
"""Chances are scaled to a sum of 1 after as many instants: in so few they do not run out of the numbers that
a double can hold."""
_BELOW_ONE = 1 - 2.0**-40
"""Chances are drawn no higher, so that adding the number of a row does not round one up into the next."""


@dataclass(frozen=True, eq=False)
class Links:
    """Which occupancies lead to which: shared by all steps over one space of states.

    Attributes:
        index: (S, D), the occupancies that lead to each, padded with any where there are fewer than D.
        used: (S, D), False where padded.
    """

    index: IntArray
    used: BoolArray

    @cached_property
    def into(self) -> IntArray:
        """The occupancies that lead to each, (D, S)."""
        return np.ascontiguousarray(self.index.T)

    @cached_property
    def out_of(self) -> tuple[IntArray, IntArray, FloatArray]:
        """What each occupancy leads to, the place in `into`, and 1, or 0 where padded; each (E, S)."""
        place, to = np.nonzero(self.used.T)
        origin = self.into[place, to]
        order = np.argsort(origin, kind="stable")
        column = _places_in_groups(origin[order], len(self.index))
        shape = int(column.max(initial=0)) + 1, len(self.index)
        target, flat = np.zeros(shape, dtype=np.intp), np.zeros(shape, dtype=np.intp)
        used = np.zeros(shape)
        at = column, origin[order]
        target[at], flat[at] = to[order], (place * len(self.index) + to)[order]
        used[at] = 1.0
        return target, flat, used


def _places_in_groups(group: IntArray, groups: int) -> IntArray:
    """The place of each element within its group, of sorted groups, (n,)."""
    number = np.bincount(group, minlength=groups)
    return np.arange(len(group)) - np.repeat(np.cumsum(number) - number, number)


@dataclass(frozen=True, eq=False)
class Kernel:
    """How likely each move of the occupancy is in each health: shared by steps that differ in health only.

    Attributes:
        links: which occupancies lead to which.
        weight: (D, S, H), the weight of each of them in each health; 0 where padded.
    """

    links: Links
    weight: FloatArray

    @cached_property
    def leaving(self) -> FloatArray:
        """The weights in the order of `links.out_of`, (E, S, H)."""
        _target, place, used = self.links.out_of
        return self.weight.reshape(-1, self.weight.shape[2]).take(place, axis=0) * used[:, :, None]

    @cached_property
    def arriving(self) -> FloatArray:
        """The weights by the state that they lead to, (S × H, D)."""
        return np.ascontiguousarray(self.weight.reshape(len(self.weight), -1).T)


@dataclass(frozen=True, eq=False)
class Step:
    """One kind of step: `health` first, then in the health it led to a move of the occupancy.

    Attributes:
        health: (H, H), rows are where from, columns where to; weights need not sum to 1.
        kernel: the moves of the occupancy in each health.
    """

    health: FloatArray
    kernel: Kernel

    @classmethod
    def of_matrices(cls, health: FloatArray, moves: FloatArray) -> Step:
        """A step from full matrices: `health` (H, H) and `moves` (H, S, S), rows are where from."""
        to, origin = np.nonzero(moves.any(axis=0).T)
        column = _places_in_groups(to, moves.shape[1])
        index = np.zeros((moves.shape[1], int(column.max(initial=0)) + 1), dtype=np.intp)
        weight = np.zeros((*index.T.shape, len(moves)))
        used = np.zeros(index.shape, dtype=bool)
        index[to, column], used[to, column] = origin, True
        weight[column, to] = moves[:, origin, to].T
        return cls(health, Kernel(Links(index, used), weight))

    @property
    def links(self) -> Links:
        """Which occupancies lead to which."""
        return self.kernel.links

    @property
    def weight(self) -> FloatArray:
        """The weight of each of them in each health, (D, S, H)."""
        return self.kernel.weight

    def ahead(self, state: FloatArray) -> FloatArray:
        """Chances after the step out of those before, both (S, H)."""
        turned = (state @ self.health).take(self.links.into, axis=0)
        return np.asarray(np.einsum("dsh,dsh->sh", turned, self.weight))

    def back(self, message: FloatArray) -> FloatArray:
        """The message before the step out of the one after, both (S, H)."""
        carried = message.take(self.links.out_of[0], axis=0)
        return np.asarray(np.einsum("esh,esh->sh", carried, self.kernel.leaving) @ self._health_back)

    @cached_property
    def _health_back(self) -> FloatArray:
        return np.ascontiguousarray(self.health.T)

    def best(self, state: FloatArray) -> FloatArray:
        """The weight of the best way into each state out of those before, both (S, H)."""
        turned = state if len(self.health) == 1 else (state[:, :, None] * self.health).max(axis=1)
        return np.asarray((turned.take(self.links.into, axis=0) * self.weight).max(axis=0))

    def ways_into(self, states: IntArray, before: FloatArray) -> tuple[IntArray, FloatArray]:
        """Where the ways into some states come from, and their weights out of the chances before.

        States are numbered occupancy × H + health, `before` is (S × H,); both results are (n, D × H).
        """
        healths = len(self.health)
        occupancy, health = np.divmod(states, healths)
        origins = self.links.index.take(occupancy, axis=0)[:, :, None] * healths + np.arange(healths)
        weights = before.take(origins)
        weights *= self._health_back.take(health, axis=0)[:, None]
        weights *= self.kernel.arriving.take(states, axis=0)[:, :, None]
        return origins.reshape(len(states), -1), weights.reshape(len(states), -1)

    def ways_into_one(self, health: int, occupancy: int, state: FloatArray) -> FloatArray:
        """The weights of the ways into one state out of those before, `state` (S, H); shape (D, H)."""
        turned = state[self.links.index[occupancy]] * self.health[:, health]
        return np.asarray(turned * self.weight[:, occupancy, health, None])

    def possible(self) -> Step:
        """The same moves without health and without preference."""
        weight = (self.weight > 0).any(axis=2, keepdims=True).astype(float)
        return Step(np.ones((1, 1)), Kernel(self.links, weight))


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
    filtered = np.empty((len(chain.observed), *chain.start.T.shape))
    likelihood = _by_state(chain.likelihood)
    log_likelihood = 0.0
    state = chain.start.T
    for k, (kind, seen) in enumerate(zip(chain.taken.tolist(), chain.observed.tolist(), strict=True)):
        arrived = chain.steps[kind].ahead(state) if k else state
        state = np.multiply(arrived, likelihood[seen], out=filtered[k])
        if k % _RESCALED_EVERY == 0:
            total = state.sum()
            state /= total
            log_likelihood += float(np.log(total))
    total = filtered.sum(axis=(1, 2), keepdims=True)
    filtered /= total
    return filtered.swapaxes(1, 2), log_likelihood + float(np.log(total[-1, 0, 0]))


def _by_state(chances: FloatArray) -> FloatArray:
    """(n, H, S) or the reverse with the last two axes the other way round in memory too."""
    return np.ascontiguousarray(chances.swapaxes(1, 2))


def backward(chain: Chain, filtered: FloatArray) -> FloatArray:
    """Smoothed chances (T, H, S) out of the filtered ones."""
    smoothed = np.empty_like(filtered)
    for k, state in _smoothed(chain, filtered):
        smoothed[k] = state.T / state.sum()
    return smoothed


def margins(chain: Chain, filtered: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The smoothed chances of each health, (T, H), and of each occupancy, (T, S)."""
    instants, healths, occupancies = filtered.shape
    by_health, by_occupancy = np.empty((instants, healths)), np.empty((instants, occupancies))
    each_health, each_occupancy = np.ones(healths), np.ones(occupancies)
    for k, state in _smoothed(chain, filtered):
        np.matmul(each_occupancy, state, out=by_health[k])
        np.matmul(state, each_health, out=by_occupancy[k])
    by_health /= by_health.sum(axis=1, keepdims=True)
    by_occupancy /= by_occupancy.sum(axis=1, keepdims=True)
    return by_health, by_occupancy


def _smoothed(chain: Chain, filtered: FloatArray) -> Iterator[tuple[int, FloatArray]]:
    """Each instant's number, from the last to the first, and its smoothed chances, unscaled, (S, H)."""
    likelihood = _by_state(chain.likelihood)
    kinds, seen = chain.taken.tolist(), chain.observed.tolist()
    last = len(kinds) - 1
    message = np.ones(chain.start.T.shape)
    for k in range(last, -1, -1):
        if k < last:
            message = chain.steps[kinds[k + 1]].back(message * likelihood[seen[k + 1]])
            if k % _RESCALED_EVERY == 0:
                message /= message.max()
        yield k, filtered[k].T * message


def most_likely_path(chain: Chain) -> IntArray:
    """The Viterbi path as flat state numbers (health × S + occupancy), shape (T,)."""
    best = np.empty((len(chain.observed), *chain.start.T.shape))
    likelihood = _by_state(chain.likelihood)
    state = chain.start.T
    for k, (kind, seen) in enumerate(zip(chain.taken.tolist(), chain.observed.tolist(), strict=True)):
        arrived = chain.steps[kind].best(state) if k else state
        state = np.multiply(arrived, likelihood[seen], out=best[k])
        state /= state.max()
    return _traced_back(chain, best)


def _traced_back(chain: Chain, best: FloatArray) -> IntArray:
    """The path whose weight is the best at the end; `best` (T, S, H) are those of the best way to each."""
    occupancies, healths = best.shape[1:]
    path = np.empty(len(best), dtype=np.intp)
    path[-1] = int(best[-1].T.argmax())
    for k in range(len(path) - 1, 0, -1):
        health, occupancy = divmod(int(path[k]), occupancies)
        step = chain.steps[chain.taken[k]]
        place, health_from = divmod(int(step.ways_into_one(health, occupancy, best[k - 1]).argmax()), healths)
        path[k - 1] = health_from * occupancies + step.links.index[occupancy, place]
    return path


def consensus_path(chain: Chain, occupancy: FloatArray) -> IntArray:
    """The possible path of occupancies that agrees best with their smoothed chances (T, S), shape (T,).

    The path of Viterbi is the likeliest single one; where an event may have happened at any of many instants,
    each of those paths is unlikely, and it prefers a story without the event. This one maximises the product
    of the smoothed chances along a path of possible moves (Fariselli, Martelli, Casadio, BMC Bioinformatics
    6, 2005, "posterior-Viterbi"; from memory).
    """
    return most_likely_path(
        Chain(
            start=np.ones((1, occupancy.shape[1])),
            steps=[step.possible() for step in chain.steps],
            taken=chain.taken,
            likelihood=occupancy[:, None],
            observed=np.arange(len(occupancy)),
        )
    )


def draw_paths(chain: Chain, filtered: FloatArray, *, draws: int, seed: int) -> IntArray:
    """Paths drawn from the posterior as flat state numbers, shape (draws, T).

    Paths that stand in one state are taken a step back together: at most instants there are few of them.
    """
    chance = np.minimum(np.random.default_rng(seed).random((len(filtered), draws)), _BELOW_ONE)
    healths, occupancies = filtered.shape[1:]
    states = _by_state(filtered).reshape(len(filtered), -1)
    paths = np.empty((len(filtered), draws), dtype=np.intp)
    paths[-1] = _pick(states[-1:], chance[-1], np.zeros(draws, dtype=np.intp))
    kinds = chain.taken.tolist()
    for k in range(len(paths) - 2, -1, -1):
        found, row = _different(paths[k + 1], states.shape[1])
        origins, weights = chain.steps[kinds[k + 1]].ways_into(found, states[k])
        origins.take(_pick(weights, chance[k], row), out=paths[k])
    occupancy, health = np.divmod(paths.T, healths)
    return np.asarray(health * occupancies + occupancy)


def _different(states: IntArray, number: int) -> tuple[IntArray, IntArray]:
    """The different states among some, (n,), and the place among these of each; `number` states there are."""
    there = np.zeros(number, dtype=bool)
    there[states] = True
    found = np.flatnonzero(there)
    place = np.empty(number, dtype=np.intp)
    place[found] = np.arange(len(found))
    return found, place.take(states)


def _pick(weight: FloatArray, chance: FloatArray, row: IntArray) -> IntArray:
    """Places in the flat weights (m, D) drawn by weight, (n,), each out of its row of them."""
    total = weight.cumsum(axis=1)
    total /= total[:, -1:]
    total += np.arange(len(total))[:, None]
    return np.asarray(total.ravel().searchsorted(chance + row, side="right"))

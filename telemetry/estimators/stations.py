"""The state space of the pieces: what may stand at each beam and between, and how pieces may move.

Slots run along the path: at beam 1, past it, at beam 2, past it, … Where two beams stand closer than a piece
is long, the slot between them is that of a piece at both. A piece moves one slot at a time; two that touch
may move up together without the beam between them clearing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from enum import IntEnum
from functools import cached_property

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.markov import IntArray, Links
from telemetry.log import BoolArray, FloatArray

__all__ = ["Move", "Moves", "StateSpace"]

_MOST_PAST_LAST = 2
_MOST_LEAVING = 0.95
_MOST_STATES = 1_000
_MOST_JOINT_STATES = 5_000
"""Occupancies × healths (all beams alive, or one of them sick): what time and memory grow with."""


class Move(IntEnum):
    """How the pieces may change place."""

    ENTER = 0
    FORWARD = 1
    FOLLOW = 2
    RELEASE = 3
    BACK = 4
    SPIT = 5
    ENTER_TOUCHING = 6
    PASS = 7
    ENTER_PAST = 8
    FOLLOW_BACK = 9
    SPIT_TOUCHING = 10


@dataclass(frozen=True, eq=False)
class Moves:
    """All moves there are, each array (M,): from which state to which, what kind, which beam it touches.

    `beam` is -1 where none changes; of a piece that goes past a beam in one step, which does not change it,
    it is that beam.
    """

    origin: IntArray
    target: IntArray
    kind: IntArray
    beam: IntArray


@dataclass(frozen=True, eq=False)
class StateSpace:
    """Occupancies of a path with `beams` beams that carries at most `capacity` pieces.

    `slots` has shape (S, 2·beams): at beam 1, past it, at beam 2, past it, …
    """

    beams: int
    capacity: int
    slots: IntArray
    moves: Moves
    spanned: tuple[bool, ...]

    @classmethod
    def build(
        cls,
        beams: int,
        capacity: int,
        *,
        room: Sequence[int | None] | None = None,
        spanned: Sequence[bool] | None = None,
    ) -> StateSpace | None:
        """Every occupancy, or None where there are too many even with one piece at most between beams.

        `room` tells how many pieces find room past each beam, (beams,), None where that is not known (0 past
        the last: pieces leave as they clear it), and
        `spanned` whether a piece stands at a beam and the next at once, (beams - 1,). The counts between
        beams, and first that between the last beam and the launcher, which is near it, are held down further
        only as far as keeps the space small enough to compute.
        """
        both = tuple(spanned or [False] * (beams - 1))
        known = [
            1 if at_both else capacity if most is None else most
            for most, at_both in zip(room or [None] * beams, (*both, False), strict=True)
        ]
        held_down = [(most, min(most, _MOST_PAST_LAST)) for most in range(capacity, 0, -1)]
        for most_between, most_past_last in [(capacity, capacity), *held_down]:
            most_past = [min(most, most_between) for most in known[:-1]]
            slots = _occupancies(beams, capacity, [*most_past, min(known[-1], most_past_last)], both)
            if slots is not None:
                return cls(beams, capacity, slots, _moves(slots, both), both)
        return None

    def without(self, kinds: Sequence[Move]) -> StateSpace:
        """The same occupancies without moves of these kinds."""
        kept = ~np.isin(self.moves.kind, kinds)
        moves = self.moves
        moves = Moves(moves.origin[kept], moves.target[kept], moves.kind[kept], moves.beam[kept])
        return StateSpace(self.beams, self.capacity, self.slots, moves, self.spanned)

    @property
    def most_aboard(self) -> int:
        """The most pieces that any state holds: below the capacity where the space had to be held down."""
        return int(self.aboard.max())

    @property
    def aboard(self) -> IntArray:
        """Pieces aboard in each state, (S,)."""
        return np.asarray(self.slots.sum(axis=1))

    @cached_property
    def at_beam(self) -> BoolArray:
        """Whether a piece stands at each beam, (S, beams)."""
        at_beam = self.slots[:, ::2] > 0
        at_both = (self.slots[:, 1:-1:2] > 0) & np.array(self.spanned, dtype=bool)
        at_beam[:, :-1] |= at_both
        at_beam[:, 1:] |= at_both
        return at_beam

    @cached_property
    def changes(self) -> IntArray:
        """What each move does to its beam, (M,): 1 breaks it, -1 clears it, 0 neither."""
        at_beam = self.at_beam.astype(np.intp)
        by_move = at_beam[self.moves.target, self.moves.beam] - at_beam[self.moves.origin, self.moves.beam]
        return np.where(self.moves.beam >= 0, by_move, 0)

    @cached_property
    def sources(self) -> tuple[IntArray, IntArray]:
        """What leads to each state: the states, (S, D), and the moves, (S, D).

        The first column is the state itself, by staying: move -1. Places left over hold the state itself and
        move -2.
        """
        order = np.argsort(self.moves.target, kind="stable")
        target = self.moves.target[order]
        fan_in = np.bincount(target, minlength=len(self.slots))
        column = 1 + np.arange(len(target)) - np.repeat(np.cumsum(fan_in) - fan_in, fan_in)
        index = np.repeat(np.arange(len(self.slots))[:, None], 1 + int(fan_in.max()), axis=1)
        move = np.full(index.shape, -2)
        move[:, 0] = -1
        index[target, column] = self.moves.origin[order]
        move[target, column] = order
        return index, move

    @cached_property
    def links(self) -> Links:
        """Which states lead to which, as a chain's steps want it."""
        index, move = self.sources
        return Links(index, move > -2)

    def weights(self, weight: FloatArray) -> FloatArray:
        """The weights that go with `sources`, (D, S, n), out of n sets of those of the moves, (n, M).

        What does not move stays; where the moves out of a state would leave it too little chance to stay,
        they are scaled down.
        """
        sets, states = len(weight), len(self.slots)
        flat = (self.moves.origin + states * np.arange(sets)[:, None]).ravel()
        leaving = np.bincount(flat, weights=weight.ravel(), minlength=states * sets).reshape(-1, states)
        scale = _MOST_LEAVING / np.maximum(leaving, _MOST_LEAVING)
        scaled = np.zeros((weight.shape[1] + 2, sets))
        scaled[:-2] = (weight * scale.take(self.moves.origin, axis=1)).T
        arriving = scaled.take(self.sources[1].T, axis=0)
        arriving[0] = (1.0 - leaving * scale).T
        return arriving


def _occupancies(
    beams: int, capacity: int, most_past: Sequence[int], spanned: Sequence[bool]
) -> IntArray | None:
    """All rows of slots within capacity, or None if there are too many; `most_past` each beam, (beams,)."""
    most_rows = min(_MOST_STATES, _MOST_JOINT_STATES // (1 + beams))
    at_both = {2 * pair + 1 for pair, is_spanned in enumerate(spanned) if is_spanned}
    rows: list[tuple[int, ...]] = [()]
    for slot, most in enumerate(most for past in most_past for most in (1, past)):
        rows = [
            (*row, count)
            for row in rows
            for count in range(min(most, capacity - sum(row)) + 1)
            if not (count and _in_the_way(row, slot, at_both))
        ]
        if len(rows) > most_rows:
            return None
    return np.array(rows, dtype=np.intp)


def _in_the_way(row: Sequence[int], slot: int, at_both: Set[int]) -> bool:
    """Whether a piece before this slot stands at a beam at which one in this slot would stand too."""
    if slot in at_both:
        return row[slot - 1] > 0 or (slot - 2 in at_both and row[slot - 2] > 0)
    return slot - 1 in at_both and row[slot - 1] > 0


@dataclass(frozen=True)
class _Change:
    """What a move adds to the slots, the beam that it changes (-1: none), and what a slot held before."""

    by: Mapping[int, int]
    kind: Move
    beam: int
    slot: int = 0
    held: tuple[int, ...] = ()

    def leads_to(self, slots: IntArray) -> IntArray:
        """The slots after it, (S, 2·B); -1 throughout where it is not possible."""
        after = slots.copy()
        for slot, change in self.by.items():
            after[:, slot] += change
        if self.held:
            after[~np.isin(slots[:, self.slot], self.held)] = -1
        return after


def _moves(slots: IntArray, spanned: Sequence[bool]) -> Moves:
    """Every move from one row of slots to another."""
    changes = _changes(slots.shape[1] // 2, spanned)
    after = np.stack([change.leads_to(slots) for change in changes], axis=1)
    place = np.cumprod(np.append(1, slots.max(axis=0)[:-1] + 3))
    known, found = (slots + 1) @ place, (after + 1) @ place
    order = np.argsort(known)
    nearest = order[np.minimum(np.searchsorted(known[order], found), len(known) - 1)]
    origin, change = np.nonzero(known[nearest] == found)
    kind = np.array([change.kind for change in changes], dtype=np.intp)
    beam = np.array([change.beam for change in changes], dtype=np.intp)
    return Moves(origin, nearest[origin, change], kind[change], beam[change])


def _changes(beams: int, spanned: Sequence[bool]) -> list[_Change]:
    last = 2 * beams - 1
    found = [
        _Change({0: +1}, Move.ENTER, 0),
        _Change({0: -1}, Move.SPIT, 0),
        _Change({last: -1}, Move.RELEASE, -1),
        _Change({last - 1: -1}, Move.RELEASE, beams - 1),
    ]
    for slot in range(last):
        beam = _beam_between(slot, spanned)
        found.append(_Change({slot: -1, slot + 1: +1}, Move.FORWARD, beam))
        found.append(_Change({slot: +1, slot + 1: -1}, Move.BACK, beam))
    for beam in range(beams):
        found += _trains(beam, spanned)
        if beam and not _at(spanned, beam - 1) and not _at(spanned, beam):
            by = {2 * beam - 1: -1, 2 * beam + 1: +1}
            found.append(_Change(by, Move.PASS, beam, 2 * beam, (0,)))
    if beams > 1 and not _at(spanned, 0):
        found.append(_Change({1: +1}, Move.ENTER_PAST, 0, 0, (0,)))
    return found


def _at(spanned: Sequence[bool], pair: int) -> bool:
    """Whether a piece stands at both beams of this pair; there is none after the last beam."""
    return 0 <= pair < len(spanned) and spanned[pair]


def _beam_between(slot: int, spanned: Sequence[bool]) -> int:
    """The beam that a piece changes between a slot and the next."""
    pair, past = divmod(slot, 2)
    return pair + (1 - past if _at(spanned, pair) else past)


def _trains(beam: int, spanned: Sequence[bool]) -> list[_Change]:
    """Two pieces that touch and move up, one from the beam and one to it, so that it does not clear; and
    the same backwards."""
    comes_to = 2 * beam - 1 if _at(spanned, beam - 1) else 2 * beam
    leaves = 2 * beam + 1 if _at(spanned, beam) else 2 * beam
    by: dict[int, int] = {}
    for slot, change in ((comes_to - 1, -1), (comes_to, +1), (leaves, -1), (leaves + 1, +1)):
        if slot >= 0:
            by[slot] = by.get(slot, 0) + change
    back = {slot: -change for slot, change in by.items()}
    return [
        _Change(by, Move.FOLLOW if beam else Move.ENTER_TOUCHING, -1, leaves, (1,)),
        _Change(back, Move.FOLLOW_BACK if beam else Move.SPIT_TOUCHING, -1, comes_to, (1,)),
    ]

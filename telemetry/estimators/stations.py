"""The state space of the pieces: what may stand at each beam and between, and how pieces may move.

Slots run along the path: at beam 1, past it, at beam 2, past it, … A piece moves one slot at a time; two
that touch may move up together without the beam between them clearing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property

import numpy as np

from telemetry.estimators.markov import IntArray
from telemetry.log import BoolArray, FloatArray

__all__ = ["Move", "Moves", "StateSpace"]

_MOST_PAST_LAST = 2
_MOST_LEAVING = 0.95
_MOST_STATES = 300
_MOST_JOINT_STATES = 4_000
"""Occupancies × healths (all beams alive, or one stuck clear or broken): what time and memory grow with."""


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


@dataclass(frozen=True, eq=False)
class Moves:
    """All moves there are, each array (M,): from which state to which, what kind, which beam it touches.

    `beam` is -1 where none changes; of a piece that goes past a beam in one step, it is that beam.
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

    @classmethod
    def build(
        cls, beams: int, capacity: int, *, room: Sequence[int | None] | None = None
    ) -> StateSpace | None:
        """Every occupancy, or None where there are too many even with one piece at most between beams.

        `room` tells how many pieces find room between each two beams, (beams - 1,), None where that is not
        known. The counts between beams, and first that between the last beam and the launcher, which is near
        it, are held down further only as far as keeps the space small enough to compute.
        """
        known = [most or capacity for most in (room or [None] * (beams - 1))]
        held_down = [(most, min(most, _MOST_PAST_LAST)) for most in range(capacity, 0, -1)]
        for most_between, most_past_last in [(capacity, capacity), *held_down]:
            between = [min(most, most_between) for most in known]
            slots = _occupancies(beams, capacity, [*between, most_past_last])
            if slots is not None:
                return cls(beams, capacity, slots, _moves(slots, beams))
        return None

    @property
    def most_aboard(self) -> int:
        """The most pieces that any state holds: below the capacity where the space had to be held down."""
        return int(self.aboard.max())

    @property
    def aboard(self) -> IntArray:
        """Pieces aboard in each state, (S,)."""
        return np.asarray(self.slots.sum(axis=1))

    @property
    def at_beam(self) -> BoolArray:
        """Whether a piece stands at each beam, (S, beams)."""
        return self.slots[:, ::2] > 0

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

    def weights(self, weight: FloatArray) -> FloatArray:
        """The weights that go with `sources`, (S, D), out of those of the moves, (M,).

        What does not move stays; where the moves out of a state would leave it too little chance to stay,
        they are scaled down.
        """
        leaving = np.bincount(self.moves.origin, weights=weight, minlength=len(self.slots))
        scale = np.where(leaving > _MOST_LEAVING, _MOST_LEAVING / np.maximum(leaving, _MOST_LEAVING), 1.0)
        scaled = np.append(weight * scale[self.moves.origin], (0.0, 0.0))
        arriving = scaled[self.sources[1]]
        arriving[:, 0] = 1.0 - leaving * scale
        return np.asarray(arriving)


def _occupancies(beams: int, capacity: int, most_past: Sequence[int]) -> IntArray | None:
    """All rows of slots within capacity, or None if there are too many; `most_past` each beam, (beams,)."""
    most_rows = min(_MOST_STATES, _MOST_JOINT_STATES // (2 * beams + 1))
    rows: list[tuple[int, ...]] = [()]
    for most in (most for past in most_past for most in (1, past)):
        rows = [(*row, count) for row in rows for count in range(min(most, capacity - sum(row)) + 1)]
        if len(rows) > most_rows:
            return None
    return np.array(rows, dtype=np.intp)


def _moves(slots: IntArray, beams: int) -> Moves:
    number = {tuple(row): state for state, row in enumerate(slots.tolist())}
    found: list[tuple[int, int, Move, int]] = []

    def consider(origin: int, change: dict[int, int], kind: Move, beam: int) -> None:
        row = list(slots[origin])
        for slot, by in change.items():
            row[slot] += by
        target = number.get(tuple(int(count) for count in row))
        if target is not None:
            found.append((origin, target, kind, beam))

    last = 2 * beams - 1
    for state in range(len(slots)):
        consider(state, {0: +1}, Move.ENTER, 0)
        consider(state, {0: -1}, Move.SPIT, 0)
        consider(state, {last: -1}, Move.RELEASE, -1)
        consider(state, {last - 1: -1}, Move.RELEASE, beams - 1)
        for slot in range(last):
            beam = (slot + 1) // 2
            consider(state, {slot: -1, slot + 1: +1}, Move.FORWARD, beam)
            consider(state, {slot: +1, slot + 1: -1}, Move.BACK, beam)
        for beam in range(1, beams):
            if not slots[state, 2 * beam]:
                consider(state, {2 * beam - 1: -1, 2 * beam + 1: +1}, Move.PASS, beam)
        for beam in range(beams):
            if slots[state, 2 * beam]:
                behind, kind = ({2 * beam - 1: -1}, Move.FOLLOW) if beam else ({}, Move.ENTER_TOUCHING)
                consider(state, {**behind, 2 * beam + 1: +1}, kind, -1)
    origin, target, kinds, beam_of = (np.array(column, dtype=np.intp) for column in zip(*found, strict=True))
    return Moves(origin, target, kinds, beam_of)

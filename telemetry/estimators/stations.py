"""The state space of the pieces: what may stand at each beam and between, and how pieces may move.

Slots run along the path: at beam 1, past it, at beam 2, past it, … A piece moves one slot at a time; two
that touch may move up together without the beam between them clearing.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from telemetry.estimators.markov import IntArray
from telemetry.log import BoolArray, FloatArray

__all__ = ["Move", "Moves", "StateSpace"]

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


@dataclass(frozen=True, eq=False)
class Moves:
    """All moves there are, each array (M,): from which state to which, what kind, which beam it touches.

    `beam` is -1 where none changes.
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
    def build(cls, beams: int, capacity: int) -> StateSpace | None:
        """Every occupancy, or None where there are too many even with one piece at most between beams.

        The count between two beams is held down only as far as keeps the space small enough to compute.
        """
        for most_between in range(capacity, 0, -1):
            slots = _occupancies(beams, capacity, most_between)
            if slots is not None:
                return cls(beams, capacity, slots, _moves(slots, beams))
        return None

    @property
    def aboard(self) -> IntArray:
        """Pieces aboard in each state, (S,)."""
        return np.asarray(self.slots.sum(axis=1))

    @property
    def at_beam(self) -> BoolArray:
        """Whether a piece stands at each beam, (S, beams)."""
        return self.slots[:, ::2] > 0

    def matrix(self, weight: FloatArray) -> FloatArray:
        """The (S, S) step for given weights of the moves (M,): what does not move stays."""
        matrix = np.zeros((len(self.slots), len(self.slots)))
        np.add.at(matrix, (self.moves.origin, self.moves.target), weight)
        leaving = matrix.sum(axis=1)
        most = 0.95
        matrix *= np.where(leaving > most, most / np.maximum(leaving, most), 1.0)[:, None]
        matrix[np.diag_indices_from(matrix)] = 1.0 - matrix.sum(axis=1)
        return matrix


def _occupancies(beams: int, capacity: int, most_between: int) -> IntArray | None:
    """All rows of slots within capacity, or None if there are too many."""
    most_rows = min(_MOST_STATES, _MOST_JOINT_STATES // (2 * beams + 1))
    rows: list[tuple[int, ...]] = [()]
    for slot in range(2 * beams):
        most = 1 if slot % 2 == 0 else most_between
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
        for beam in range(beams):
            if slots[state, 2 * beam]:
                behind, kind = ({2 * beam - 1: -1}, Move.FOLLOW) if beam else ({}, Move.ENTER_TOUCHING)
                consider(state, {**behind, 2 * beam + 1: +1}, kind, -1)
    origin, target, kinds, beam_of = (np.array(column, dtype=np.intp) for column in zip(*found, strict=True))
    return Moves(origin, target, kinds, beam_of)

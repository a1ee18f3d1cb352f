"""The Markov chain of the pieces: what was observed when, and how likely each move is at each instant.

All weights are our choice: round numbers from what beams, belts and connectors do, none fitted to a log.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.estimators.markov import Chain, IntArray, Step
from telemetry.estimators.stations import Move, StateSpace
from telemetry.log import BoolArray, FloatArray

__all__ = ["ALIVE", "Evidence", "build_chain", "health_states"]

ALIVE = -1

_MISREAD = 0.02
"""Chance that a sound beam reads wrong at one instant (a piece askew, an edge not yet seen)."""
_SEEN, _SILENT_PER_S = 0.4, 0.04
"""Weight of a move whose beam changes just then; of moves that a sound beam missed."""
_UNSEEN_PER_S, _UNSEEN_ENTRY_PER_S = 0.6, 0.1
"""Moves past a beam that tells nothing: as often as pieces move, as often as they come in."""
_FOLLOW_PER_S = 0.4
"""Two touching pieces moving up, so that the beam between them does not clear."""
_FORWARD = {1: 1.0, 0: 0.1, -1: 0.02, 2: 1.0}
_BACKWARD = {1: 0.01, 0: 0.02, -1: 1.0, 2: 0.05}
"""How the belt's direction bears on moves forward and back: driven forward, at rest, back, unknown (2)."""
_RELEASE_AT_DIP, _FALSE_DIP = 0.6, 0.05
_GOES_SICK_PER_S, _GOES_SICK_OTHER_PER_S, _RECOVERS_PER_S = 1 / 600, 1 / 2000, 1 / 15
_AFTER_CONTACT = 30.0
_FLICKER_TURNS = 0.15
"""A contact that flickers makes or breaks: the chance, at each instant of it, that health changes."""
_SICK_AT_START = 0.03
_WRONG_PRELOAD = 0.1
_GAP_STEPS = 12


@dataclass(frozen=True, eq=False)
class Evidence:
    """What T instants showed of B beams.

    Attributes:
        t_s: (T,).
        level: (T, B): 0 clear, 1 broken, 2 not known.
        edge: (T, B): the beam's level changes just here.
        direction: (T,): 1 forward, 0 at rest, -1 back, 2 not known.
        dip: (T,): the launcher met a piece.
        dips_tell: whether dips can be relied on to show releases.
        shaken: (T,): just after a contact.
        flicker: (T, B): short dwells just here, in the signal before it was cleaned.
        gap: (T,): nothing was logged since the instant before.
        unplugged: for each beam what it reads with its lead off: 0 clear, 1 broken, 2 not known.
    """

    t_s: FloatArray
    level: IntArray
    edge: BoolArray
    direction: IntArray
    dip: BoolArray
    dips_tell: bool
    shaken: BoolArray
    flicker: BoolArray
    gap: BoolArray
    unplugged: tuple[int, ...]


def health_states(beams: int) -> list[tuple[int, int]]:
    """(beam, level it is stuck at): first all alive, then each beam stuck clear and stuck broken."""
    return [(ALIVE, 0), *((beam, level) for beam in range(beams) for level in (0, 1))]


def build_chain(space: StateSpace, evidence: Evidence, preload: int) -> Chain:
    """The chain over all instants; equal kinds of step and equal observations are worked out once."""
    step_s = np.diff(evidence.t_s, prepend=evidence.t_s[0])
    short = (step_s < 0.1).astype(np.intp)
    shared = (evidence.direction, evidence.dip, evidence.shaken, evidence.gap, short)
    traits = np.column_stack((*shared, evidence.edge, evidence.flicker))
    kinds, taken = np.unique(traits, axis=0, return_inverse=True)
    levels, observed = np.unique(evidence.level, axis=0, return_inverse=True)
    typical_s = {
        flag: float(np.median(step_s[short == flag])) if (short == flag).any() else 0.0 for flag in (0, 1)
    }
    return Chain(
        start=_start(space, evidence, preload),
        steps=[_step(space, evidence, kind, typical_s[int(kind[4])]) for kind in kinds],
        taken=taken.ravel(),
        likelihood=np.stack([_likelihood(space, level) for level in levels]),
        observed=observed.ravel(),
    )


def _start(space: StateSpace, evidence: Evidence, preload: int) -> FloatArray:
    health = np.full(2 * space.beams + 1, _SICK_AT_START / (2 * space.beams))
    health[0] = 1 - _SICK_AT_START
    count = np.full(space.capacity + 1, _WRONG_PRELOAD / max(space.capacity, 1))
    count[min(preload, space.capacity)] = 1 - _WRONG_PRELOAD
    alike = np.bincount(space.aboard, minlength=space.capacity + 1)
    return np.outer(health, count[space.aboard] / alike[space.aboard])


def _likelihood(space: StateSpace, level: IntArray) -> FloatArray:
    """Chance of the beams' levels in each (health, occupancy), shape (H, S)."""
    chances = []
    known = level != 2
    for sick, stuck_at in health_states(space.beams):
        expected = space.at_beam.copy()
        if sick != ALIVE:
            expected[:, sick] = bool(stuck_at)
        agrees = expected == (level == 1)
        chance = np.where(agrees, 1 - _MISREAD, _MISREAD)
        chances.append(np.where(known, chance, 1.0).prod(axis=1))
    return np.stack(chances)


def _step(space: StateSpace, evidence: Evidence, kind: IntArray, step_s: float) -> Step:
    direction, dip, shaken, gap, _short = (int(trait) for trait in kind[:5])
    edge, flicker = np.split(kind[5:], 2)
    if gap:
        health = _health(evidence, step_s, False, kind[:0])
        return Step(health, np.stack([_through_a_gap(space)] * len(health)))
    moves = [
        _moves(space, evidence, edge, direction, bool(dip), step_s, sick)
        for sick in (ALIVE, *range(space.beams))
    ]
    by_health = [moves[sick + 1] for sick, _level in health_states(space.beams)]
    return Step(_health(evidence, step_s, bool(shaken), flicker), np.stack(by_health))


def _moves(
    space: StateSpace, evidence: Evidence, edge: IntArray, direction: int, dip: bool, step_s: float, sick: int
) -> FloatArray:
    moves = space.matrix(_move_weights(space, evidence, edge, direction, dip, step_s, sick))
    if not (dip and evidence.dips_tell):
        return moves
    released = np.zeros(moves.shape, dtype=bool)
    leaves = space.moves.kind == Move.RELEASE
    released[space.moves.origin[leaves], space.moves.target[leaves]] = True
    return np.where(released, moves, moves * _FALSE_DIP)


def _move_weights(
    space: StateSpace, evidence: Evidence, edge: IntArray, direction: int, dip: bool, step_s: float, sick: int
) -> FloatArray:
    moves = space.moves
    silent = _SILENT_PER_S * step_s
    touched = (moves.beam >= 0) & (edge[moves.beam] != 0)
    weight = np.where(touched, _SEEN, silent)
    if sick != ALIVE:
        at_sick = moves.beam == sick
        weight[at_sick] = _UNSEEN_PER_S * step_s
        weight[at_sick & (moves.kind == Move.ENTER)] = _UNSEEN_ENTRY_PER_S * step_s
    weight[moves.kind == Move.FOLLOW] = _FOLLOW_PER_S * step_s
    backwards = (moves.kind == Move.BACK) | (moves.kind == Move.SPIT)
    weight *= np.where(backwards, _BACKWARD[direction], _FORWARD[direction])
    past_last = (moves.kind == Move.RELEASE) & (moves.beam < 0)
    if not evidence.dips_tell:
        weight[past_last] = _RELEASE_AT_DIP
    elif dip:
        weight[moves.kind == Move.RELEASE] = _RELEASE_AT_DIP
    else:
        weight[past_last] = silent
    return weight


def _through_a_gap(space: StateSpace) -> FloatArray:
    """Anything may have happened while nothing was logged."""
    once = space.matrix(np.full(len(space.moves.kind), 0.1))
    return np.linalg.matrix_power(once, _GAP_STEPS)


def _health(evidence: Evidence, step_s: float, shaken: bool, flicker: IntArray) -> FloatArray:
    states = health_states(len(evidence.unplugged))
    matrix = np.zeros((len(states), len(states)))
    for number, (beam, level) in enumerate(states[1:], start=1):
        likely = evidence.unplugged[beam] in (level, 2)
        rate = _GOES_SICK_PER_S if likely else _GOES_SICK_OTHER_PER_S
        matrix[0, number] = min(rate * step_s * (_AFTER_CONTACT if shaken else 1.0), 0.1)
        matrix[number, 0] = min(_RECOVERS_PER_S * step_s, 0.5)
        if flicker.any() and flicker[beam] and likely:
            matrix[0, number] = matrix[number, 0] = _FLICKER_TURNS
    matrix[np.diag_indices_from(matrix)] = 1 - matrix.sum(axis=1)
    return matrix

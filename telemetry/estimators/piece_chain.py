"""The Markov chain of the pieces: how likely each move is at each instant, given what was observed.

All weights are our choice: round numbers from what beams, belts and connectors do, none fitted to a log.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.markov import Chain, IntArray, Kernel, Step
from telemetry.estimators.piece_evidence import GRIPPED, NOT_GRIPPED, SHAKEN_S, UNKNOWN, Evidence
from telemetry.estimators.stations import Move, StateSpace
from telemetry.log import BoolArray, FloatArray
from telemetry.signals import medians_by

__all__ = ["build_chain"]

_MISREAD = 0.02
"""Chance that a sound beam reads wrong at one instant (a piece askew, an edge not yet seen)."""
_READS = np.array([[1 - _MISREAD, _MISREAD], [_MISREAD, 1 - _MISREAD], [1.0, 1.0], [1.0, 1.0]])
"""Chance of each level (see `Evidence`) of a beam that should show clear, or broken."""
_SEEN, _SILENT_PER_S, _FALSE_EDGE = 0.4, 0.04, 0.3
"""Weight of a move whose beam changes just then; of moves that a sound beam missed; of a change alone."""
_UNSEEN_PER_S, _UNSEEN_ENTRY_PER_S = 3.0, 0.15
"""Moves past a beam that tells nothing: as fast as pieces pass, as often as they come in."""
_FOLLOW, _FOLLOW_BACK, _FOLLOW_PER_S, _ENTER_TOUCHING_PER_S = 0.15, 0.3, 0.4, 0.02
"""Two touching pieces moving up together, so that the beam does not clear between them: at each step of a
belt that runs forward, or back with all that is aboard, as time goes on where its direction is not known, and
as they come in."""
_FORWARD = {1: 1.0, 0: 0.1, -1: 0.02, UNKNOWN: 1.0}
_BACKWARD = {1: 0.001, 0: 0.01, -1: 1.0, UNKNOWN: 0.05}
"""How the belt's direction bears on moves forward and back."""
_BACKWARDS = np.isin(list(Move), (Move.BACK, Move.SPIT, Move.FOLLOW_BACK, Move.SPIT_TOUCHING))
_NOT_ON_A_BELT_FORWARD = (Move.BACK, Move.FOLLOW_BACK, Move.SPIT_TOUCHING)
"""A belt known to run forward takes no piece back; at the first beam one may bounce off."""
_FALSE_GRIP, _TOUCHING_AT_GRIP = 0.1, 0.02
"""Weight of a grip without a piece that comes in, and of one that comes touching another."""
_RELEASE_AT_DIP, _FALSE_DIP, _FALSE_DIP_SHAKEN = 0.6, 0.002, 0.02
_GOES_SICK_PER_S, _GOES_SICK_OTHER_PER_S, _RECOVERS_PER_S = 1 / 1500, 1 / 4000, 1 / 30
_AFTER_CONTACT, _AN_EDGE_S = 150.0, 2.0
"""A beam goes sick in a moment after a contact as often as in a longer time without; likewise at an edge."""
_FLICKER_TURNS, _FLICKER_STAYS = 0.5, 0.1
"""A contact that flickers is making or breaking, rarely neither: weights of health changing and staying."""
_SICK_AT_START = 0.015
_WRONG_PRELOAD = 0.1
_FROM_LAST_S = 0.5
"""In which a belt that runs back takes a piece from past the last beam to it."""
_GAP_MOVE = 0.1
"""Anything may have happened while nothing was logged: the weight of each move, many times over."""
_LENGTHS_S = (0.1, 0.5)
"""Steps between these are taken to be of one length, the median."""


@dataclass(frozen=True, eq=False)
class _Moment:
    """One kind of step, as observed: see `Evidence`; `blind` are the beams whose level is not known, `held`
    is what each read last."""

    step_s: float
    direction: int
    dip: bool
    shaken: bool
    gap: bool
    launching: bool
    grip: int
    edge: IntArray
    flicker: BoolArray
    blind: BoolArray
    held: IntArray

    def moving(self) -> bytes:
        """What of it bears on how pieces move."""
        dip = self.dip, self.dip and self.shaken
        plain = (self.step_s, self.direction, *dip, self.gap, self.launching, self.grip)
        return np.concatenate((plain, self.edge, self.blind)).tobytes()


def build_chain(space: StateSpace, evidence: Evidence, preload: int) -> Chain:
    """The chain over all instants; equal kinds of step and equal observations are worked out once."""
    moments, taken = _moments(evidence)
    kernels: dict[bytes, Kernel] = {}
    spaces = space, space.without(_NOT_ON_A_BELT_FORWARD)
    levels, observed = _different_rows(evidence.level)
    return Chain(
        start=_start(space, preload),
        steps=[
            Step(health, _kernel(spaces[moment.direction == 1 and not moment.gap], evidence, moment, kernels))
            for health, moment in zip(_healths(evidence, moments), moments, strict=True)
        ],
        taken=taken,
        likelihood=_likelihoods(space, levels),
        observed=observed,
    )


def _different_rows(rows: IntArray) -> tuple[IntArray, IntArray]:
    """The different rows of small whole numbers, in order, and which of them each row is, (n,)."""
    least = rows.min(axis=0)
    values = rows.max(axis=0) - least + 1
    place = np.append(np.cumprod(values[:0:-1])[::-1], 1)
    _, first, which = np.unique((rows - least) @ place, return_index=True, return_inverse=True)
    return rows[first], which


def _moments(evidence: Evidence) -> tuple[list[_Moment], IntArray]:
    """The kinds of step that occur, and which each instant takes, (T,); steps of like length share theirs.

    The belt runs through a step as it did at its beginning: its changes are instants too.
    """
    step_s = np.diff(evidence.t_s, prepend=evidence.t_s[0])
    length = np.searchsorted(_LENGTHS_S, step_s)
    direction = np.concatenate((evidence.direction[:1], evidence.direction[:-1]))
    flags = (evidence.dip, evidence.shaken, evidence.gap, evidence.launching)
    by_beam = (evidence.edge, evidence.flicker, evidence.level == UNKNOWN, evidence.held)
    traits = np.column_stack((length, direction, *flags, evidence.grip, *by_beam))
    kinds, taken = _different_rows(traits)
    usual_s = medians_by(length, step_s, groups=len(_LENGTHS_S) + 1).tolist()
    moments = []
    for kind in kinds:
        dip, shaken, gap, launching = (bool(flag) for flag in kind[2:6])
        edge, flicker, blind, held = np.split(kind[7:], 4)
        step = usual_s[kind[0]], int(kind[1])
        moments.append(
            _Moment(*step, dip, shaken, gap, launching, int(kind[6]), edge, flicker > 0, blind > 0, held)
        )
    return moments, taken


def _start(space: StateSpace, preload: int) -> FloatArray:
    health = np.full(1 + space.beams, _SICK_AT_START / space.beams)
    health[0] = 1 - _SICK_AT_START
    count = np.full(space.capacity + 1, _WRONG_PRELOAD / space.capacity)
    count[min(preload, space.capacity)] = 1 - _WRONG_PRELOAD
    alike = np.bincount(space.aboard, minlength=space.capacity + 1)
    return np.outer(health, count[space.aboard] / alike[space.aboard])


def _likelihoods(space: StateSpace, levels: IntArray) -> FloatArray:
    """Chance of each (L, B) of the beams' levels in each (health, occupancy), shape (L, H, S).

    A sick beam reads as it is stuck, whatever stands there.
    """
    chance = np.ones((len(levels), 1 + space.beams, len(space.slots)))
    for beam in range(space.beams):
        reads = _READS[levels[:, beam]]
        honest = reads[:, space.at_beam[:, beam].astype(np.intp)]
        for health in range(1 + space.beams):
            chance[:, health] *= reads.max(axis=1, keepdims=True) if health == 1 + beam else honest
    return chance


def _kernel(space: StateSpace, evidence: Evidence, moment: _Moment, known: dict[bytes, Kernel]) -> Kernel:
    """How pieces move; `known` keeps it for moments that differ in what bears on health only."""
    key = moment.moving()
    if key not in known:
        known[key] = Kernel(space.links, _weights(space, evidence, moment))
    return known[key]


def _weights(space: StateSpace, evidence: Evidence, moment: _Moment) -> FloatArray:
    """Weights of one move, or of none, that go with the space's sources, in each health, (D, S, H)."""
    if moment.gap:
        return space.weights(np.full((1 + space.beams, len(space.moves.kind)), _GAP_MOVE))
    weights = space.weights(_move_weights(space, evidence, moment))
    if moment.dip and evidence.dips_tell:
        fewer = space.aboard[space.sources[0].T] > space.aboard
        weights *= np.where(fewer, 1.0, _FALSE_DIP_SHAKEN if moment.shaken else _FALSE_DIP)[:, :, None]
    if moment.grip == GRIPPED:
        more = space.aboard[space.sources[0].T] < space.aboard
        weights *= np.where(more, 1.0, _FALSE_GRIP)[:, :, None]
    if moment.edge.any():
        explained = np.append(_at_edge(space, moment), (False, False))[space.sources[1].T]
        weights *= np.where(explained, 1.0, _FALSE_EDGE)[:, :, None]
    weights[0] *= _lingering(space, evidence, moment)[:, None]
    return weights


def _move_weights(space: StateSpace, evidence: Evidence, moment: _Moment) -> FloatArray:
    """The weight of each move in each health, (H, M)."""
    moves = space.moves
    silent = _SILENT_PER_S * moment.step_s
    seen = _seen_weights(space, evidence, moment)
    passing = _SEEN if moment.direction == 1 else min(_UNSEEN_PER_S * moment.step_s, _SEEN)
    past_sick = np.where(_held_back(space, evidence, moment), silent, passing)
    past_sick[_entries(space)] = _unseen_entry(space, evidence, moment)
    weight = np.tile(seen, (1 + space.beams, 1))
    weight[1:] = np.where(moves.beam == np.arange(space.beams)[:, None], past_sick, seen)
    weight *= np.where(_BACKWARDS[moves.kind], _BACKWARD[moment.direction], _FORWARD[moment.direction])
    told = evidence.dips_tell or evidence.ways.kept
    release = (moves.kind == Move.RELEASE) & (told | (moves.beam < 0))
    weight[:, release] = _release_weights(space, evidence, moment)[release]
    return weight


def _seen_weights(space: StateSpace, evidence: Evidence, moment: _Moment) -> FloatArray:
    """The weight of each move past beams that are alive, whichever way the belt runs, (M,)."""
    moves = space.moves
    silent = _SILENT_PER_S * moment.step_s
    weight = np.where(_at_edge(space, moment), _SEEN, silent)
    slips = moves.kind == Move.PASS
    weight[slips] = np.maximum(silent, _missed(evidence, moment)[moves.beam[slips]])
    weight[moves.kind == Move.ENTER_PAST] = evidence.ways.missed[0] * _unseen_entry(space, evidence, moment)
    unseen = (moves.beam >= 0) & moment.blind[moves.beam]
    weight[unseen] = _chattering(space, evidence, moment)[unseen]
    weight[unseen & _entries(space)] = _unseen_entry(space, evidence, moment)
    weight[moves.kind == Move.ENTER] *= 1 - evidence.grips_found * (moment.grip == NOT_GRIPPED)
    weight[moves.kind == Move.FOLLOW] = _FOLLOW if moment.direction == 1 else _FOLLOW_PER_S * moment.step_s
    followed_back = (moves.kind == Move.FOLLOW_BACK) | (moves.kind == Move.SPIT_TOUCHING)
    weight[followed_back] = _FOLLOW_BACK if moment.direction == -1 else _FOLLOW_PER_S * moment.step_s
    touching = _ENTER_TOUCHING_PER_S * moment.step_s
    weight[moves.kind == Move.ENTER_TOUCHING] = _TOUCHING_AT_GRIP if moment.grip == GRIPPED else touching
    return np.asarray(weight)


def _entries(space: StateSpace) -> BoolArray:
    """The moves of a piece that comes in to the first beam, or past it in one step, (M,)."""
    return np.asarray((space.moves.kind == Move.ENTER) | (space.moves.kind == Move.ENTER_PAST))


def _unseen_entry(space: StateSpace, evidence: Evidence, moment: _Moment) -> float:
    """Weight of a piece that comes in unseen by a beam, by each of the moves that there are for it."""
    ways_in = 2 if (space.moves.kind == Move.ENTER_PAST).any() else 1
    if moment.grip == GRIPPED:
        return _SEEN / ways_in
    shown = evidence.grips_found if moment.grip == NOT_GRIPPED else 0.0
    return (1 - shown) * _UNSEEN_ENTRY_PER_S * moment.step_s / ways_in


def _release_weights(space: StateSpace, evidence: Evidence, moment: _Moment) -> FloatArray:
    """The weight of each move were it a release that dips, or none, tell of, (M,)."""
    launches = moment.launching and moment.direction in (1, UNKNOWN)
    if moment.dip if evidence.dips_tell else launches or not evidence.ways.kept:
        return np.full(len(space.moves.kind), _RELEASE_AT_DIP)
    seen = _SEEN * evidence.dips_missed if evidence.dips_tell else 0.0
    unseen = _FORWARD[moment.direction] * np.where(
        _at_edge(space, moment), seen, _SILENT_PER_S * moment.step_s
    )
    if launches:
        gripped = evidence.dips_missed * min(moment.step_s / evidence.ways.gripped_s, _SEEN)
        unseen[space.moves.beam < 0] = np.maximum(gripped, _SILENT_PER_S * moment.step_s)
    return np.asarray(unseen)


def _at_edge(space: StateSpace, moment: _Moment) -> BoolArray:
    """The moves that do to their beam what was just seen, (M,)."""
    return np.asarray((space.changes != 0) & (space.changes == moment.edge[space.moves.beam]))


def _missed(evidence: Evidence, moment: _Moment) -> FloatArray:
    """Chance that a piece arrives at each beam and passes it between two readings, (B,)."""
    arrives_s = np.append(np.inf, evidence.ways.travel_s[int(moment.launching)])
    step_s = max(moment.step_s, _LENGTHS_S[0]) if moment.direction == 1 else moment.step_s
    return np.asarray(evidence.ways.missed * np.minimum(step_s / arrives_s, _SEEN))


def _held_back(space: StateSpace, evidence: Evidence, moment: _Moment) -> BoolArray:
    """The moves to or from a beam where pieces are held until the launcher is up to speed, (M,)."""
    if moment.launching:
        return np.zeros(len(space.moves.beam), dtype=bool)
    before, at = evidence.ways.held[:, space.moves.beam]
    off = space.at_beam[space.moves.origin, space.moves.beam]
    slips = space.moves.kind == Move.PASS
    return np.asarray(np.where(slips, before | at, np.where(off, at, before)))


def _chattering(space: StateSpace, evidence: Evidence, moment: _Moment) -> FloatArray:
    """Weights of the moves past a beam that chatters, (M,): as fast as pieces go there, hardly where held."""
    moves, mode = space.moves, int(moment.launching)
    leaves = space.at_beam[moves.origin, moves.beam]
    arrives_s = np.append(np.inf, evidence.ways.travel_s[mode])[moves.beam]
    usual_s = np.where(leaves, evidence.ways.passing_s[mode][moves.beam], arrives_s)
    rate_per_s = np.where(np.isfinite(usual_s), 1 / usual_s, _SILENT_PER_S)
    return np.asarray(np.minimum(rate_per_s * moment.step_s, _SEEN))


def _lingering(space: StateSpace, evidence: Evidence, moment: _Moment) -> FloatArray:
    """How well each occupancy bears with a belt that runs forward, (S,): pieces do not linger on a free path.

    A piece between two beams with nothing before it arrives within the travel time (each of several, where
    the belt is known to run), one at a beam with nothing at the next has passed within the passing time, one
    past the last beam is gripped by a running launcher, unless pieces wait there; to stay costs exp(-dt/τ).
    """
    if moment.direction == -1:
        return _lingering_back(space, evidence, moment)
    if moment.direction not in (1, UNKNOWN):
        return np.ones(len(space.slots))
    at_beam, past = space.at_beam, space.slots[:, 1::2]
    on_the_way = past if moment.direction == 1 else past > 0
    underway = on_the_way[:, :-1] * ~at_beam[:, 1:]
    mode = int(moment.launching)
    lasting = (underway / evidence.ways.travel_s[mode]).sum(axis=1)
    if moment.direction == 1:
        free = past == 0
        free[:, :-1] &= ~at_beam[:, 1:]
        lasting += ((at_beam & free) / evidence.ways.passing_s[mode]).sum(axis=1)
    if moment.launching:
        lasting += (past[:, -1] > 0) / evidence.ways.gripped_s
    return np.asarray(np.exp(-moment.step_s * lasting))


def _lingering_back(space: StateSpace, evidence: Evidence, moment: _Moment) -> FloatArray:
    """The same with a belt that runs back, (S,): it takes pieces to the first beam as fast as forward."""
    underway = space.slots[:, 1::2] * ~space.at_beam
    lasting = (underway / np.append(evidence.ways.travel_s.min(axis=0), _FROM_LAST_S)).sum(axis=1)
    return np.asarray(np.exp(-moment.step_s * lasting))


def _healths(evidence: Evidence, moments: Sequence[_Moment]) -> FloatArray:
    """Chances of going from one health to another, (K, H, H): all beams alive, or one of them sick.

    A sick beam is stuck at what it reads: where that changes and it stays sick, it was misread.
    """
    step_s = np.array([[moment.step_s] for moment in moments])
    shaken_s = np.minimum(step_s, SHAKEN_S) * [[moment.shaken] for moment in moments]
    edge = np.stack([moment.edge for moment in moments]) != 0
    flicker = np.stack([moment.flicker for moment in moments])
    held = np.stack([moment.held for moment in moments])
    unplugged = np.array(evidence.unplugged)
    likely = (unplugged == UNKNOWN) | (held == UNKNOWN) | (unplugged == held)
    lasting_s = step_s + _AFTER_CONTACT * shaken_s
    lasting_s = np.where(edge, np.maximum(lasting_s, _AN_EDGE_S), lasting_s)
    goes_sick = np.where(likely, _GOES_SICK_PER_S, _GOES_SICK_OTHER_PER_S) * lasting_s
    recovers = np.broadcast_to(np.minimum(_RECOVERS_PER_S * step_s, 0.5), edge.shape)
    healths = np.zeros((len(moments), 1 + edge.shape[1], 1 + edge.shape[1]))
    healths[:, 0, 1:], healths[:, 1:, 0] = np.minimum(goes_sick, 0.1), recovers
    stays = 1 - healths.sum(axis=2)
    stays[:, 1:] *= np.where(edge, _MISREAD, 1.0)
    stays *= _FLICKER_STAYS ** flicker.sum(axis=1, keepdims=True)
    diagonal = np.arange(1 + edge.shape[1])
    healths[:, diagonal, diagonal] = stays
    healths[:, 0, 1:][flicker & likely] = healths[:, 1:, 0][flicker] = _FLICKER_TURNS
    return healths

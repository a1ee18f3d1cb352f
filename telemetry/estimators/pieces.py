"""Pieces aboard: the most likely story of the pieces and of each beam's health, and how sure it is.

A hidden Markov chain over the occupancy of the beams and the stretches between them, joined with the health
of the beams (all alive, or one of them stuck clear or stuck broken). It steps from one observed change to
the next, and at least four times a second.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from telemetry.analysis import Analysis
from telemetry.estimators.markov import IntArray, consensus_path, draw_paths, forward, margins
from telemetry.estimators.piece_chain import build_chain
from telemetry.estimators.piece_evidence import UNKNOWN, UNREAD, Evidence, capacity_of, gather_evidence
from telemetry.estimators.stations import StateSpace
from telemetry.log import BoolArray, FloatArray
from telemetry.match import Match
from telemetry.records.pieces import BeamHealth, Count, Pieces, PieceStep
from telemetry.robot import Robot
from telemetry.signals import runs, spans

__all__ = ["estimate_pieces"]

_JOIN_S, _LEAST_SICK_S, _AT_ONSET_S = 1.0, 0.5, 0.5
_DRAWS, _NEAR_S = 100, 0.5
_BAND = (0.05, 0.95)
_LIKELY = 0.5
_STATES = {0: "stuck_clear", 1: "stuck_broken"}


def estimate_pieces(known: Analysis) -> Pieces | None:
    """The story of one match, out of its beams, bursts, motors, contacts and gaps; None without a beam.

    Of more beams than can be computed those in the middle are left out: `beam_health` names those followed.
    """
    match, robot = known.match, known.robot
    names = [name for name in robot.beams_in_order() if name in known.beams]
    if not names:
        return None
    evidence = gather_evidence(known, names)
    while (space := _space(robot, evidence)) is None:
        names = names[: len(names) // 2] + names[len(names) // 2 + 1 :]
        evidence = gather_evidence(known, names)
    chain = build_chain(space, evidence, robot.robot.preload)
    filtered, _ = forward(chain)
    health, occupancy = margins(chain, filtered)
    sick = bool((health[:, 1:] > _LIKELY).any())
    path = consensus_path(chain, occupancy) if sick else None
    drawn = draw_paths(chain, filtered, draws=_DRAWS, seed=0) % len(space.slots)
    told = ~(evidence.gap & (evidence.level == UNREAD).all(axis=1))
    t_s, direction = evidence.t_s[told], evidence.direction[told]
    inside = (t_s >= match.start_s) & (t_s <= match.end_s + 1.0)
    drawn_came, drawn_left = _came_and_left(space, drawn[:, told], direction)
    came, left = (_median_counts(number) for number in (drawn_came, drawn_left))
    entries_s, releases_s = (_instants(t_s, number[0], inside) for number in (came, left))
    return Pieces(
        collected=_count(came[0, inside], drawn_came[:, inside]),
        released=_count(left[0, inside], drawn_left[:, inside]),
        timeline=_timeline(space, occupancy, evidence.t_s, match),
        entries_s=entries_s,
        releases_s=releases_s,
        entry_chances=_chances(entries_s, t_s, drawn_came),
        release_chances=_chances(releases_s, t_s, drawn_left),
        most_aboard=space.most_aboard,
        beam_health=_beam_health(names, health, evidence, _gainsaid(space, path, evidence)),
    )


def _space(robot: Robot, evidence: Evidence) -> StateSpace | None:
    """The states; where no dip tells of releases, pieces leave as they clear the last beam, unless kept."""
    ways = evidence.ways
    room_past = ways.room_past if evidence.dips_tell else None if ways.kept else 0
    return StateSpace.build(
        len(evidence.unplugged), capacity_of(robot), room=(*ways.room, room_past), spanned=ways.spanned
    )


def _came_and_left(space: StateSpace, paths: IntArray, direction: IntArray) -> tuple[IntArray, IntArray]:
    """How many pieces came in and went out by the launcher at each instant, each (draws, T).

    Over a silence of the log only the difference is told: what came in and went out in it is not known.
    """
    change = np.diff(space.aboard[paths], axis=1, prepend=space.aboard[paths[:, :1]])
    at_first = np.diff(space.slots[paths, 0], axis=1, prepend=space.slots[paths[:, :1], 0])
    ran = np.concatenate((direction[:1], direction[:-1]))
    spat = (change < 0) & (((at_first < 0) & (space.beams > 1)) | (ran < 0))
    return np.maximum(change, 0), np.where(spat, 0, np.maximum(-change, 0))


def _median_counts(drawn: IntArray) -> IntArray:
    """How many at each instant, (1, T), so that their number until then is the median of the drawn ones."""
    middle = (len(drawn) - 1) // 2
    until_then = np.partition(np.cumsum(drawn, axis=1), middle, axis=0)[middle]
    return np.asarray(np.diff(until_then, prepend=0)[None])


def _count(likely: IntArray, drawn: IntArray) -> Count:
    estimate = int(likely.sum())
    low, high = np.quantile(drawn.sum(axis=1), _BAND, method="inverted_cdf")
    return Count(estimate, min(int(low), estimate), max(int(high), estimate))


def _instants(t_s: FloatArray, number: IntArray, inside: BoolArray) -> tuple[float, ...]:
    return tuple(float(at) for at in np.repeat(t_s[inside], number[inside]))


def _chances(events_s: Sequence[float], t_s: FloatArray, drawn: IntArray) -> tuple[float, ...]:
    """For each event the share of the drawn paths that have one within half a second of it."""
    before = np.concatenate((np.zeros((len(drawn), 1), dtype=np.intp), np.cumsum(drawn, axis=1)), axis=1)
    first = np.searchsorted(t_s, np.array(events_s) - _NEAR_S, side="left")
    last = np.searchsorted(t_s, np.array(events_s) + _NEAR_S, side="right")
    return tuple((before[:, last] > before[:, first]).mean(axis=0).tolist())


def _timeline(
    space: StateSpace, occupancy: FloatArray, t_s: FloatArray, match: Match
) -> tuple[PieceStep, ...]:
    by_count = np.zeros((space.capacity + 1, len(space.slots)))
    by_count[space.aboard, np.arange(len(space.slots))] = 1
    chance = occupancy @ by_count.T
    inside = np.flatnonzero((t_s >= match.start_s) & (t_s <= match.end_s))
    if not len(inside):
        return ()
    likely = chance.argmax(axis=1)[inside]
    first = np.flatnonzero(np.concatenate(([True], likely[1:] != likely[:-1])))
    until = np.append(first[1:], len(inside))
    lasting = np.diff(np.append(t_s[inside], match.end_s))
    lasting = np.maximum(lasting, 1e-6)
    return tuple(
        _piece_step(
            max(float(t_s[inside[a]]), match.start_s) if a else match.start_s,
            int(likely[a]),
            np.average(chance[inside[a:b]], axis=0, weights=lasting[a:b]),
        )
        for a, b in zip(first, until, strict=True)
    )


def _piece_step(start_s: float, aboard: int, chance: FloatArray) -> PieceStep:
    total = np.cumsum(chance)
    low, high = (int(np.searchsorted(total, level * total[-1])) for level in _BAND)
    return PieceStep(start_s, aboard, float(chance[aboard]), min(low, aboard), max(high, aboard))


def _beam_health(
    names: Sequence[str], chance: FloatArray, evidence: Evidence, gainsaid: BoolArray
) -> Mapping[str, tuple[BeamHealth, ...]]:
    """Stretches in which a beam is likelier sick than not; `gainsaid` (T, B) is where the story denies it."""
    found = {}
    for beam, name in enumerate(names):
        signs = gainsaid[:, beam], evidence.flicker[:, beam]
        parts: list[BeamHealth] = []
        for level, state in _STATES.items():
            likely = chance[:, 1 + beam] * (evidence.held[:, beam] == level)
            parts += _stretches(likely, evidence.t_s, *signs, state)
        found[name] = tuple(sorted(parts, key=_by_start))
    return MappingProxyType(found)


def _gainsaid(space: StateSpace, path: IntArray | None, evidence: Evidence) -> BoolArray:
    """Where a beam reads another level than the story puts there, or a piece slips past it, (T, B).

    Without a path nowhere: it is told only where some beam is likelier sick than not, and asked only there.
    """
    if path is None:
        return np.zeros(evidence.level.shape, dtype=bool)
    other = (space.at_beam[path] != (evidence.level == 1)) & (evidence.level < UNKNOWN)
    return np.asarray(other | _slipped(space.slots[path]))


def _slipped(told: IntArray) -> BoolArray:
    """Where a piece goes past a beam in one step without standing at it, (T, B); slots told are (T, 2·B)."""
    moved = np.diff(told, axis=0, prepend=told[:1])
    slipped = np.zeros((len(told), told.shape[1] // 2), dtype=bool)
    slipped[:, 1:] = (moved[:, 3::2] > 0) & (moved[:, 1:-1:2] < 0) & (moved[:, 2::2] == 0)
    slipped[:, 0] = (moved[:, 1] > 0) & (moved[:, 0] == 0) & (moved.sum(axis=1) > 0)
    return np.asarray(slipped & (told[:, ::2] == 0))


def _stretches(
    likely: FloatArray, t_s: FloatArray, gainsaid: BoolArray, flicker: BoolArray, state: str
) -> list[BeamHealth]:
    sick = spans(t_s, likely > _LIKELY, float(t_s[-1]), np.inf, bridge_s=_JOIN_S)
    began_s = t_s[runs(gainsaid)[0]]
    return [
        BeamHealth(
            start_s=float(start),
            end_s=float(end),
            state=state,
            probability=float(likely[(t_s >= start) & (t_s < end)].max()),
            contradictions_s=tuple(began_s[(began_s >= start) & (began_s < end)].tolist()),
            flickered=bool((np.abs(t_s[flicker] - start) <= _AT_ONSET_S).any()),
        )
        for start, end in sick
        if end - start >= _LEAST_SICK_S
    ]


def _by_start(stretch: BeamHealth) -> float:
    return stretch.start_s

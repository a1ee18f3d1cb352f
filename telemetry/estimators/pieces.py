"""Pieces aboard: the most likely story of the pieces and of each beam's health, and how sure it is.

A hidden Markov chain over the occupancy of the beams and the stretches between them, joined with the health
of the beams (all alive, or one of them stuck clear or stuck broken). It steps from one observed change to
the next, and at least four times a second.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from telemetry.analysis import BeamHealth, Burst, Contact, Count, MotorTrace, Pieces, PieceStep, Switching
from telemetry.estimators.belt import belt_direction
from telemetry.estimators.bursts import without_bursts, without_short
from telemetry.estimators.markov import IntArray, backward, consensus_path, draw_paths, forward
from telemetry.estimators.piece_chain import Evidence, build_chain, health_states
from telemetry.estimators.releases import launcher_dips
from telemetry.estimators.stations import StateSpace
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.match import Match
from telemetry.robot import Robot
from telemetry.signals import at_instants, dwells, runs, spans

__all__ = ["estimate_pieces"]

USUAL_CAPACITY = 3
"""Most pieces aboard where the robot file does not say."""

_TICK_S = 0.25
_BLINK_S = 0.025
_SHORT_OF_USUAL = 0.35
_LONGEST_PASS_S = 1.0
_SHAKEN_S, _FLICKER_S = 0.5, 0.1
_JOIN_S, _LEAST_SICK_S = 1.0, 0.5
_DRAWS = 200
_BAND = (0.05, 0.95)
_STATES = {0: "stuck_clear", 1: "stuck_broken"}
_LEVELS = {"clear": 0, "broken": 1, None: 2}


def estimate_pieces(
    log: Log,
    robot: Robot,
    match: Match,
    *,
    beams: Mapping[str, Switching],
    bursts: Mapping[str, tuple[Burst, ...]],
    honest_dwell_s: Mapping[str, float],
    motors: Mapping[str, MotorTrace],
    contacts: Sequence[Contact],
    gaps_s: FloatArray,
) -> Pieces | None:
    """The story of one match; None without a beam, or with more beams than can be computed.

    `beams` may hold fewer beams than the robot file; those it holds are taken in the order of their stations.
    """
    names = [name for name in robot.beams_in_order() if name in beams]
    capacity = robot.robot.capacity or max(USUAL_CAPACITY, robot.robot.preload)
    space = StateSpace.build(len(names), capacity) if names else None
    if space is None:
        return None
    clean = {name: _clean(beams[name], bursts.get(name, ()), honest_dwell_s[name]) for name in names}
    dips_s = launcher_dips(robot, motors)
    flicker_s = {name: _short_dwells_s(beams[name], honest_dwell_s[name]) for name in names}
    evidence = _gather(log, robot, match, clean, flicker_s, motors, dips_s, contacts, gaps_s)
    chain = build_chain(space, evidence, robot.robot.preload)
    filtered, _ = forward(chain)
    smoothed = backward(chain, filtered)
    path = consensus_path(chain, smoothed)
    drawn = draw_paths(chain, filtered, draws=_DRAWS, seed=0) % len(space.slots)
    inside = (evidence.t_s >= match.start_s) & (evidence.t_s <= match.end_s + 1.0)
    came, left = _came_and_left(space, path[None], evidence.direction)
    drawn_came, drawn_left = _came_and_left(space, drawn, evidence.direction)
    return Pieces(
        collected=_count(came[0, inside], drawn_came[:, inside]),
        released=_count(left[0, inside], drawn_left[:, inside]),
        timeline=_timeline(space, smoothed, evidence.t_s, match),
        entries_s=_instants(evidence.t_s, came[0], inside),
        releases_s=_instants(evidence.t_s, left[0], inside),
        beam_health=_beam_health(names, smoothed.sum(axis=2), evidence, space.at_beam[path]),
    )


def _clean(beam: Switching, bursts: tuple[Burst, ...], honest_s: float) -> Switching:
    """The signal without chatter, blinks, and broken dwells far shorter than this beam's usual pass."""
    steady = without_bursts(beam, bursts, honest_s)
    steady = without_short(steady, _BLINK_S, np.ones(len(steady.t_s), dtype=bool))
    lasting = dwells(steady.t_s, steady.end_s)
    passes = steady.on & (lasting < _LONGEST_PASS_S)
    if not passes.any():
        return steady
    return without_short(steady, _SHORT_OF_USUAL * float(np.median(lasting[passes])), steady.on)


def _gather(
    log: Log,
    robot: Robot,
    match: Match,
    beams: Mapping[str, Switching],
    flicker_s: Mapping[str, FloatArray],
    motors: Mapping[str, MotorTrace],
    dips_s: FloatArray,
    contacts: Sequence[Contact],
    gaps_s: FloatArray,
) -> Evidence:
    belt = belt_direction(motors, beams)
    edges_s = [beam.t_s for beam in beams.values()]
    start_s, end_s = float(log.t_s[0]), float(log.t_s[-1])
    ticks_s = np.arange(start_s, end_s, _TICK_S)
    t_s = np.unique(np.concatenate((*edges_s, dips_s, belt[0] if belt else (), ticks_s)))
    t_s = _outside_gaps(t_s, gaps_s)
    level = np.column_stack(
        [np.nan_to_num(at_instants(b.t_s, b.on.astype(float), t_s), nan=2) for b in beams.values()]
    )
    changed = np.diff(level, axis=0, prepend=level[:1]) != 0
    clears = int((changed[:, -1] & (level[:, -1] == 0)).sum())
    return Evidence(
        t_s=t_s,
        level=level.astype(np.intp),
        edge=changed,
        direction=np.nan_to_num(at_instants(*belt, t_s)).astype(np.intp) if belt else np.full(len(t_s), 2),
        dip=np.isin(t_s, dips_s),
        dips_tell=len(dips_s) > 0 and len(dips_s) >= clears / 2,
        shaken=_shortly_after(t_s, np.array([contact.t_s for contact in contacts]), _SHAKEN_S),
        flicker=np.column_stack([_shortly_after(t_s, flicker_s[name], _FLICKER_S) for name in beams]),
        gap=_after_gap(t_s, gaps_s),
        unplugged=tuple(_LEVELS[robot.beams[name].unplugged] for name in beams),
    )


def _shortly_after(t_s: FloatArray, events_s: FloatArray, within_s: float) -> BoolArray:
    since = t_s - at_instants(events_s, events_s, t_s)
    return np.asarray(np.nan_to_num(since, nan=np.inf) <= within_s)


def _short_dwells_s(beam: Switching, honest_s: float) -> FloatArray:
    """When dwells too short to be honest begin."""
    return np.asarray(beam.t_s[dwells(beam.t_s, beam.end_s) < honest_s])


def _outside_gaps(t_s: FloatArray, gaps_s: FloatArray) -> FloatArray:
    """The instants that do not lie inside a silence of the log."""
    if not len(gaps_s):
        return t_s
    number = np.minimum(np.searchsorted(gaps_s[:, 1], t_s), len(gaps_s) - 1)
    return np.asarray(t_s[~((t_s > gaps_s[number, 0]) & (t_s < gaps_s[number, 1]))])


def _after_gap(t_s: FloatArray, gaps_s: FloatArray) -> BoolArray:
    """The first instant after each silence of the log."""
    after = np.zeros(len(t_s) + 1, dtype=bool)
    after[np.searchsorted(t_s, gaps_s[:, 1])] = True
    return after[:-1]


def _came_and_left(space: StateSpace, paths: IntArray, direction: IntArray) -> tuple[IntArray, IntArray]:
    """How many pieces came in and went out by the launcher at each instant, each (draws, T)."""
    change = np.diff(space.aboard[paths], axis=1, prepend=space.aboard[paths[:, :1]])
    at_first = np.diff(space.slots[paths, 0], axis=1, prepend=space.slots[paths[:, :1], 0])
    spat = (change < 0) & (at_first < 0) & ((space.beams > 1) | (direction < 0))
    return np.maximum(change, 0), np.where(spat, 0, np.maximum(-change, 0))


def _count(likely: IntArray, drawn: IntArray) -> Count:
    estimate = int(likely.sum())
    low, high = np.quantile(drawn.sum(axis=1), _BAND, method="inverted_cdf")
    return Count(estimate, min(int(low), estimate), max(int(high), estimate))


def _instants(t_s: FloatArray, number: IntArray, inside: BoolArray) -> tuple[float, ...]:
    return tuple(float(at) for at in np.repeat(t_s[inside], number[inside]))


def _timeline(
    space: StateSpace, smoothed: FloatArray, t_s: FloatArray, match: Match
) -> tuple[PieceStep, ...]:
    by_count = np.zeros((space.capacity + 1, len(space.slots)))
    by_count[space.aboard, np.arange(len(space.slots))] = 1
    chance = smoothed.sum(axis=1) @ by_count.T
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
    names: Sequence[str], chance: FloatArray, evidence: Evidence, told: BoolArray
) -> Mapping[str, tuple[BeamHealth, ...]]:
    """Stretches in which a beam is likelier sick than not; `told` (T, B) is where the story puts pieces."""
    found: dict[str, list[BeamHealth]] = {name: [] for name in names}
    gainsaid = (told != (evidence.level == 1)) & (evidence.level != 2)
    for number, (beam, level) in enumerate(health_states(len(names))):
        if number:
            found[names[beam]] += _stretches(
                chance[:, number], evidence.t_s, gainsaid[:, beam], _STATES[level]
            )
    return MappingProxyType({name: tuple(sorted(parts, key=_by_start)) for name, parts in found.items()})


def _stretches(likely: FloatArray, t_s: FloatArray, gainsaid: BoolArray, state: str) -> list[BeamHealth]:
    sick = spans(t_s, likely > 0.5, float(t_s[-1]), np.inf, bridge_s=_JOIN_S)
    began_s = t_s[runs(gainsaid)[0]]
    return [
        BeamHealth(
            start_s=float(start),
            end_s=float(end),
            state=state,
            probability=float(likely[(t_s >= start) & (t_s < end)].max()),
            contradictions_s=tuple(began_s[(began_s >= start) & (began_s < end)].tolist()),
        )
        for start, end in sick
        if end - start >= _LEAST_SICK_S
    ]


def _by_start(stretch: BeamHealth) -> float:
    return stretch.start_s

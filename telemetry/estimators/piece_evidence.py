"""What a log shows of the pieces, brought to one list of instants."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from telemetry.analysis import Burst, Contact, MotorTrace, Switching
from telemetry.estimators.belt import belt_direction, forward_clock
from telemetry.estimators.bursts import without_bursts, without_short
from telemetry.estimators.markov import IntArray
from telemetry.estimators.releases import launcher_dips
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.robot import Robot
from telemetry.signals import at_instants, dwells

__all__ = ["UNKNOWN", "Evidence", "gather_evidence"]

UNKNOWN = 2

_TICK_S = 0.25
_BLINK_S = 0.025
_SHORT_OF_USUAL, _LONGEST_PASS_S = 0.35, 1.0
_SHAKEN_S, _FLICKER_S = 0.5, 0.3
_TRAVEL_TIMES, _LEAST_TRAVEL_S, _LEAST_TRAVELS = 4.0, 0.5, 3
_USUAL_PASS_S = 0.2
_LEVELS = {"clear": 0, "broken": 1, None: UNKNOWN}


@dataclass(frozen=True, eq=False)
class Evidence:
    """What T instants showed of B beams.

    Attributes:
        t_s: (T,): every observed change, and ticks between.
        level: (T, B): 0 clear, 1 broken, 2 not known (nothing logged yet, or chattering).
        edge: (T, B): the beam's level changes just here.
        direction: (T,): of the belt: 1 forward, 0 at rest, -1 back, 2 not known.
        dip: (T,): the launcher met a piece.
        dips_tell: whether dips can be relied on to show releases.
        shaken: (T,): just after a contact.
        flicker: (T, B): short dwells just here, in the signal before it was cleaned.
        gap: (T,): nothing was logged since the instant before.
        travel_s: (B - 1,): time within which a piece on a free belt goes from one beam to the next.
        pass_s: time that a piece takes to pass a beam.
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
    travel_s: FloatArray
    pass_s: float
    unplugged: tuple[int, ...]


def gather_evidence(
    log: Log,
    robot: Robot,
    *,
    beams: Mapping[str, Switching],
    bursts: Mapping[str, tuple[Burst, ...]],
    honest_dwell_s: Mapping[str, float],
    motors: Mapping[str, MotorTrace],
    contacts: Sequence[Contact],
    gaps_s: FloatArray,
) -> Evidence:
    """The evidence of one match; `beams` in the order of their stations, at least one."""
    clean = {name: _clean(beam, bursts.get(name, ()), honest_dwell_s[name]) for name, beam in beams.items()}
    dips_s = launcher_dips(robot, motors)
    belt = belt_direction(motors, clean)
    t_s = _instants(log, [beam.t_s for beam in clean.values()], dips_s, belt, gaps_s)
    level = np.column_stack([_level(beam, bursts.get(name, ()), t_s) for name, beam in clean.items()])
    edge = (np.diff(level, axis=0, prepend=level[:1]) != 0) & (level != UNKNOWN)
    pass_s = _pass_s(list(clean.values()))
    clears = int((edge[:, -1] & (level[:, -1] == 0)).sum())
    hits_s = np.array([contact.t_s for contact in contacts])
    short_s = [_short_dwells_s(beam, honest_dwell_s[name]) for name, beam in beams.items()]
    return Evidence(
        t_s=t_s,
        level=level,
        edge=edge,
        direction=_direction(belt, t_s),
        dip=np.isin(t_s, dips_s),
        dips_tell=len(dips_s) > 0 and len(dips_s) >= clears / 2,
        shaken=_shortly_after(t_s, hits_s, _SHAKEN_S),
        flicker=np.column_stack([_shortly_after(t_s, events_s, _FLICKER_S) for events_s in short_s]),
        gap=_after_gap(t_s, gaps_s),
        travel_s=_travel_s(list(clean.values()), belt, pass_s),
        pass_s=pass_s,
        unplugged=tuple(_LEVELS[robot.beams[name].unplugged] for name in beams),
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


def _instants(
    log: Log,
    edges_s: Sequence[FloatArray],
    dips_s: FloatArray,
    belt: tuple[FloatArray, FloatArray] | None,
    gaps_s: FloatArray,
) -> FloatArray:
    ticks_s = np.arange(float(log.t_s[0]), float(log.t_s[-1]), _TICK_S)
    t_s = np.unique(np.concatenate((*edges_s, dips_s, belt[0] if belt else (), ticks_s)))
    if not len(gaps_s):
        return t_s
    number = np.minimum(np.searchsorted(gaps_s[:, 1], t_s), len(gaps_s) - 1)
    return np.asarray(t_s[~((t_s > gaps_s[number, 0]) & (t_s < gaps_s[number, 1]))])


def _level(beam: Switching, bursts: tuple[Burst, ...], t_s: FloatArray) -> IntArray:
    held = at_instants(beam.t_s, beam.on.astype(float), t_s)
    for burst in bursts:
        held[(t_s >= burst.start_s) & (t_s < burst.end_s)] = UNKNOWN
    return np.nan_to_num(held, nan=UNKNOWN).astype(np.intp)


def _direction(belt: tuple[FloatArray, FloatArray] | None, t_s: FloatArray) -> IntArray:
    if belt is None:
        return np.full(len(t_s), UNKNOWN, dtype=np.intp)
    return np.nan_to_num(at_instants(*belt, t_s)).astype(np.intp)


def _after_gap(t_s: FloatArray, gaps_s: FloatArray) -> BoolArray:
    """The first instant after each silence of the log."""
    after = np.zeros(len(t_s) + 1, dtype=bool)
    after[np.searchsorted(t_s, gaps_s[:, 1])] = True
    return after[:-1]


def _shortly_after(t_s: FloatArray, events_s: FloatArray, within_s: float) -> BoolArray:
    since = t_s - at_instants(events_s, events_s, t_s)
    return np.asarray(np.nan_to_num(since, nan=np.inf) <= within_s)


def _short_dwells_s(beam: Switching, honest_s: float) -> FloatArray:
    """When dwells too short to be honest begin."""
    return np.asarray(beam.t_s[dwells(beam.t_s, beam.end_s) < honest_s])


def _pass_s(beams: Sequence[Switching]) -> float:
    """The usual time for which a piece in motion breaks a beam."""
    lasting = np.concatenate([dwells(beam.t_s, beam.end_s)[beam.on] for beam in beams])
    passes = lasting[lasting < _LONGEST_PASS_S]
    return float(np.median(passes)) if len(passes) else _USUAL_PASS_S


def _travel_s(
    beams: Sequence[Switching], belt: tuple[FloatArray, FloatArray] | None, pass_s: float
) -> FloatArray:
    """Four times the usual time, belt running forward, from one beam clearing to the next breaking.

    Where the log shows too few such ways, four passes: beams stand a few piece lengths apart.
    """
    found = []
    for here, there in pairwise(beams):
        left_s, arrived_s = here.t_s[1:][~here.on[1:]], there.t_s[1:][there.on[1:]]
        next_one = np.searchsorted(arrived_s, left_s)
        came = next_one < len(arrived_s)
        if came.sum() < _LEAST_TRAVELS or belt is None:
            found.append(max(_LEAST_TRAVEL_S, _TRAVEL_TIMES * pass_s))
            continue
        took_s = forward_clock(belt, arrived_s[next_one[came]]) - forward_clock(belt, left_s[came])
        found.append(max(_LEAST_TRAVEL_S, _TRAVEL_TIMES * float(np.median(took_s))))
    return np.array(found)

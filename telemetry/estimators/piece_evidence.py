"""What a log shows of the pieces, brought to one list of instants."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from telemetry.analysis import Contact
from telemetry.estimators.belt import belt_direction, running_clocks
from telemetry.estimators.bursts import usual_pass_s, without_bursts, without_short
from telemetry.estimators.markov import IntArray
from telemetry.estimators.releases import launcher_dips, launcher_running
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Burst, Switching
from telemetry.robot import Robot
from telemetry.signals import at_instants, dwells, steps

__all__ = ["UNKNOWN", "UNREAD", "Evidence", "gather_evidence"]

UNKNOWN, UNREAD = 2, 3
_GAP_MOVES = 40

_TICK_S = 0.25
_BLINK_S = 0.025
_SHORT_OF_USUAL, _LONGEST_PASS_S = 0.35, 1.0
_SHAKEN_S = 0.5
_FLICKER_WITHIN_S, _LEAST_FLICKER, _MOST_FLICKER, _CHATTERING = 0.6, 2, 6, 2
_TRAVEL_PASSES, _LEAST_TRAVEL_S, _LEAST_ARRIVALS, _SOME = 2.0, 0.3, 3, 0.25
_ALWAYS = np.zeros(1), np.ones(1)
_USUAL_PASS_S = 0.2
_LEAST_MISSED = 0.05
_LEAST_WAYS, _ROOM_TO_SPARE = 5, 1.2
_LEVELS = {"clear": 0, "broken": 1, None: UNKNOWN}


@dataclass(frozen=True, eq=False)
class Evidence:
    """What T instants showed of B beams.

    Attributes:
        t_s: (T,): every observed change, and ticks between.
        level: (T, B): 0 clear, 1 broken, 2 not known (nothing logged yet, or chattering), 3 not read: an
            instant that was put in so that several pieces can move at once.
        edge: (T, B): just here the beam breaks, 1, or clears, -1; else 0.
        direction: (T,): of the belt: 1 forward, 0 at rest, -1 back, 2 not known.
        dip: (T,): the launcher met a piece.
        dips_tell: whether dips can be relied on to show releases.
        dips_missed: share of the releases that show no dip.
        shaken: (T,): just after a contact.
        flicker: (T, B): a few short dwells end just here, in the signal before it was cleaned.
        launching: (T,): the launcher is up to speed.
        gap: (T,): nothing was logged since the instant before.
        travel_s: (2, B - 1): mean time in which a piece on a free belt goes from one beam to the next, with
            the launcher at rest and up to speed.
        passing_s: (2, B): time in which pieces on a running belt have passed each beam, likewise.
        held: (2, B): pieces are held before the beam, and at it, until the launcher is up to speed.
        pass_s: time that a piece takes to pass a beam.
        room: for each two beams how many pieces find room between them, None where the log does not tell.
        spanned: for each two beams whether a piece stands at both at once.
        unplugged: for each beam what it reads with its lead off: 0 clear, 1 broken, 2 not known.
    """

    t_s: FloatArray
    level: IntArray
    edge: IntArray
    direction: IntArray
    dip: BoolArray
    dips_tell: bool
    dips_missed: float
    shaken: BoolArray
    flicker: BoolArray
    launching: BoolArray
    gap: BoolArray
    travel_s: FloatArray
    passing_s: FloatArray
    held: BoolArray
    pass_s: float
    room: tuple[int | None, ...]
    spanned: tuple[bool, ...]
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
    belt = belt_direction(_may_carry_pieces(robot, motors), clean, dips_s)
    t_s = _instants(log, [beam.t_s for beam in clean.values()], dips_s, belt, gaps_s)
    level = np.column_stack([_level(beam, bursts.get(name, ()), t_s) for name, beam in clean.items()])
    edge = _edges(level)
    pass_s = usual_pass_s(clean.values()) or _USUAL_PASS_S
    clears = int((edge[:, -1] < 0).sum())
    hits_s = np.array([contact.t_s for contact in contacts])
    flickers_s = [
        _flickers_s(beam, bursts.get(name, ()), honest_dwell_s[name], hits_s) for name, beam in beams.items()
    ]
    launcher = launcher_running(robot, motors)
    path = list(clean.values()), belt, launcher
    travel_s = _travel_s(*path, pass_s)
    evidence = Evidence(
        t_s=t_s,
        level=level,
        edge=edge,
        direction=_direction(belt, t_s),
        dip=np.isin(t_s, dips_s),
        dips_tell=len(dips_s) > 0 and len(dips_s) >= clears / 2,
        dips_missed=float(np.clip(1 - len(dips_s) / max(clears, 1), _LEAST_MISSED, 1.0)),
        shaken=_shortly_after(t_s, hits_s, _SHAKEN_S),
        flicker=np.column_stack([_first_after(t_s, events_s) for events_s in flickers_s]),
        launching=at_instants(*launcher, t_s) > 0,
        gap=_first_after(t_s, gaps_s[:, 1]),
        travel_s=travel_s,
        passing_s=_passing_s(*path, travel_s, pass_s),
        held=np.stack([_held(clean.values(), launcher, breaks=breaks) for breaks in (True, False)]),
        pass_s=pass_s,
        room=tuple(_room(here, there) for here, there in pairwise(clean.values())),
        spanned=tuple(_spanned(here, there) for here, there in pairwise(clean.values())),
        unplugged=tuple(_LEVELS[robot.beams[name].unplugged] for name in beams),
    )
    return _with_room_to_move(evidence)


def _may_carry_pieces(robot: Robot, motors: Mapping[str, MotorTrace]) -> Mapping[str, MotorTrace]:
    """The motors without those that the robot file gives another task: launcher, drive, arms with limits."""
    busy = {limit.motor for limit in robot.limits.values()}
    busy |= {robot.launcher.motor} if robot.launcher else set()
    busy |= set(robot.contact.drive)
    return {name: trace for name, trace in motors.items() if name not in busy}


def _with_room_to_move(evidence: Evidence) -> Evidence:
    """Put instants before those at which several pieces move at once, so that each step is one move.

    One for each further beam that changes at the same instant; before these, without a change, one for a
    piece that slips past a beam unseen, and one a beam where a piece leaves and all behind it move up; and
    many for a silence of the log.
    """
    changing = np.maximum(np.abs(evidence.edge).sum(axis=1), 1)
    quiet = evidence.edge.any(axis=1) + evidence.dip * evidence.level.shape[1]
    quiet = np.where(evidence.gap, _GAP_MOVES, quiet)
    times = changing + quiet
    row = np.repeat(np.arange(len(times)), times)
    place = np.arange(len(row)) - np.repeat(np.cumsum(times) - times, times)
    inserted = place < times[row] - 1
    return replace(
        evidence,
        t_s=evidence.t_s[row],
        level=np.where(inserted[:, None], UNREAD, evidence.level[row]),
        edge=evidence.edge[row] * (place >= quiet[row])[:, None],
        direction=evidence.direction[row],
        dip=evidence.dip[row] & ~inserted,
        shaken=evidence.shaken[row],
        flicker=evidence.flicker[row] & ~inserted[:, None],
        launching=evidence.launching[row],
        gap=evidence.gap[row],
    )


def _clean(beam: Switching, bursts: tuple[Burst, ...], honest_s: float) -> Switching:
    """The signal without chatter, blinks, and broken dwells far shorter than this beam's usual pass."""
    steady = _across_bursts(without_bursts(beam, bursts, honest_s), bursts)
    steady = without_short(steady, _BLINK_S, np.ones(len(steady.t_s), dtype=bool))
    lasting = dwells(steady.t_s, steady.end_s)
    passes = steady.on & (lasting < _LONGEST_PASS_S)
    if not passes.any():
        return steady
    return without_short(steady, _SHORT_OF_USUAL * float(np.median(lasting[passes])), steady.on)


def _across_bursts(beam: Switching, bursts: tuple[Burst, ...]) -> Switching:
    """The signal with each burst of chatter bridged: what was before it stands until it is over."""
    t_s, on = beam.t_s, beam.on
    for burst in bursts:
        inside = (t_s >= burst.start_s) & (t_s <= burst.end_s)
        if not inside.any():
            continue
        after = bool(on[inside][-1])
        place = int(np.argmax(inside))
        t_s = np.insert(t_s[~inside], place, burst.end_s)
        on = np.insert(on[~inside], place, after)
    return Switching(*steps(t_s, on), beam.end_s, beam.period_s)


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


def _edges(level: IntArray) -> IntArray:
    """Where a beam's level is another than the last one known: 1 as it breaks, -1 as it clears, (T, B)."""
    row = np.arange(len(level))[:, None]
    last = np.maximum.accumulate(np.where(level == UNKNOWN, -1, row), axis=0)
    known = np.where(last < 0, UNKNOWN, np.take_along_axis(level, np.maximum(last, 0), axis=0))
    before = np.concatenate((known[:1], known[:-1]))
    changed = (known != before) & (before != UNKNOWN)
    return np.where(changed, np.where(known == 1, 1, -1), 0)


def _direction(belt: tuple[FloatArray, FloatArray] | None, t_s: FloatArray) -> IntArray:
    if belt is None:
        return np.full(len(t_s), UNKNOWN, dtype=np.intp)
    return np.nan_to_num(at_instants(*belt, t_s)).astype(np.intp)


def _first_after(t_s: FloatArray, events_s: FloatArray) -> BoolArray:
    """The first instant at or after each event, (T,)."""
    after = np.zeros(len(t_s) + 1, dtype=bool)
    after[np.searchsorted(t_s, events_s)] = True
    return after[:-1]


def _shortly_after(t_s: FloatArray, events_s: FloatArray, within_s: float) -> BoolArray:
    since = t_s - at_instants(events_s, events_s, t_s)
    return np.asarray(np.nan_to_num(since, nan=np.inf) <= within_s)


def _flickers_s(
    beam: Switching, bursts: tuple[Burst, ...], honest_s: float, hits_s: FloatArray
) -> FloatArray:
    """Ends of groups of a few dwells too short to be honest: a lead that makes or breaks, (k,).

    One blink alone says little unless a hit came just before; a long burst is chatter, and where chatter
    comes again and again a few short dwells are more of the same.
    """
    if sum(burst.edges > 2 * _MOST_FLICKER for burst in bursts) >= _CHATTERING:
        return np.empty(0)
    lasting = dwells(beam.t_s, beam.end_s)
    short = lasting < honest_s
    at_s, over_s = beam.t_s[short], beam.t_s[short] + lasting[short]
    if not len(at_s):
        return at_s
    first = np.flatnonzero(np.concatenate(([True], np.diff(at_s) > _FLICKER_WITHIN_S)))
    number = np.diff(np.append(first, len(at_s)))
    ends_s: FloatArray = over_s[np.append(first[1:], len(at_s)) - 1]
    shaken = _shortly_after(at_s[first], hits_s, _SHAKEN_S)
    few: FloatArray = ends_s[(number >= np.where(shaken, 1, _LEAST_FLICKER)) & (number <= _MOST_FLICKER)]
    return few


def _travel_s(
    beams: Sequence[Switching],
    belt: tuple[FloatArray, FloatArray] | None,
    launcher: tuple[FloatArray, FloatArray],
    pass_s: float,
) -> FloatArray:
    """Mean time on a belt that runs forward from one beam clearing to the next breaking, (2, B - 1).

    Time in each of the two ways of running, while the next beam is clear, over the arrivals in it (the
    maximum-likelihood estimate of an exponential), with one arrival after the usual time, a few passes, put
    in beforehand. Where the belt's direction is not known, all time counts, and without a few arrivals
    nothing is said; nor is it of the launcher at rest before a beam that pieces hardly reach then: they may be
    held there.
    """
    usual_s = max(_LEAST_TRAVEL_S, _TRAVEL_PASSES * pass_s)
    found = np.full((2, max(len(beams) - 1, 0)), usual_s)
    for place, (here, there) in enumerate(pairwise(beams)):
        left_s, arrived_s = _ways(here, there)
        free = _while_clear(belt or _ALWAYS, there)
        spent_s = np.diff(running_clocks(free, launcher, np.stack((left_s, arrived_s))), axis=1)
        while_up = at_instants(*launcher, arrived_s) > 0
        at_rest = int((at_instants(*launcher, there.t_s[1:][there.on[1:]]) == 0).sum())
        reached = at_rest >= max(_LEAST_ARRIVALS, _SOME * there.on[1:].sum())
        for mode, arrivals in enumerate((~while_up, while_up)):
            mean_s = (spent_s[mode].sum() + usual_s) / (arrivals.sum() + 1)
            enough = arrivals.sum() >= _LEAST_ARRIVALS
            told = enough or (belt is not None and (mode == 1 or reached))
            found[mode, place] = mean_s if told else np.inf
    return np.asarray(np.maximum(found, _LEAST_TRAVEL_S))


def _held(
    beams: Iterable[Switching], launcher: tuple[FloatArray, FloatArray], *, breaks: bool
) -> BoolArray:
    """Whether a beam breaks, or clears, hardly ever with the launcher at rest though it does else, (B,)."""
    changes_s = [beam.t_s[1:][beam.on[1:] == breaks] for beam in beams]
    at_rest = np.array([(at_instants(*launcher, at_s) == 0).sum() for at_s in changes_s])
    number = np.array([len(at_s) for at_s in changes_s])
    return np.asarray((number >= _LEAST_ARRIVALS) & (at_rest < _SOME * number))


def _while_clear(
    belt: tuple[FloatArray, FloatArray], beam: Switching
) -> tuple[FloatArray, FloatArray]:
    """The belt's direction as steps, 0 while the beam is broken."""
    changes_s = np.unique(np.concatenate((belt[0], beam.t_s)))
    clear = np.nan_to_num(at_instants(beam.t_s, beam.on.astype(float), changes_s)) == 0
    return changes_s, np.where(clear, np.nan_to_num(at_instants(*belt, changes_s)), 0.0)


def _passing_s(
    beams: Sequence[Switching],
    belt: tuple[FloatArray, FloatArray] | None,
    launcher: tuple[FloatArray, FloatArray],
    travel_s: FloatArray,
    pass_s: float,
) -> FloatArray:
    """Time on a belt that runs forward within which three in four pieces have passed each beam, (2, B).

    With the launcher at rest and up to speed. Where too few passed to tell, the usual time at the first beam
    and where pieces get on to the next, `travel_s` (2, B - 1); else infinite: they may be held there.
    """
    onward = np.pad(np.isfinite(travel_s), ((0, 0), (0, 1)))
    onward[:, 0] |= len(beams) > 1
    found = np.where(onward, pass_s, np.inf)
    for place, beam in enumerate(beams):
        broke_s, cleared_s = beam.t_s[:-1][beam.on[:-1]], beam.t_s[1:][beam.on[:-1]]
        spent_s = np.diff(running_clocks(belt or _ALWAYS, launcher, np.stack((broke_s, cleared_s))), axis=1)
        while_up = at_instants(*launcher, cleared_s) > 0
        for mode, passed in enumerate((~while_up, while_up)):
            if passed.sum() >= _LEAST_ARRIVALS:
                found[mode, place] = np.percentile(spent_s.sum(axis=0)[0, passed], 75)
    return np.asarray(np.maximum(found, pass_s))


def _ways(here: Switching, there: Switching) -> tuple[FloatArray, FloatArray]:
    """When one beam cleared, and when the next one broke after that; each (k,)."""
    left_s, arrived_s = here.t_s[1:][~here.on[1:]], there.t_s[1:][there.on[1:]]
    next_one = np.searchsorted(arrived_s, left_s)
    came = next_one < len(arrived_s)
    return np.asarray(left_s[came]), np.asarray(arrived_s[next_one[came]])


def _spanned(here: Switching, there: Switching) -> bool:
    """Whether a piece, as it clears one beam, has mostly broken the next already, rather than breaks it after.

    Each time that the first beam is broken, by one piece or by several that touch, the last one tells.
    """
    broke_s = here.t_s[here.on]
    cleared_s = broke_s + dwells(here.t_s, here.end_s)[here.on]
    until_s = np.minimum(np.append(broke_s[1:], np.inf), cleared_s + _LONGEST_PASS_S)
    arrived_s = there.t_s[1:][there.on[1:]]
    came = np.searchsorted(arrived_s, np.stack((broke_s, cleared_s, until_s)), side="right")
    after = came[2] > came[1]
    stands = at_instants(there.t_s, there.on.astype(float), cleared_s) == 1
    before = (came[1] > came[0]) & stands & ~after
    return bool(before.sum() >= _LEAST_ARRIVALS and before.sum() > after.sum())


def _room(here: Switching, there: Switching) -> int | None:
    """How many pieces, one behind the other, find room between two beams; None after too few quick ways.

    On its way a piece covers the distance in the time from breaking one beam to breaking the next, and its
    own length in the time for which it breaks the first: their ratio is the distance in piece lengths. Pieces
    that wait on the way make it larger, so the lower quartile counts, with a fifth to spare.
    """
    lasting = dwells(here.t_s, here.end_s)
    passes = here.on & (lasting < _LONGEST_PASS_S)
    broke_s, length_s = here.t_s[passes], lasting[passes]
    arrived_s = there.t_s[1:][there.on[1:]]
    next_one = np.searchsorted(arrived_s, broke_s, side="right")
    came = next_one < len(arrived_s)
    if came.sum() < _LEAST_WAYS:
        return None
    lengths = (arrived_s[next_one[came]] - broke_s[came]) / length_s[came]
    return max(1, int(_ROOM_TO_SPARE * np.percentile(lengths, 25)))

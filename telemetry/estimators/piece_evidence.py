"""What a log shows of the pieces, brought to one list of instants."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.estimators.belt import belt_direction
from telemetry.estimators.bursts import usual_pass_s, without_bursts, without_short
from telemetry.estimators.grips import Grips, find_grips
from telemetry.estimators.markov import IntArray
from telemetry.estimators.piece_ways import Ways, learn_ways
from telemetry.estimators.releases import launcher_dips, launcher_running
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Burst, Switching
from telemetry.robot import Robot
from telemetry.signals import at_instants, dwells, steps

__all__ = [
    "GRIPPED", "NOT_GRIPPED", "NOT_TOLD", "SHAKEN_S", "UNKNOWN", "UNREAD",
    "Evidence", "capacity_of", "gather_evidence", "may_carry_pieces",
]  # fmt: skip

UNKNOWN, UNREAD = 2, 3
NOT_TOLD, NOT_GRIPPED, GRIPPED = 0, 1, 2
_GRIP_NEAR_S = 0.3
_GAP_MOVES, _TOUCHING_BACK = 40, 2

_USUAL_CAPACITY = 3
"""Most pieces aboard where the robot file does not say."""

_TICK_S, _TICK_AT_REST_S = 0.25, 2.0
_BLINK_S = 0.025
_SHORT_OF_USUAL = 0.35
SHAKEN_S = 0.5
"""For how long after a contact a lead may have been shaken loose by it."""
_FLICKER_WITHIN_S, _LEAST_FLICKER, _MOST_FLICKER, _CHATTERING = 0.6, 2, 6, 2
_LEAST_MISSED, _MOST_MISSED = 0.05, 0.5
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
        dips_missed: share of the releases that show no dip.
        shaken: (T,): just after a contact.
        flicker: (T, B): a few short dwells end just here, in the signal before it was cleaned.
        launching: (T,): the launcher is up to speed.
        grip: (T,): 2 the intake gripped a piece just here, 1 it did not and would have shown it, 0 else.
        grips_found: share of the pieces that come in which its grip shows.
        gap: (T,): nothing was logged since the instant before.
        ways: how pieces go from beam to beam.
        unplugged: for each beam what it reads with its lead off: 0 clear, 1 broken, 2 not known.
    """

    t_s: FloatArray
    level: IntArray
    edge: IntArray
    direction: IntArray
    dip: BoolArray
    dips_missed: float
    shaken: BoolArray
    flicker: BoolArray
    launching: BoolArray
    grip: IntArray
    grips_found: float
    gap: BoolArray
    ways: Ways
    unplugged: tuple[int, ...]

    @cached_property
    def held(self) -> IntArray:
        """What each beam read last, (T, B): 0 clear, 1 broken, 2 where nothing was read so far."""
        changed = np.where(self.edge > 0, 1, np.where(self.edge < 0, 0, self.level))
        return _held(changed, changed < UNKNOWN)

    @property
    def dips_tell(self) -> bool:
        """Whether dips can be relied on to show releases: at least every other one."""
        return self.dips_missed <= _MOST_MISSED


def gather_evidence(known: Analysis, names: Sequence[str]) -> Evidence:
    """The evidence of one match; `names` are beams in the order of their stations, at least one."""
    robot, motors = known.robot, known.motors
    beams = {name: known.beams[name] for name in names}
    bursts = {name: known.bursts.get(name, ()) for name in names}
    clean = {name: _clean(beam, bursts[name], known.honest_dwell_s[name]) for name, beam in beams.items()}
    dips_s = launcher_dips(robot, motors)
    launcher = launcher_running(robot, motors)
    carriers = may_carry_pieces(robot, motors)
    belt = belt_direction(carriers, clean, dips_s)
    grips = find_grips(carriers, clean[names[0]])
    grips_s = _at_breaks(grips.t_s, clean[names[0]])
    ways = learn_ways(list(clean.values()), belt, launcher, dips_s)
    tails_s = _tails(clean[names[-1]], dips_s, ways.tail_s, most=capacity_of(robot))
    changes_s = [*(beam.t_s for beam in clean.values()), tails_s[:, 1]]
    t_s = _instants(known.part, [*changes_s, grips_s], dips_s, belt, known.gaps_s)
    level = np.column_stack([_level(beam, bursts[name], t_s) for name, beam in clean.items()])
    edge = _edges(level)
    clears = int((edge[:, -1] < 0).sum())
    level[:, -1], edge[:, -1] = _without_tails(level[:, -1], edge[:, -1], t_s, tails_s)
    hits_s = np.array([contact.t_s for contact in known.contacts])
    flickers_s = [
        _lead_flickers_s(beam, bursts[name], known.honest_dwell_s[name], hits_s)
        for name, beam in beams.items()
    ]
    evidence = Evidence(
        t_s=t_s,
        level=level,
        edge=edge,
        direction=_direction(belt, t_s),
        dip=np.isin(t_s, dips_s),
        dips_missed=float(np.clip(1 - len(dips_s) / max(clears, 1), _LEAST_MISSED, 1.0)),
        shaken=_shortly_after(t_s, hits_s, SHAKEN_S),
        flicker=np.column_stack([_first_after(t_s, events_s) for events_s in flickers_s]),
        launching=at_instants(*launcher, t_s) > 0,
        grip=_grip(grips, grips_s, t_s),
        grips_found=grips.found,
        gap=_first_after(t_s, known.gaps_s[:, 1]),
        ways=ways,
        unplugged=tuple(_LEVELS[robot.beams[name].unplugged] for name in beams),
    )
    return _with_room_to_move(evidence)


def capacity_of(robot: Robot) -> int:
    """The most pieces aboard: as the robot file says, or the usual number."""
    return robot.robot.capacity or max(_USUAL_CAPACITY, robot.robot.preload)


def may_carry_pieces(robot: Robot, motors: Mapping[str, MotorTrace]) -> Mapping[str, MotorTrace]:
    """The motors without those that the robot file gives another task: launcher, drive, arms with limits."""
    busy = {limit.motor for limit in robot.limits.values()}
    busy |= {robot.launcher.motor} if robot.launcher else set()
    busy |= set(robot.contact.drive)
    return {name: trace for name, trace in motors.items() if name not in busy}


def _with_room_to_move(evidence: Evidence) -> Evidence:
    """Put instants before those at which several pieces move at once, so that each step is one move.

    One for each further beam that changes at the same instant; before these, without a change, one for a
    piece that slips past a beam unseen, or that makes room for one that comes in; more on a belt that runs
    back, as pieces that it spits out touch; one a beam where a piece leaves and all behind it move up; and
    many for a silence of the log.
    """
    changing = np.maximum(np.abs(evidence.edge).sum(axis=1), 1)
    moves = evidence.edge.any(axis=1) | (evidence.grip == GRIPPED)
    quiet = moves + evidence.dip * evidence.level.shape[1]
    quiet += _TOUCHING_BACK * (moves & (evidence.direction < 0))
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
        grip=np.where(inserted & (evidence.grip[row] == GRIPPED), NOT_GRIPPED, evidence.grip[row]),
        gap=evidence.gap[row],
    )


def _clean(beam: Switching, bursts: tuple[Burst, ...], honest_s: float) -> Switching:
    """The signal without chatter, blinks, and broken dwells far shorter than this beam's usual pass.

    A sampled dwell may last up to a period longer than it was read.
    """
    steady = _across_bursts(without_bursts(beam, bursts, honest_s), bursts)
    steady = without_short(steady, _BLINK_S, np.ones(len(steady.t_s), dtype=bool))
    least_s = _SHORT_OF_USUAL * (usual_pass_s([steady]) or 0.0) - beam.period_s
    return without_short(steady, least_s, steady.on)


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
    ends_s = float(log.t_s[0]), float(log.t_s[-1])
    changes_s = np.unique(np.concatenate((*edges_s, dips_s, belt[0] if belt else (), ends_s)))
    moving = np.ones(len(changes_s)) if belt is None else np.nan_to_num(at_instants(*belt, changes_s))
    t_s = _with_ticks(changes_s, np.where(moving == 0, _TICK_AT_REST_S, _TICK_S))
    if not len(gaps_s):
        return t_s
    number = np.minimum(np.searchsorted(gaps_s[:, 1], t_s), len(gaps_s) - 1)
    return np.asarray(t_s[~((t_s > gaps_s[number, 0]) & (t_s < gaps_s[number, 1]))])


def _with_ticks(t_s: FloatArray, apart_s: FloatArray) -> FloatArray:
    """Instants with ticks put evenly between, no further apart than said from each on, (T,) both."""
    lasting_s = np.diff(t_s, append=t_s[-1:])
    parts = np.maximum(np.ceil(lasting_s / apart_s - 1e-9), 1).astype(np.intp)
    row = np.repeat(np.arange(len(t_s)), parts)
    place = np.arange(len(row)) - np.repeat(np.cumsum(parts) - parts, parts)
    return np.asarray(t_s[row] + lasting_s[row] * place / parts[row])


def _level(beam: Switching, bursts: tuple[Burst, ...], t_s: FloatArray) -> IntArray:
    held = at_instants(beam.t_s, beam.on.astype(float), t_s)
    for burst in bursts:
        held[(t_s >= burst.start_s) & (t_s < burst.end_s)] = UNKNOWN
    return np.nan_to_num(held, nan=UNKNOWN).astype(np.intp)


def _edges(level: IntArray) -> IntArray:
    """Where a beam's level is another than the last one known: 1 as it breaks, -1 as it clears, (T, B)."""
    known = _held(level, level != UNKNOWN)
    before = np.concatenate((known[:1], known[:-1]))
    changed = (known != before) & (before != UNKNOWN)
    return np.where(changed, np.where(known == 1, 1, -1), 0)


def _held(level: IntArray, known: BoolArray) -> IntArray:
    """The last level known at each instant, or `UNKNOWN`, all (T, B)."""
    row = np.arange(len(level))[:, None]
    last = np.maximum.accumulate(np.where(known, row, -1), axis=0)
    return np.where(last < 0, UNKNOWN, np.take_along_axis(level, np.maximum(last, 0), axis=0))


def _tails(last: Switching, dips_s: FloatArray, tail_s: float, *, most: int) -> FloatArray:
    """From when until when a piece that has left still breaks the last beam, (k, 2).

    Where it does not clear for more dips than there are pieces aboard at most, it is stuck.
    """
    standing = at_instants(last.t_s, last.on.astype(float), dips_s) == 1
    gripped_s = dips_s[standing & (tail_s > 0)]
    cleared_s = np.append(last.t_s[1:][~last.on[1:]], np.inf)
    clearing = np.searchsorted(cleared_s, gripped_s, side="right")
    in_a_row = np.bincount(clearing, minlength=len(cleared_s))[clearing]
    until_s = np.minimum(gripped_s + tail_s, cleared_s[clearing])
    return np.asarray(np.column_stack((gripped_s, until_s))[in_a_row <= most])


def _without_tails(
    level: IntArray, edge: IntArray, t_s: FloatArray, tails_s: FloatArray
) -> tuple[IntArray, IntArray]:
    """Level and edges of the last beam, both (T,), as they are where pieces that have left do not count.

    As one has gone the beam does not clear, or the next one has come.
    """
    level, edge = level.copy(), edge.copy()
    for begins_s, ends_s in tails_s:
        level[(t_s >= begins_s) & (t_s < ends_s) & (level == 1)] = UNKNOWN
        over = np.searchsorted(t_s, ends_s)
        if over < len(t_s):
            edge[over] += edge[over] < 0 or level[over] == 1
    return level, edge


def _at_breaks(grips_s: FloatArray, first: Switching) -> FloatArray:
    """The grips, (k,), each at the break of the first beam that is near it and no other grip is nearer to."""
    breaks_s = first.t_s[1:][first.on[1:]]
    if not len(breaks_s) or not len(grips_s):
        return grips_s
    apart_s = np.abs(grips_s[:, None] - breaks_s)
    theirs, of_break = apart_s.argmin(axis=1), apart_s.argmin(axis=0)
    own = (of_break[theirs] == np.arange(len(grips_s))) & (apart_s.min(axis=1) <= _GRIP_NEAR_S)
    return np.asarray(np.where(own, breaks_s[theirs], grips_s))


def _grip(grips: Grips, grips_s: FloatArray, t_s: FloatArray) -> IntArray:
    would_show = np.nan_to_num(at_instants(*grips.driven, t_s)) > 0
    gripped = _first_after(t_s, grips_s)
    return np.where(gripped, GRIPPED, np.where(would_show, NOT_GRIPPED, NOT_TOLD))


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


def _lead_flickers_s(
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
    shaken = _shortly_after(at_s[first], hits_s, SHAKEN_S)
    few: FloatArray = ends_s[(number >= np.where(shaken, 1, _LEAST_FLICKER)) & (number <= _MOST_FLICKER)]
    return few

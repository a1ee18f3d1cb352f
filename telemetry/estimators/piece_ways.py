"""How pieces go from beam to beam: how fast, how many find room, and where they are held."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.belt import running_clocks
from telemetry.estimators.bursts import LONGEST_PASS_S, usual_pass_s
from telemetry.log import BoolArray, FloatArray
from telemetry.records.sensors import Switching
from telemetry.signals import at_instants, dwells

__all__ = ["Steps", "Ways", "learn_ways"]

Steps = tuple[FloatArray, FloatArray]
"""When something changes, and what it is from then on; each (k,)."""

_ALWAYS: Steps = np.zeros(1), np.ones(1)
_USUAL_PASS_S = 0.2
_TRAVEL_PASSES, _LEAST_TRAVEL_S, _LINGERS = 2.0, 0.3, 1.5
_LEAST_ARRIVALS, _SOME, _SPANNED_TO_ONE = 3, 0.25, 3
_GRIPPED_S = 0.5
_LEAST_WAYS, _GIVES_WAY, _LONGEST_WAY = 5, 0.05, 4.0
_NEIGHBOURS = 5


@dataclass(frozen=True, eq=False)
class Ways:
    """What B beams told of the ways between them.

    Attributes:
        travel_s: (2, B - 1): mean time in which a piece on a free belt goes from one beam to the next, with
            the launcher at rest and up to speed; infinite where that is not known.
        passing_s: (2, B): time in which pieces on a running belt have passed each beam, likewise.
        held: (2, B): pieces are held before the beam, and at it, until the launcher is up to speed.
        missed: (B,): chance that a piece passes a sound beam between two readings.
        room: for each two beams how many pieces find room between them, None where the log does not tell.
        room_past: how many find room between the last beam and the launcher, likewise.
        kept: pieces pass the last beam with the launcher at rest, and wait behind it until it is up to speed.
        gripped_s: time in which a launcher that is up to speed takes a piece that is past the last beam, on
            a running belt; infinite where pieces wait there.
        spanned: for each two beams whether a piece stands at both at once.
        tail_s: for how long a piece that the launcher has gripped still breaks the last beam.
    """

    travel_s: FloatArray
    passing_s: FloatArray
    held: BoolArray
    missed: FloatArray
    room: tuple[int | None, ...]
    room_past: int | None
    kept: bool
    gripped_s: float
    spanned: tuple[bool, ...]
    tail_s: float


def learn_ways(beams: Sequence[Switching], belt: Steps | None, launcher: Steps, dips_s: FloatArray) -> Ways:
    """The ways between beams in the order of their stations.

    `belt` is its direction, 1 forward, None where it is not known; `launcher` 1 while it is up to speed, and
    `dips_s` when it met a piece.
    """
    pass_s = usual_pass_s(beams) or _USUAL_PASS_S
    travel_s = _travel_s(beams, belt, launcher, pass_s)
    return Ways(
        travel_s=travel_s,
        passing_s=_passing_s(beams, belt, launcher, travel_s, pass_s),
        held=np.stack([_held(beams, launcher, breaks=breaks) for breaks in (True, False)]),
        missed=np.array([_missed(beam, pass_s) for beam in beams]),
        room=tuple(_room(here, there, belt, launcher, dips_s) for here, there in pairwise(beams)),
        room_past=_room_past(beams[-1], launcher, dips_s),
        kept=_kept(beams[-1], launcher),
        gripped_s=np.inf if _wait_past(beams[-1], dips_s) else _GRIPPED_S,
        spanned=tuple(_spanned(here, there, belt or _ALWAYS) for here, there in pairwise(beams)),
        tail_s=_tail_s(beams[-1], dips_s),
    )


def _travel_s(
    beams: Sequence[Switching],
    belt: Steps | None,
    launcher: Steps,
    pass_s: float,
) -> FloatArray:
    """Mean time on a belt that runs forward from one beam clearing to the next breaking, (2, B - 1).

    By the median of an exponential over the arrivals in each of the two ways of running, of the time in which
    the next beam was clear; after too few, the usual time, a few passes. Where the belt's direction is not
    known, all time counts, and too few say nothing; nor do they of the launcher at rest before a beam that
    pieces hardly reach then: they may be held there.
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
            if arrivals.sum() >= _LEAST_ARRIVALS:
                found[mode, place] = np.median(spent_s[mode, 0, arrivals]) / np.log(2)
            elif belt is None or not (mode or reached):
                found[mode, place] = np.inf
    return np.asarray(np.maximum(found, _LEAST_TRAVEL_S))


def _held(beams: Sequence[Switching], launcher: Steps, *, breaks: bool) -> BoolArray:
    """Whether a beam breaks, or clears, hardly ever with the launcher at rest though it does else, (B,)."""
    changes_s = [beam.t_s[1:][beam.on[1:] == breaks] for beam in beams]
    at_rest = np.array([(at_instants(*launcher, at_s) == 0).sum() for at_s in changes_s])
    number = np.array([len(at_s) for at_s in changes_s])
    return np.asarray((number >= _LEAST_ARRIVALS) & (at_rest < _SOME * number))


def _missed(beam: Switching, pass_s: float) -> float:
    """Chance of a pass between two readings: none of the usual length twice their distance and more.

    A reading may be late or lost, so it is taken to grow from there to a half where a pass is as long as the
    readings are apart.
    """
    usual_s = usual_pass_s([beam]) or pass_s
    return float(np.clip(beam.period_s / usual_s - 0.5, 0.0, 0.5))


def _while_clear(belt: Steps, beam: Switching) -> Steps:
    """The belt's direction as steps, 0 while the beam is broken."""
    changes_s = np.unique(np.concatenate((belt[0], beam.t_s)))
    clear = np.nan_to_num(at_instants(beam.t_s, beam.on.astype(float), changes_s)) == 0
    return changes_s, np.where(clear, np.nan_to_num(at_instants(*belt, changes_s)), 0.0)


def _passing_s(
    beams: Sequence[Switching],
    belt: Steps | None,
    launcher: Steps,
    travel_s: FloatArray,
    pass_s: float,
) -> FloatArray:
    """Time on a belt that runs forward within which nine in ten pieces have passed each beam, (2, B).

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
                found[mode, place] = np.percentile(spent_s[mode, 0, passed], 90)
    return np.asarray(np.maximum(found, _LINGERS * pass_s))


def _ways(here: Switching, there: Switching) -> tuple[FloatArray, FloatArray]:
    """When one beam cleared, and when the next one broke after that; each (k,)."""
    left_s, arrived_s = here.t_s[1:][~here.on[1:]], there.t_s[1:][there.on[1:]]
    next_one = np.searchsorted(arrived_s, left_s)
    came = next_one < len(arrived_s)
    return np.asarray(left_s[came]), np.asarray(arrived_s[next_one[came]])


def _spanned(here: Switching, there: Switching, belt: Steps) -> bool:
    """Whether a piece, as it clears one beam, has broken the next already, and does not only then.

    Each time that the first beam is broken, by one piece or by several that touch, the last one tells. On a
    belt that stops between pieces the one ahead is pushed on by the next, so that most find the next beam
    broken; but not those that came first. One in four may fall out again, or meet a next beam that fails.
    Those that a belt running back takes off the first beam tell nothing.
    """
    broke_s = here.t_s[here.on]
    cleared_s = broke_s + dwells(here.t_s, here.end_s)[here.on]
    until_s = np.minimum(np.append(broke_s[1:], np.inf), cleared_s + LONGEST_PASS_S)
    arrived_s = there.t_s[1:][there.on[1:]]
    came = np.searchsorted(arrived_s, np.stack((broke_s, cleared_s, until_s)), side="right")
    after = came[2] > came[1]
    stands = at_instants(there.t_s, there.on.astype(float), cleared_s) == 1
    before = (came[1] > came[0]) & stands & ~after
    back = at_instants(*belt, cleared_s) < 0
    refuted = (came[1] == came[0]) & ~stands & (came[1] < len(arrived_s)) & ~back
    others = np.maximum(after.sum(), _SPANNED_TO_ONE * refuted.sum())
    return bool(before.sum() >= _LEAST_ARRIVALS and before.sum() > others)


def _room(
    here: Switching, there: Switching, belt: Steps | None, launcher: Steps, dips_s: FloatArray
) -> int | None:
    """How many pieces, one behind the other, find room between two beams; None after too few quick ways.

    On its way a piece covers the distance in the time from breaking one beam to breaking the next, and its
    own length in the time for which it breaks the first, both while the belt runs: their ratio is the
    distance in piece lengths. Only the piece that comes first after a release is sure to be the one that
    breaks the next beam; after too few of these all count. Pieces that wait on the way make it larger, so the
    lower quartile counts.
    """
    lasting = dwells(here.t_s, here.end_s)
    passes = here.on & (lasting < LONGEST_PASS_S)
    broke_s = here.t_s[passes]
    arrived_s = there.t_s[1:][there.on[1:]]
    next_one = np.searchsorted(arrived_s, broke_s, side="right")
    came = next_one < len(arrived_s)
    if came.sum() < _LEAST_WAYS:
        return None
    alone = came & _nothing_ahead(here.t_s[here.on], arrived_s)[passes[here.on]]
    first = came & (np.diff(np.searchsorted(dips_s, broke_s), prepend=0) > 0)
    counted = alone if alone.any() else first if first.any() else came
    times_s = np.stack(
        (broke_s, broke_s + lasting[passes], arrived_s[np.minimum(next_one, len(arrived_s) - 1)])
    )
    run_s = running_clocks(belt or _ALWAYS, launcher, times_s[:, counted]).sum(axis=0)
    run_s = run_s[:, run_s[1] > run_s[0]]
    if not run_s.shape[1]:
        return None
    lengths = (run_s[2] - run_s[0]) / (run_s[1] - run_s[0])
    usual_s = float(np.median(run_s[1] - run_s[0]))
    return _whole(float(np.percentile(lengths, 25)), here.period_s / usual_s)


def _nothing_ahead(broke_s: FloatArray, arrived_s: FloatArray) -> BoolArray:
    """Which pieces find none on the way to the next beam, (n,), out of when one beam and the next broke.

    The number on the way is how many more came to the first than to the second, but for a few that either
    missed or that went back: so its least among those just before and after stands for none.
    """
    ahead = np.arange(len(broke_s)) - np.searchsorted(arrived_s, broke_s)
    if not len(ahead):
        return np.zeros(0, dtype=bool)
    padded = np.pad(ahead, _NEIGHBOURS, mode="edge")
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * _NEIGHBOURS + 1)
    return np.asarray(ahead == around.min(axis=1))


def _whole(lengths: float, misread: float) -> int:
    """How many pieces find room in a way of so many lengths: with a twentieth to spare, for they give way,
    and the share of a length by which readings that far apart may be wrong."""
    return max(1, int((1 + _GIVES_WAY + misread) * lengths))


def _room_past(last: Switching, launcher: Steps, dips_s: FloatArray) -> int | None:
    """How many pieces find room between the last beam and the launcher; None after too few.

    The last piece of a train leaves the beam behind it and reaches the launcher at its last dip before the
    next piece comes, after as many lengths as it covers in as many times a pass; it is one length past the
    beam already. Without a dip it was in the launcher while it stood at the beam. The median counts. None
    too where pieces wait there.
    """
    broke_s, cleared_s = last.t_s[:-1][last.on[:-1]], last.t_s[1:][last.on[:-1]]
    up = at_instants(*launcher, cleared_s) > 0
    if up.sum() < _LEAST_WAYS or len(dips_s) < up.sum() / 2 or _wait_past(last, dips_s):
        return None
    pass_s = float(np.percentile((cleared_s - broke_s)[up], 25))
    until_s = np.minimum(np.append(broke_s[1:], last.end_s), cleared_s + _LONGEST_WAY * pass_s)
    before = np.searchsorted(dips_s, until_s)
    met = before > np.searchsorted(dips_s, cleared_s)
    late_s = np.where(met, dips_s[np.maximum(before - 1, 0)] - cleared_s, 0.0)
    lengths = float(np.median((1 + late_s / pass_s)[up]))
    return _whole(lengths, last.period_s / pass_s)


def _wait_past(last: Switching, dips_s: FloatArray) -> bool:
    """Whether the launcher meets hardly a piece soon after it left the last beam, by enough dips to tell."""
    broke_s, cleared_s = last.t_s[:-1][last.on[:-1]], last.t_s[1:][last.on[:-1]]
    usual_s = usual_pass_s([last])
    if usual_s is None or len(dips_s) < _LEAST_WAYS:
        return False
    until_s = cleared_s + _LONGEST_WAY * usual_s
    soon = np.searchsorted(dips_s, until_s) > np.searchsorted(dips_s, broke_s)
    return bool(soon.sum() < _SOME * len(soon))


def _kept(last: Switching, launcher: Steps) -> bool:
    """Whether the last beam clears mostly with the launcher at rest, which comes up to speed at times."""
    cleared_s = last.t_s[1:][~last.on[1:]]
    at_rest = (at_instants(*launcher, cleared_s) == 0).sum()
    return bool((launcher[1] > 0).any() and at_rest >= max(_LEAST_WAYS, (1 - _SOME) * len(cleared_s)))


def _tail_s(last: Switching, dips_s: FloatArray) -> float:
    """For how long a piece may still break the last beam after the dip that it made; 0 where it does not.

    Told by the pieces that leave alone, so that the beam clears within a pass of the dip: nine in ten of
    them, and two readings more. Where most have cleared it before the dip, or clear it at other times, there
    is no tail.
    """
    pass_s = usual_pass_s([last])
    cleared_s = last.t_s[1:][~last.on[1:]]
    if pass_s is None or not len(cleared_s) or not len(dips_s):
        return 0.0
    near = np.clip(np.searchsorted(cleared_s, dips_s) + np.array([[-1], [0]]), 0, len(cleared_s) - 1)
    late_s = cleared_s[near] - dips_s
    late_s = late_s[np.abs(late_s).argmin(axis=0), np.arange(len(dips_s))]
    alone_s = late_s[np.abs(late_s) <= pass_s]
    few = len(alone_s) < max(_LEAST_ARRIVALS, _SOME * min(len(dips_s), len(cleared_s)))
    if few or np.median(alone_s) < -2 * last.period_s:
        return 0.0
    return float(np.percentile(alone_s, 90).clip(min=0) + 2 * last.period_s)

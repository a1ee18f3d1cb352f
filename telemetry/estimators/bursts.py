"""Bursts of switching too quick for a piece or a hand: where a beam or limit chatters."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from telemetry.log import BoolArray, FloatArray
from telemetry.records.sensors import Burst, Switching
from telemetry.signals import dwells, steps

__all__ = [
    "LONGEST_PASS_S",
    "find_bursts",
    "find_limit_bursts",
    "shortest_honest_dwell_s",
    "shows_a_pass",
    "usual_pass_s",
    "without_bursts",
    "without_short",
]

_USUAL_S, _FAST_BELT_M_S = 0.06, 1.5
_FLOOR_S, _CEILING_S = 0.03, 0.10
_WITHIN_S = 1.0
_QUICK_S, _LONGER_S, _MORE = 0.3, 1.5, 3
_LIMIT_QUICK_S = 0.2
_LEAST_SHORT, _LEAST_OF_BURST = 4, 3
_USUAL_CAPACITY, _MOST_IN_A_SECOND = 3, 10
_SETTLE_S = 0.015
"""A mechanical switch has settled by then (common practice, no source)."""
_HUMPS_APART = 4.0
_SHARE_OF_PASS = 0.4
LONGEST_PASS_S = 1.0
"""A piece that breaks a beam for longer rests there."""
_LEAST_DWELLS = 12
_RESOLVED = 0.35
"""A pass shows where one period of the readings is no more than this share of it."""


def usual_pass_s(beams: Iterable[Switching]) -> float | None:
    """The usual time for which a piece in motion breaks a beam; None where none ever did.

    The median over the beams of each one's median: a beam that chatters does not decide it.
    """
    passes = [dwells(beam.t_s, beam.end_s)[beam.on] for beam in beams]
    brief = [lasting[lasting < LONGEST_PASS_S] for lasting in passes]
    medians = [float(np.median(lasting)) for lasting in brief if len(lasting)]
    return float(np.median(medians)) if medians else None


def shows_a_pass(beams: Mapping[str, Switching], name: str) -> bool:
    """Whether a beam is read often enough to show the usual pass; taken as so where none is known."""
    pass_s = usual_pass_s(beams.values())
    return pass_s is None or beams[name].period_s <= _RESOLVED * pass_s


def shortest_honest_dwell_s(
    signal: Switching, pass_s: float | None = None, piece_length_m: float | None = None
) -> float:
    """The dwell below which a change is too quick for a piece or a hand.

    Two-component mixture of Gaussians on the logarithm of the dwells, by expectation-maximisation; the
    valley between the humps serves where they stand at least a factor of four apart, held within 30 to
    100 ms. Else 60 ms, or for a short piece the time in which a fast belt, 1.5 m/s, carries it by (common
    practice, no source). Neither exceeds 0.4 of the usual pass where that is given; a sampled signal cannot
    show less than its own period, so one and a half of them is the least.
    """
    lasting = dwells(signal.t_s, signal.end_s)[1:-1]
    lasting = lasting[lasting > 0]
    valley_s = _valley_s(lasting) if len(lasting) >= _LEAST_DWELLS else None
    usual_s = min(_USUAL_S, piece_length_m / _FAST_BELT_M_S) if piece_length_m else _USUAL_S
    honest_s = usual_s if valley_s is None else min(valley_s, _CEILING_S)
    if pass_s is not None:
        honest_s = min(honest_s, _SHARE_OF_PASS * pass_s)
    return max(honest_s, _FLOOR_S, 1.5 * signal.period_s)


def find_bursts(
    signal: Switching, honest_s: float, capacity: int | None, *, pass_s: float | None = None
) -> tuple[Burst, ...]:
    """Stretches of a beam with more short dwells in one second than a robot full of pieces could make.

    Or with more changes in a second and a half, however long each dwell: at a low rate a bounce looks longer
    than it is. Not a volley that a launcher pulls through, whose passes and clear moments are short as well.
    `capacity` is the most pieces aboard, `pass_s` the usual pass; None where they are not known.
    """
    resolved = signal.period_s <= _RESOLVED * pass_s if pass_s else honest_s > 1.5 * signal.period_s
    pieces = min(capacity or _USUAL_CAPACITY, _MOST_IN_A_SECOND)
    too_short = _crowded(signal, honest_s, _WITHIN_S, _least_short(pieces, resolved=resolved))
    too_many = _crowded(signal, _QUICK_S, _LONGER_S, 2 * pieces + _MORE)
    found = _bursts(signal, np.union1d(too_short, too_many))
    return tuple(burst for burst in found if not _may_be_a_volley(signal, burst, pieces))


def _may_be_a_volley(signal: Switching, burst: Burst, pieces: int) -> bool:
    """Whether the beam broke no oftener than there are pieces, and never too briefly for any piece."""
    cleared_s = np.append(signal.t_s[1:], signal.end_s)
    breaks = signal.on & (signal.t_s <= burst.end_s) & (cleared_s >= burst.start_s)
    return burst.shortest_s > _FLOOR_S + signal.period_s and int(breaks.sum()) <= pieces


def find_limit_bursts(signal: Switching, honest_s: float) -> tuple[Burst, ...]:
    """The same of a limit. The few milliseconds in which a mechanical switch settles are left out.

    At a low rate a bounce looks longer than it is: then more dwells, each somewhat longer, count as well.
    """
    settled = _settled(signal)
    too_short = _crowded(settled, honest_s, _WITHIN_S, _LEAST_SHORT)
    too_many = _crowded(settled, _LIMIT_QUICK_S, _WITHIN_S, _LEAST_SHORT + 1)
    return _bursts(settled, np.union1d(too_short, too_many))


def _least_short(pieces: int, *, resolved: bool) -> int:
    """One more short dwell than a volley of all pieces makes in a second.

    Of touching pieces only the clear moments between are short; at a rate that hardly resolves a pass, the
    passes are as well.
    """
    return max(_LEAST_SHORT, pieces + 1 if resolved else 2 * pieces)


def _settled(signal: Switching) -> Switching:
    """Without the short dwells just after a switch that had kept still moved."""
    if not len(signal.t_s):
        return signal
    lasting = dwells(signal.t_s, signal.end_s)
    had_kept_still = np.concatenate(([True], lasting[:-1] >= _SETTLE_S))
    moved_s = signal.t_s[np.maximum.accumulate(np.where(had_kept_still, np.arange(len(lasting)), 0))]
    return without_short(signal, _SETTLE_S, signal.t_s - moved_s < _SETTLE_S)


def _crowded(signal: Switching, below_s: float, within_s: float, least: int) -> NDArray[np.intp]:
    """The numbers of the dwells shorter than `below_s` of which at least so many fall within a time."""
    short = dwells(signal.t_s, signal.end_s) < below_s
    if len(short):
        short[[0, -1]] = False
    number = np.flatnonzero(short)
    at = signal.t_s[number]
    crowd = np.searchsorted(at, at + within_s, side="right") - np.arange(len(at))
    first = np.flatnonzero(crowd >= least)
    opened = np.zeros(len(at) + 1, dtype=np.intp)
    np.add.at(opened, first, 1)
    np.add.at(opened, first + crowd[first], -1)
    return np.asarray(number[np.cumsum(opened)[:-1] > 0])


def _bursts(signal: Switching, number: NDArray[np.intp]) -> tuple[Burst, ...]:
    """The bursts that the dwells of these numbers make: each begins within a second of the one before."""
    if not len(number):
        return ()
    lasting = dwells(signal.t_s, signal.end_s)
    apart = np.flatnonzero(np.diff(signal.t_s[number]) > _WITHIN_S) + 1
    groups = (group for group in np.split(number, apart) if len(group) >= _LEAST_OF_BURST)
    return tuple(_burst(group, signal.t_s, lasting) for group in groups)


def without_bursts(signal: Switching, bursts: tuple[Burst, ...], honest_s: float) -> Switching:
    """The signal with short dwells taken out inside bursts; outside them every edge stays."""
    inside = np.zeros(len(signal.t_s), dtype=bool)
    for burst in bursts:
        inside |= (signal.t_s >= burst.start_s - honest_s) & (signal.t_s <= burst.end_s + honest_s)
    return without_short(signal, honest_s, inside)


def without_short(signal: Switching, least_s: float, where: BoolArray) -> Switching:
    """The signal without the dwells shorter than `least_s` among the steps named by `where`, (n,)."""
    keep = (dwells(signal.t_s, signal.end_s) >= least_s) | ~where
    if len(keep):
        keep[0] = True
    t_s, on = steps(signal.t_s[keep], signal.on[keep])
    return Switching(t_s, on, signal.end_s, signal.period_s)


def _burst(number: NDArray[np.intp], t_s: FloatArray, lasting_s: FloatArray) -> Burst:
    """A burst by the numbers of its short dwells."""
    lasted_s = lasting_s[number]
    return Burst(
        start_s=float(t_s[number[0]]),
        end_s=float(t_s[number[-1]] + lasted_s[-1]),
        edges=_extra_edges(number),
        shortest_s=float(lasted_s.min()),
        median_s=float(np.median(lasted_s)),
    )


def _extra_edges(number: NDArray[np.intp]) -> int:
    """Edges that go when the short dwells go: of k in a row k, and one more where k is odd."""
    in_a_row = np.diff(np.concatenate(([-1], np.flatnonzero(np.diff(number) > 1), [len(number) - 1])))
    return int((in_a_row + in_a_row % 2).sum())


def _valley_s(lasting_s: FloatArray) -> float | None:
    """Where two humps of the log-dwells are equally likely, or None where there is one hump."""
    x = np.log(lasting_s)
    mean = np.percentile(x, (15, 85))
    spread = np.full(2, max(float(x.std()) / 2, 0.1))
    share = np.full(2, 0.5)
    for _ in range(60):
        density = share * np.exp(-0.5 * ((x[:, None] - mean) / spread) ** 2) / spread
        belongs = density / np.maximum(density.sum(axis=1, keepdims=True), 1e-300)
        weight = np.maximum(belongs.sum(axis=0), 1e-9)
        mean = (belongs * x[:, None]).sum(axis=0) / weight
        spread = np.sqrt((belongs * (x[:, None] - mean) ** 2).sum(axis=0) / weight)
        spread = np.maximum(spread, 0.1)
        share = weight / len(x)
    if mean[1] - mean[0] < np.log(_HUMPS_APART) or share.min() < 0.05:
        return None
    between = np.linspace(mean[0], mean[1], 200)
    density = share * np.exp(-0.5 * ((between[:, None] - mean) / spread) ** 2) / spread
    return float(np.exp(between[np.argmin(density.sum(axis=1))]))

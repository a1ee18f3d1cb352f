"""Pieces that an intake grips, seen as bumps of its current.

A roller that takes hold of a piece draws more for as long as it drags it in. How much more the log itself
tells: by what the current does where the first beam breaks. So entries can be told that this beam misses.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Switching
from telemetry.signals import at_instants, period_s, runs

__all__ = ["NO_GRIPS", "Grips", "find_grips"]

_LOOKBACK_S, _SMOOTHED_S, _SETTLED_S = 0.4, 0.1, 0.5
_NEAR_S = 0.3
"""A bump is at most so far from when its piece breaks the beam, and half as far from the usual time."""
_LEAST_ENTRIES, _LEAST_FOUND, _MOST_BY_CHANCE = 5, 0.7, 0.25
_OF_USUAL, _NOISE_TIMES = 0.5, 3.0
_MOST_FOUND = 0.95
_MEDIAN_SIZE = 0.6745


@dataclass(frozen=True, eq=False)
class Grips:
    """What an intake's current tells of pieces that come in.

    Attributes:
        t_s: (k,): when a piece reached the first beam, by the bumps.
        found: share of the pieces that show a bump while the intake is driven.
        driven: as steps, times and states: whether the intake was driven long enough to show one.
    """

    t_s: FloatArray
    found: float
    driven: tuple[FloatArray, FloatArray]


NO_GRIPS = Grips(np.empty(0), 0.0, (np.zeros(1), np.zeros(1)))


def find_grips(motors: Mapping[str, MotorTrace], first: Switching) -> Grips:
    """The bumps of the motor whose current tells best of the first beam's breaks; none where none does.

    A bump is at least half of what is usual at these breaks and three times the noise. At least seven in ten
    of them must show one, where bumps at any time would be near no more than a quarter of them.
    """
    entries_s = first.t_s[1:][first.on[1:]]
    if len(entries_s) < _LEAST_ENTRIES:
        return NO_GRIPS
    told = [_grips_of(trace, entries_s) for trace in motors.values()]
    return max(told, key=lambda grips: grips.found, default=NO_GRIPS)


def _grips_of(trace: MotorTrace, entries_s: FloatArray) -> Grips:
    apart_s = period_s(trace.t_s)
    if not apart_s or len(trace.t_s) * apart_s < _SETTLED_S:
        return NO_GRIPS
    rise, steady = _rise(trace, apart_s)
    settled = at_instants(trace.t_s, steady.astype(float), entries_s) > 0
    shown_s = entries_s[settled]
    if settled.sum() < _LEAST_ENTRIES:
        return NO_GRIPS
    usual = float(np.median(_highest_around(trace.t_s, rise, shown_s)))
    noise = float(np.median(np.abs(rise[steady] - np.median(rise[steady])))) / _MEDIAN_SIZE
    bumps_s = trace.t_s[runs(rise > max(_OF_USUAL * usual, _NOISE_TIMES * noise))[0]]
    late_s = _nearest(bumps_s, shown_s) - shown_s
    near = np.abs(late_s) <= _NEAR_S
    if not near.any():
        return NO_GRIPS
    usual_s = float(np.median(late_s[near]))
    found = float((np.abs(late_s - usual_s) <= _NEAR_S / 2).mean())
    by_chance = _NEAR_S * len(bumps_s) / (steady.sum() * apart_s)
    if found < _LEAST_FOUND or by_chance > _MOST_BY_CHANCE:
        return NO_GRIPS
    change = np.concatenate(([True], steady[1:] != steady[:-1]))
    driven = trace.t_s[change], steady[change].astype(float)
    return Grips(bumps_s - usual_s, min(found, _MOST_FOUND), driven)


def _rise(trace: MotorTrace, apart_s: float) -> tuple[FloatArray, BoolArray]:
    """The current above its mean of a moment before, A, (n,), and where it had been driven so long."""
    width = max(round(_SMOOTHED_S / apart_s), 1)
    before = max(round(_LOOKBACK_S / apart_s), 2)
    settled = max(round(_SETTLED_S / apart_s), 2)
    until = np.concatenate(([0.0], np.cumsum(np.nan_to_num(trace.current_a))))
    idle = np.concatenate(([0], np.cumsum(~trace.driven)))
    here = np.arange(len(trace.t_s)) + 1
    start = np.maximum(here - width, 0)
    base = np.maximum(start - before, 0)
    now = (until[here] - until[start]) / np.maximum(here - start, 1)
    ago = (until[start] - until[base]) / np.maximum(start - base, 1)
    steady = (idle[here] == idle[np.maximum(here - settled, 0)]) & (here > settled)
    return np.where(steady, now - ago, 0.0), steady


def _highest_around(t_s: FloatArray, x: FloatArray, at_s: FloatArray) -> FloatArray:
    first, last = np.searchsorted(t_s, np.stack((at_s - _NEAR_S, at_s + _NEAR_S)))
    return np.array([x[a:b].max(initial=0.0) for a, b in zip(first, last, strict=True)])


def _nearest(candidates_s: FloatArray, at_s: FloatArray) -> FloatArray:
    """The candidate nearest to each instant, (n,); infinite where there is none."""
    if not len(candidates_s):
        return np.full(len(at_s), np.inf)
    right = np.clip(np.searchsorted(candidates_s, at_s), 0, len(candidates_s) - 1)
    left = np.maximum(right - 1, 0)
    nearer = np.abs(candidates_s[left] - at_s) <= np.abs(candidates_s[right] - at_s)
    return np.where(nearer, candidates_s[left], candidates_s[right])

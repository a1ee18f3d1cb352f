"""Pure array functions: spans, steps, holds, STA/LTA, two-threshold triggers, dips.

Times are float64 seconds, non-decreasing. True means flagged. Intervals are half-open.
"""

from __future__ import annotations

from weakref import ref

import numpy as np
from numpy.typing import NDArray

from telemetry.log import BoolArray, FloatArray

__all__ = [
    "GAP_PERIODS", "at_instants", "dips", "dwells", "filled", "hold_s", "integral", "lasting", "medians_by",
    "moving_median", "period_s", "runs", "spans", "sta_lta", "steps", "trigger", "within",
]  # fmt: skip

GAP_PERIODS = 3.0
"""After so many periods without a reading there is a gap."""


_PERIODS: dict[int, tuple[ref[FloatArray], float]] = {}


def period_s(t_s: FloatArray) -> float:
    """Median time between readings, shape (n,) -> seconds; 0 with fewer than two different instants.

    Worked out once for each clock that cannot change: a match asks for a handful of them a hundred times.
    """
    key, known = id(t_s), _PERIODS.get(id(t_s))
    if known is not None and known[0]() is t_s:
        return known[1]
    apart = np.diff(t_s)
    apart = apart[apart > 0]
    period = float(np.median(apart)) if len(apart) else 0.0
    if not t_s.flags.writeable:
        _PERIODS[key] = ref(t_s, lambda _: _PERIODS.pop(key, None)), period
    return period


def hold_s(t_s: FloatArray) -> float:
    """How long a sampled reading stands for: three periods, after which there is a gap."""
    return GAP_PERIODS * period_s(t_s)


def filled(values: FloatArray, otherwise: float = 0.0) -> FloatArray:
    """The values with `otherwise` for NaN, same shape; themselves, not a copy, where none is."""
    missing = np.isnan(values)
    return np.where(missing, otherwise, values) if missing.any() else values


def runs(flagged: BoolArray) -> tuple[np.ndarray, np.ndarray]:
    """First and one-past-last index of every run of True, each shape (k,)."""
    padded = np.concatenate(([False], flagged, [False]))
    change = np.flatnonzero(padded[1:] != padded[:-1])
    return change[::2], change[1::2]


def spans(
    t_s: FloatArray, flagged: BoolArray, end_s: float, longest_hold_s: float, bridge_s: float = 0.0
) -> FloatArray:
    """Intervals in which a sampled condition holds, shape (k, 2).

    Each flagged sample stands until the next sample, but no longer than `longest_hold_s`, so that nothing
    is said across a gap; the last one until `end_s`. Intervals no further apart than `bridge_s` are joined.
    """
    if not flagged.any():
        return np.empty((0, 2))
    at = np.flatnonzero(flagged)
    start, until = t_s[at], t_s[np.minimum(at + 1, len(t_s) - 1)]
    if flagged[-1]:
        until[-1] = max(end_s, float(t_s[-1]))
    stop = np.minimum(until, start + longest_hold_s)
    apart = np.flatnonzero(start[1:] - stop[:-1] > max(bridge_s, 1e-9))
    first = np.concatenate(([0], apart + 1))
    last = np.concatenate((apart, [len(start) - 1]))
    return np.column_stack((start[first], stop[last]))


def lasting(
    t_s: FloatArray, flagged: BoolArray, least_s: float, end_s: float, *, bridge_s: float = 0.0
) -> FloatArray:
    """Those of the `spans` of a sampled condition that last at least so long, shape (k, 2)."""
    found = spans(t_s, flagged, end_s, hold_s(t_s), bridge_s=bridge_s)
    return np.asarray(found[found[:, 1] - found[:, 0] >= least_s - 1e-6])


def within(t_s: FloatArray, intervals_s: FloatArray) -> BoolArray:
    """Where an instant lies in one of the half-open intervals, shape (n,); they are (k, 2) and in order."""
    if not len(intervals_s):
        return np.zeros(len(t_s), dtype=bool)
    number = np.searchsorted(intervals_s[:, 0], t_s, side="right") - 1
    return np.asarray((number >= 0) & (t_s < intervals_s[np.maximum(number, 0), 1]))


def steps(t_s: FloatArray, on: BoolArray) -> tuple[FloatArray, BoolArray]:
    """The readings at which a two-state signal changes, the first one included: times and states, (k,)."""
    if not len(on):
        return t_s[:0], on[:0]
    keep = np.concatenate(([True], on[1:] != on[:-1]))
    return t_s[keep], on[keep]


def dwells(t_s: FloatArray, end_s: float) -> FloatArray:
    """How long each step of a two-state signal lasts, shape (n,), the last one until `end_s`."""
    return np.diff(np.append(t_s, max(end_s, float(t_s[-1])) if len(t_s) else end_s))


def at_instants(t_s: FloatArray, values: FloatArray, instants_s: FloatArray) -> FloatArray:
    """The last value logged at or before each instant, shape (m,); NaN before the first."""
    if not len(t_s):
        return np.full(len(instants_s), np.nan)
    index = np.searchsorted(t_s, instants_s, side="right") - 1
    return np.where(index >= 0, values[np.maximum(index, 0)], np.nan)


def moving_median(t_s: FloatArray, values: FloatArray, width_s: float) -> FloatArray:
    """Median of the samples within half of `width_s` to either side of each, shape (n,).

    Worked out ten times per width, straight lines between; over the ends the last value is held on. Counted
    in samples by the usual period, so that a gap narrows nothing.
    """
    apart_s = period_s(t_s)
    if apart_s == 0:
        return np.full(len(values), np.median(values) if len(values) else 0.0)
    half = max(1, round(width_s / 2 / apart_s))
    every = max(1, half // 5)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(values, half, mode="edge"), 2 * half + 1)
    return np.interp(t_s, t_s[::every], np.median(around[::every], axis=1))


def integral(t_s: FloatArray, values: FloatArray, longest_hold_s: float) -> float:
    """Trapezoidal integral over time; steps longer than `longest_hold_s` (gaps) are left out."""
    apart = np.diff(t_s)
    area = apart * (values[1:] + values[:-1]) / 2
    return float(area[apart <= longest_hold_s].sum())


def medians_by(group: NDArray[np.intp], values: FloatArray, groups: int) -> FloatArray:
    """Median of the values of each group 0 … `groups` - 1, shape (groups,); 0 for an empty one."""
    parts = (values[group == number] for number in range(groups))
    return np.array([float(np.median(part)) if len(part) else 0.0 for part in parts])


def sta_lta(x: FloatArray, short: int, long: int) -> FloatArray:
    """Classic ratio of short-term to long-term mean of x², shape (n,); 0 before sample `long` - 1.

    Source: Allen 1978 (BSSA 68); Withers et al. 1998 (BSSA 88, 95-106).
    """
    if not 0 < short <= long:
        raise ValueError(f"short ({short}) must be at least 1 and at most long ({long})")
    if len(x) < long:
        return np.zeros(len(x))
    energy = np.concatenate(([0.0], np.cumsum(x * x)))
    at = np.arange(long, len(energy))
    sta = (energy[at] - energy[at - short]) / short
    lta = (energy[at] - energy[at - long]) / long
    ratio = np.zeros(len(x))
    np.divide(sta, lta, out=ratio[long - 1 :], where=lta > np.finfo(float).tiny)
    return ratio


def trigger(level: FloatArray, on: float, off: float) -> np.ndarray:
    """Two-threshold trigger: [first sample above `on`, last sample still above `off`], shape (k, 2).

    A trigger still on at the end closes with the last sample. Source: as `sta_lta`.
    """
    if off > on:
        raise ValueError(f"off level {off} lies above on level {on}")
    start, stop = runs(level > off)
    fires = np.concatenate(([0], np.cumsum(level > on)))
    kept = fires[stop] > fires[start]
    start, stop = start[kept], stop[kept]
    above = np.flatnonzero(level > on)
    first = above[np.searchsorted(above, start)] if len(start) else start
    return np.column_stack((first, stop - 1))


def dips(voltage_v: FloatArray, threshold_v: float, hysteresis_v: float) -> list[tuple[int, int, float]]:
    """Voltage dips: (start index, end index, residual voltage).

    A dip starts with the first sample below the threshold and ends with the first at or above threshold
    plus hysteresis; one still open at the end has the number of samples as its end index. Source:
    IEC 61000-4-30, the definitions of dip, hysteresis and residual voltage.
    """
    start, stop = runs(voltage_v < threshold_v + hysteresis_v)
    below = np.flatnonzero(voltage_v < threshold_v)
    found = []
    for left, right in zip(start, stop, strict=True):
        at = np.searchsorted(below, left)
        if at < len(below) and below[at] < right:
            first = int(below[at])
            found.append((first, int(right), float(voltage_v[first:right].min())))
    return found

"""Distance sensors: how much they tremble, where they jump, and which threshold would have counted right."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from telemetry.log import Channel, FloatArray, Log
from telemetry.records.sensors import RangeUse
from telemetry.robot import Robot
from telemetry.signals import period_s, runs

__all__ = ["LONGEST_PERIOD_S", "find_range_use"]

LONGEST_PERIOD_S = 0.041
"""Read more seldom than that, a jump and a passing piece look alike: both are one or two readings."""

_JUMP_S = 0.07
"""A piece is in view for longer than a jump lasts (foam pieces at belt speed; common practice, no source)."""
_TIMES_NOISE, _OF_SPREAD = 8.0, 0.12
_LEAST_SAMPLES = 20
_HUMPS_APART, _LEAST_SHARE = 4.0, 0.005
_BINS = 128
_SHARES = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8)


def find_range_use(log: Log, robot: Robot) -> Mapping[str, RangeUse]:
    """What each distance sensor did; those read too seldom, or logged on change only, are left out."""
    found = {}
    for name, sensor in robot.ranges.items():
        channel = log.channels.get(sensor.signal)
        if channel is None or not channel.sampled or len(channel.values) < _LEAST_SAMPLES:
            continue
        if 0 < period_s(channel.t_s) <= LONGEST_PERIOD_S:
            found[name] = _use(channel, sensor.near)
    return MappingProxyType(found)


def _use(channel: Channel, near: float | None) -> RangeUse:
    t_s, read = channel.t_s, channel.values
    apart_s = period_s(t_s)
    calm = _calm(read, apart_s)
    noise = 1.4826 * float(np.median(np.abs(np.diff(read)))) / 2**0.5
    humps = _humps(calm, noise)
    spread = humps[1] - humps[0] if humps else float(np.ptp(calm))
    jumps = runs(np.abs(read - calm) > max(_TIMES_NOISE * noise, _OF_SPREAD * spread))
    threshold = near if near is not None else sum(humps) / 2 if humps else None
    crossings = _arrivals(read, threshold, 0.0) if threshold is not None else np.empty(0, dtype=np.intp)
    better = _better(read, calm, humps) if humps else (None, None, None)
    return RangeUse(
        noise=noise,
        near_level=humps[0] if humps else None,
        far_level=humps[1] if humps else None,
        jumps_s=t_s[jumps[0]],
        longest_jump_s=_usual_longest_s(t_s[jumps[1] - 1] - t_s[jumps[0]] + apart_s),
        threshold=threshold,
        crossings=len(crossings),
        pieces=0 if threshold is None else len(_arrivals(calm, _between(threshold, humps), 0.0)),
        better_threshold=better[0],
        better_hysteresis=better[1],
        better_crossings=better[2],
        crossings_s=t_s[crossings],
    )


def _usual_longest_s(lasting_s: FloatArray) -> float:
    """Nineteen in twenty are no longer: several jumps in a row, or one beside a piece, look like one."""
    return float(np.quantile(lasting_s, 0.95)) if len(lasting_s) else 0.0


def _calm(read: FloatArray, apart_s: float) -> FloatArray:
    """A running median wide enough to leave no jump in, shape (n,)."""
    from scipy.ndimage import median_filter

    width = 2 * max(1, int(np.ceil(_JUMP_S / apart_s))) + 1
    calm: FloatArray = median_filter(read, size=width, mode="nearest")
    return calm


def _humps(calm: FloatArray, noise: float) -> tuple[float, float] | None:
    """The two levels between which it goes, or None where there is one; split as Otsu (1979) does."""
    counts, edges = np.histogram(calm, bins=_BINS)
    middle = (edges[1:] + edges[:-1]) / 2
    below = np.cumsum(counts)[:-1]
    above = len(calm) - below
    sums = np.cumsum(counts * middle)
    means = sums[:-1] / np.maximum(below, 1), (sums[-1] - sums[:-1]) / np.maximum(above, 1)
    split = edges[1 + int(np.argmax(below * above * (means[0] - means[1]) ** 2))]
    low, high = calm[calm < split], calm[calm >= split]
    if min(len(low), len(high)) < _LEAST_SHARE * len(calm):
        return None
    levels = float(np.median(low)), float(np.median(high))
    return levels if levels[1] - levels[0] > _HUMPS_APART * max(noise, 1e-12) else None


def _between(threshold: float, humps: tuple[float, float] | None) -> float:
    """The threshold where it lies between the levels, else their middle."""
    if humps is None or humps[0] < threshold < humps[1]:
        return threshold
    return sum(humps) / 2


def _better(read: FloatArray, calm: FloatArray, humps: tuple[float, float]) -> tuple[float, float, int]:
    """The threshold midway between the levels, the least hysteresis that counts best, and that count."""
    middle, spread = sum(humps) / 2, humps[1] - humps[0]
    right = len(_arrivals(calm, middle, 0.0))
    counts = [len(_arrivals(read, middle, share * spread)) for share in _SHARES]
    best = int(np.argmin(np.abs(np.array(counts) - right)))
    return middle, _SHARES[best] * spread, counts[best]


def _arrivals(read: FloatArray, threshold: float, hysteresis: float) -> NDArray[np.intp]:
    """Where it comes nearer than the threshold, having been farther, by half the hysteresis each, (k,)."""
    near, far = read < threshold - hysteresis / 2, read >= threshold + hysteresis / 2
    known = np.flatnonzero(near | far)
    state = near[known]
    return known[1:][state[1:] & ~state[:-1]]

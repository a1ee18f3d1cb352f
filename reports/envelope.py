"""Samples to SVG paths by min–max envelope: spikes stay, and the size grows with pixels, not with rows."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from reports.drawing import COLUMNS, LEVELS, Axis
from telemetry.log import FloatArray
from telemetry.signals import hold_s

__all__ = ["band_path", "bars_path", "gap_limit_s", "line_path", "steps_path"]

IntArray = NDArray[np.int64]

_BAR_UNITS = 2 * COLUMNS


def gap_limit_s(t_s: FloatArray) -> float:
    """Longest pause between samples that is not a gap: three times the median one."""
    return hold_s(t_s) or np.inf


def line_path(t_s: FloatArray, values: FloatArray, axis: Axis, low: float, high: float) -> str:
    """The path of a sampled signal between `low` (bottom) and `high` (top), broken at gaps.

    `t_s` and `values` have shape (n,); NaN counts as missing. In each column of the axis the path
    touches the least and the greatest value, so that no spike is lost. Empty where nothing is to be drawn.
    """
    limit_s = max(gap_limit_s(t_s), axis.span_s / axis.columns)
    inside = np.isfinite(values) & (t_s >= axis.start_s) & (t_s <= axis.end_s)
    t_s, values = t_s[inside], values[inside]
    if len(t_s) == 0:
        return ""
    share = (t_s - axis.start_s) / axis.span_s
    y = _levels(values, low, high)
    breaks = np.diff(t_s, prepend=t_s[0]) > limit_s
    if len(t_s) <= 2 * axis.columns:
        return _written(np.rint(share * COLUMNS).astype(np.int64), y, breaks)
    column = np.floor(share * axis.columns).astype(np.int64)
    column, y, breaks = _extremes(column, y, breaks)
    return _written(column * (COLUMNS // axis.columns), y, breaks)


def _levels(values: FloatArray, low: float, high: float) -> IntArray:
    share = (values - low) / max(high - low, 1e-12)
    return np.rint((1.0 - np.clip(share, 0.0, 1.0)) * LEVELS).astype(np.int64)


def _extremes(
    x: IntArray, y: IntArray, breaks: NDArray[np.bool_]
) -> tuple[IntArray, IntArray, NDArray[np.bool_]]:
    """Two points a column: its least and greatest level, in turn, so that neighbours join shortly."""
    starts = np.flatnonzero((np.diff(x, prepend=x[0] - 1) != 0) | breaks)
    least, greatest = np.minimum.reduceat(y, starts), np.maximum.reduceat(y, starts)
    pairs = np.stack([least, greatest], axis=1)
    pairs[1::2] = pairs[1::2, ::-1]
    broken = np.zeros((len(starts), 2), dtype=bool)
    broken[:, 0] = breaks[starts]
    return np.repeat(x[starts], 2), pairs.ravel(), broken.ravel()


def _written(x: IntArray, y: IntArray, breaks: NDArray[np.bool_]) -> str:
    x, y, breaks = _without_midpoints(x, y, breaks)
    bounds = [0, *np.flatnonzero(breaks).tolist(), len(x)]
    return "".join(_segment(x[a:b], y[a:b]) for a, b in pairwise(bounds) if b > a)


def _without_midpoints(
    x: IntArray, y: IntArray, breaks: NDArray[np.bool_]
) -> tuple[IntArray, IntArray, NDArray[np.bool_]]:
    """The same drawing without points on a level stretch and without repeated points."""
    same = np.diff(y) == 0
    middle = np.zeros(len(y), dtype=bool)
    middle[1:-1] = same[:-1] & same[1:] & ~breaks[1:-1] & ~breaks[2:]
    return x[~middle], y[~middle], breaks[~middle]


def _segment(x: IntArray, y: IntArray) -> str:
    start = f"M{x[0]} {y[0]}"
    if len(x) == 1:
        return start + "h1"
    steps = np.stack([np.diff(x), np.diff(y)], axis=1).ravel()
    return (start + "l" + " ".join(map(str, steps.tolist()))).replace(" -", "-")


def steps_path(t_s: FloatArray, values: FloatArray, end_s: float, axis: Axis, low: float, high: float) -> str:
    """The path of a signal that holds each value until the next; shapes (n,)."""
    if len(t_s) == 0:
        return ""
    x, y = _corners(t_s, values, end_s, axis, low, high)
    return _written(x, y, np.zeros(len(x), dtype=bool))


def band_path(
    t_s: FloatArray, least: FloatArray, most: FloatArray, end_s: float, axis: Axis, low: float, high: float
) -> str:
    """The area between two signals that hold each value until the next; shapes (n,)."""
    if len(t_s) == 0:
        return ""
    x, upper = _corners(t_s, most, end_s, axis, low, high)
    _, lower = _corners(t_s, least, end_s, axis, low, high)
    there_and_back = np.append(x, x[::-1]), np.append(upper, lower[::-1])
    return _written(*there_and_back, np.zeros(2 * len(x), dtype=bool)) + "z"


def _corners(
    t_s: FloatArray, values: FloatArray, end_s: float, axis: Axis, low: float, high: float
) -> tuple[IntArray, IntArray]:
    """Both ends of each step."""
    edges = np.clip(np.append(t_s, end_s), axis.start_s, axis.end_s)
    x = np.rint((edges - axis.start_s) / axis.span_s * COLUMNS).astype(np.int64)
    return np.stack([x[:-1], x[1:]], axis=1).ravel(), np.repeat(_levels(values, low, high), 2)


def bars_path(starts_s: FloatArray, ends_s: FloatArray, axis: Axis) -> str:
    """Stretches as level strokes at half height; those closer than half a column are drawn as one."""
    shown = (ends_s > axis.start_s) & (starts_s < axis.end_s)
    unit = _BAR_UNITS / axis.span_s
    first = np.floor((np.clip(starts_s[shown], axis.start_s, None) - axis.start_s) * unit)
    last = np.maximum(np.ceil((np.clip(ends_s[shown], None, axis.end_s) - axis.start_s) * unit), first + 1)
    if len(first) == 0:
        return ""
    reach = np.maximum.accumulate(last)
    opens = np.flatnonzero(np.append(True, first[1:] > reach[:-1]))
    closes = np.append(opens[1:] - 1, len(first) - 1)
    pairs = zip(first[opens] / 2, (reach[closes] - first[opens]) / 2, strict=True)
    return "".join(f"M{x:g} {LEVELS // 2}h{width:g}" for x, width in pairs)

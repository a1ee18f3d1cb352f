"""Dips found by their shape: a matched filter that learns from the log what a dip looks like.

A matched filter is the best linear detector of a known shape in white noise (Turin, IRE Transactions on
Information Theory 6, 1960; from memory). The shape is that of the dips which stand out by themselves.
"""

from __future__ import annotations

import numpy as np

from telemetry.log import BoolArray, FloatArray
from telemetry.signals import at_instants, period_s

__all__ = ["noise_by_bends", "with_matched_dips"]

_BEFORE_S, _AFTER_S = 0.1, 0.25
_LEAST_BEFORE, _LEAST_AFTER = 2, 3
_LEAST_DIPS, _LEAST_STEPS, _LEAST_LENGTH = 4, 8, 6
_LEAST_DEPTH, _NOISE_TIMES = 0.2, 5.0
"""A dip is at least a fifth as deep as the usual one, and five times the noise of that depth: among the ten
thousand samples of a match normal noise comes so far less than once in a hundred matches."""
_LOWER_QUARTILE = 0.3186
"""Of the size of a normal variable, in standard deviations."""


def with_matched_dips(
    t_s: FloatArray, signal: FloatArray, running: BoolArray, onsets_s: FloatArray, *, shallowest: float
) -> FloatArray:
    """The onsets given and those of further dips of their shape, in order, (k,).

    `signal` (n,) falls at each dip, by `shallowest` at least; only where `running` (n,) holds throughout are
    dips looked for. Where fewer than four of the onsets given stand alone, or a shape has fewer than six
    readings, nothing is learned. Dips nearer to each other than the shape is long are those given only.
    """
    step_s = period_s(t_s)
    if len(onsets_s) < _LEAST_DIPS or not 0 < step_s < (_BEFORE_S + _AFTER_S) / _LEAST_LENGTH:
        return onsets_s
    grid_s = np.arange(t_s[0], t_s[-1], step_s)
    even = np.interp(grid_s, t_s, signal)
    before = max(round(_BEFORE_S / step_s), _LEAST_BEFORE)
    length = before + max(round(_AFTER_S / step_s), _LEAST_AFTER)
    begins = np.searchsorted(grid_s, onsets_s) - before
    shape = _shape(even, begins, length)
    if shape is None:
        return onsets_s
    depth = np.correlate(even, shape, mode="valid") / (shape @ shape)
    steady = at_instants(t_s, running.astype(float), grid_s) > 0
    whole = np.convolve(steady, np.ones(length), mode="valid") > length - 0.5
    noise = noise_by_bends(even[steady]) / np.sqrt(shape @ shape)
    least = max(_LEAST_DEPTH, _NOISE_TIMES * float(noise), shallowest / float(np.ptp(shape)))
    found = _peaks(np.where(whole, depth, -np.inf), begins, length, least)
    return np.sort(np.concatenate((onsets_s, grid_s[found + before])))


def noise_by_bends(signal: FloatArray) -> float:
    """Standard deviation of the noise, from the smallest quarter of the bends: those of steady running.

    A bend, x[i-1] - 2 x[i] + x[i+1], is nought where the signal rises or falls evenly. For normal noise the
    lower quartile of its size is 0.3186·√6 standard deviations.
    """
    if len(signal) < _LEAST_STEPS:
        return 0.0
    return float(np.percentile(np.abs(np.diff(signal, 2)), 25) / (_LOWER_QUARTILE * np.sqrt(6)))


def _shape(signal: FloatArray, begins: np.ndarray, length: int) -> FloatArray | None:
    """The median dip of those that stand alone, without its mean and slope, (length,); None of too few."""
    alone = np.diff(begins, prepend=-length) >= length
    alone &= np.diff(begins, append=begins[-1] + length) >= length
    alone &= (begins >= 0) & (begins + length <= len(signal))
    if alone.sum() < _LEAST_DIPS:
        return None
    windows = np.lib.stride_tricks.sliding_window_view(signal, length)[begins[alone]]
    shape = np.median(windows - windows[:, :1], axis=0)
    line = np.vander(np.arange(length), 2)
    shape = shape - line @ np.linalg.lstsq(line, shape, rcond=None)[0]
    return np.asarray(shape) if (shape @ shape) > 0 else None


def _peaks(depth: FloatArray, known: np.ndarray, length: int, least: float) -> np.ndarray:
    """Where the depth is greatest within a shape's length, away from the known, and great enough, (k,)."""
    free = depth.copy()
    for begin in known:
        free[max(begin - length, 0) : begin + length] = -np.inf
    around = np.pad(free, length, constant_values=-np.inf)
    greatest = np.lib.stride_tricks.sliding_window_view(around, 2 * length + 1).max(axis=1)
    return np.flatnonzero((free == greatest) & (free > least))

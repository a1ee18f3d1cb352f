"""Whether a channel is logged at a steady rate or only when it changes, told by its own rows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from telemetry.log import FloatArray, Kind

__all__ = ["is_sampled", "missing_slots", "repeats"]

# Our choice: a steady channel keeps three of four intervals within half its median one.
_STEADY_SHARE = 0.75
_STEADY_WITHIN = 0.5
_FEWEST_NUMBERS = 3
_FEWEST_STATES = 8
_ROUNDING = 1e-3


def is_sampled(kind: Kind, values: FloatArray, t_s: FloatArray) -> bool:
    """Whether the rows of a channel come at a steady rate.

    `t_s` are the times of its values, shape (n,), non-decreasing.
    States that change at every row are logged on change, however even their spacing.
    """
    fewest = _FEWEST_NUMBERS if kind is Kind.NUMBER else _FEWEST_STATES
    if len(t_s) < fewest:
        return False
    if kind is not Kind.NUMBER and np.all(values[1:] != values[:-1]):
        return False
    strides = np.diff(t_s)
    typical = float(np.median(strides))
    near = np.abs(strides - typical) <= _STEADY_WITHIN * typical
    return bool(typical > 0 and near.mean() >= _STEADY_SHARE)


def repeats(kind: Kind, values: FloatArray) -> bool:
    """Whether a channel with a value in every row is sampled: a log of changes alone repeats none."""
    return kind is Kind.NUMBER or len(values) < 2 or bool(np.any(values[1:] == values[:-1]))


def missing_slots(places: NDArray[np.integer], t_s: FloatArray) -> int:
    """Cells without a value where a sampled channel of a wide log should have one.

    `places` are the rows that hold its values, shape (n,), `t_s` the times of all rows. A channel with a
    value in every third row misses one for each third row that stays empty; a row that an event put in
    between asks for no sample.
    """
    rows = len(t_s)
    if not len(places):
        return rows
    own_t, strides = t_s[places], np.diff(places)
    intervals = np.diff(own_t)
    rises = intervals[intervals > 0]
    if not len(rises):
        return rows - len(places)
    typical_s = float(np.median(rises))
    inner = np.minimum(np.round(intervals / typical_s), strides) - 1
    ends_s = np.array([own_t[0] - t_s[0], t_s[-1] - own_t[-1]])
    outer = np.minimum(np.floor(ends_s / typical_s + _ROUNDING), [places[0], rows - 1 - places[-1]])
    return int(np.sum(np.maximum(inner, 0)) + np.sum(outer))

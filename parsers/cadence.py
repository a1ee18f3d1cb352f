"""Whether a channel is logged at a steady rate or only when it changes, told by its own rows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from telemetry.log import FloatArray, Kind

__all__ = ["is_sampled", "missing_slots"]

# Our choice: a steady channel keeps three of four intervals within half its median one.
_STEADY_SHARE = 0.75
_STEADY_WITHIN = 0.5
_FEWEST_NUMBERS = 3
_FEWEST_STATES = 8


def is_sampled(kind: Kind, values: FloatArray, places: NDArray[np.integer] | FloatArray) -> bool:
    """Whether the rows of a channel come at a steady rate.

    `places` are where its values stand, shape (n,): row numbers of a wide log, seconds of a long one.
    States that change at every row are logged on change, however even their spacing.
    """
    fewest = _FEWEST_NUMBERS if kind is Kind.NUMBER else _FEWEST_STATES
    if len(places) < fewest:
        return False
    if kind is not Kind.NUMBER and np.all(values[1:] != values[:-1]):
        return False
    strides = np.diff(places).astype(np.float64)
    typical = float(np.median(strides))
    near = np.abs(strides - typical) <= _STEADY_WITHIN * typical
    return bool(typical > 0 and near.mean() >= _STEADY_SHARE)


def missing_slots(places: NDArray[np.integer], rows: int) -> int:
    """Cells without a value where a sampled channel of a wide log should have one.

    A channel that has a value in every third row misses one for each third row that stays empty.
    """
    if not len(places):
        return rows
    strides = np.diff(places)
    typical = max(float(np.median(strides)), 1.0) if len(strides) else 1.0
    ends = np.array([places[0], rows - 1 - places[-1]]) / typical
    return int(np.sum(np.maximum(np.round(strides / typical) - 1, 0)) + np.sum(np.floor(ends)))

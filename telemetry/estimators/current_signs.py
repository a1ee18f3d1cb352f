"""Which way a current flows whose log has no signs: the speed that follows from it must not jump."""

from __future__ import annotations

import numpy as np

from telemetry.log import FloatArray

__all__ = ["likeliest_signs"]

_WAYS = np.array([1.0, -1.0])


def likeliest_signs(fed_v: FloatArray, drop_v: FloatArray) -> FloatArray:
    """The sign of a current at each reading, shape (n,), by the path whose back-EMF changes least.

    `fed_v` is the applied voltage with its sign, `drop_v` the current times the resistance without one. The
    path of least total change through both candidates, fed − drop and fed + drop, is found by dynamic
    programming (Viterbi 1967, from memory), forwards and backwards in log₂ n steps over whole arrays.
    """
    if len(fed_v) < 2:
        return np.ones(len(fed_v))
    back_emf_v = fed_v[:, None] - drop_v[:, None] * _WAYS
    changes = np.abs(back_emf_v[1:, None, :] - back_emf_v[:-1, :, None])
    until = _least_until(changes)
    rest = _least_until(changes[::-1].transpose(0, 2, 1))[::-1]
    return np.asarray(_WAYS[np.argmin(until + rest, axis=1)])


def _least_until(changes: FloatArray) -> FloatArray:
    """The least total change of a path that ends at each reading in each of two states, shape (n, 2).

    `changes` (n − 1, from, to). Each step joins all spans of a length with those of the same length before.
    """
    paths = changes.copy()
    length = 1
    while length < len(paths):
        joined = paths[:-length, :, :, None] + paths[length:, None, :, :]
        paths[length:] = joined.min(axis=2)
        length *= 2
    return np.concatenate((np.zeros((1, 2)), paths.min(axis=1)))

"""Stretches in which nothing at all was logged."""

from __future__ import annotations

import numpy as np

from telemetry.log import FloatArray, Log
from telemetry.signals import period_s

__all__ = ["find_gaps"]

LEAST_GAP_S = 0.25
"""Shorter silences are lost packets, not gaps: a few rows at the usual 20 ms (our choice)."""
_PERIODS = 5.0


def find_gaps(log: Log) -> FloatArray:
    """Silences of the whole log, shape (k, 2): last instant before, first after.

    Empty for a log of changes only, whose silences say nothing.
    """
    if not any(channel.sampled for channel in log.channels.values()):
        return np.empty((0, 2))
    apart = np.diff(log.t_s)
    silent = np.flatnonzero(apart > max(LEAST_GAP_S, _PERIODS * period_s(log.t_s)))
    return np.column_stack((log.t_s[silent], log.t_s[silent + 1]))

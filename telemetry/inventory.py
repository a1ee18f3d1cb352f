"""What is in a log: one line a channel."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.log import Channel, FloatArray, Kind, Log

__all__ = ["ChannelSummary", "take_inventory"]

_GAP_FACTOR = 3.0


@dataclass(frozen=True)
class ChannelSummary:
    """One channel in figures.

    Attributes:
        unit: symbol of `min` and `max`, or None.
        role: what the robot file or a guess makes of it, or None.
        missing: cells without a value where a sampled channel should have one.
        rate_hz: one over the median interval; None for a change-logged channel or fewer than two samples.
        gaps: intervals over three times the median one; None for a change-logged channel.
        transitions: changes of state, of switches and texts; None for numbers.
        min, max: as logged; a switch's as 0 and 1; None for texts and without samples.
    """

    name: str
    kind: Kind
    unit: str | None
    role: str | None
    samples: int
    missing: int
    rate_hz: float | None
    gaps: int | None
    transitions: int | None
    min: float | None
    max: float | None


def take_inventory(log: Log, roles: Mapping[str, str]) -> tuple[ChannelSummary, ...]:
    """Every channel of `log` in its order; `roles` are by channel name."""
    return tuple(_summary(channel, roles.get(name)) for name, channel in log.channels.items())


def _summary(channel: Channel, role: str | None) -> ChannelSummary:
    intervals = np.diff(channel.t_s)
    steady = intervals[intervals > 0] if channel.sampled else intervals[:0]
    median_s = float(np.median(steady)) if len(steady) else 0.0
    low, high = _extremes(channel)
    return ChannelSummary(
        name=channel.name,
        kind=channel.kind,
        unit=channel.unit,
        role=role,
        samples=len(channel.values),
        missing=channel.missing,
        rate_hz=1.0 / median_s if median_s > 0.0 else None,
        gaps=_gaps(steady, median_s) if channel.sampled else None,
        transitions=None if channel.kind is Kind.NUMBER else int(np.sum(np.diff(channel.values) != 0)),
        min=low,
        max=high,
    )


def _gaps(intervals: FloatArray, median_s: float) -> int:
    # The tolerance is for rounding: 0.06 s in binary may be a little over three times 0.02 s.
    return int(np.sum(intervals > _GAP_FACTOR * median_s * (1 + 1e-6)))


def _extremes(channel: Channel) -> tuple[float | None, float | None]:
    if channel.kind is Kind.TEXT or not len(channel.values):
        return None, None
    return float(channel.values.min()), float(channel.values.max())

"""Hits while a light was lit and while it was dark."""

from __future__ import annotations

import numpy as np

from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.signals import at_instants

__all__ = ["LightCount", "count_by_light"]


@dataclass(frozen=True)
class LightCount:
    """Hits while a light was lit and while it was dark, with how long each lasted."""

    hits_lit: int
    lit_s: float
    hits_dark: int
    dark_s: float


def count_by_light(analysis: Analysis) -> LightCount | None:
    """Hits while the light was lit and while it was dark, over the time the robot was enabled.

    None where no light is named or logged, or where nothing could have told a hit.
    """
    indicator, part = analysis.robot.indicator, analysis.part
    channel = part.channels.get(indicator.signal) if indicator else None
    can_tell = any(name in part.channels for name in analysis.robot.contact.accelerometer) or bool(
        analysis.contacts
    )
    if indicator is None or channel is None or not len(channel.t_s) or not can_tell:
        return None
    lit = channel.equals(indicator.lit).astype(np.float64)
    enabled = analysis.match.enabled()
    hits_s = np.array(
        [c.t_s for c in analysis.contacts if any(p.start_s <= c.t_s < p.end_s for p in enabled)]
    )
    hits_lit = int(np.nansum(at_instants(channel.t_s, lit, hits_s)))
    first_s = float(channel.t_s[0])
    until_s = np.append(channel.t_s[1:], max(float(part.t_s[-1]), float(channel.t_s[-1])))
    lit_s = known_s = 0.0
    for phase in enabled:
        inside = np.clip(until_s, phase.start_s, phase.end_s) - np.clip(
            channel.t_s, phase.start_s, phase.end_s
        )
        lit_s += float(inside @ lit)
        known_s += float(inside.sum())
    known_hits = int((hits_s >= first_s).sum())
    return LightCount(hits_lit, lit_s, known_hits - hits_lit, known_s - lit_s)

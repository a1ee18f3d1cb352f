"""From which heat the motors of a match were taken to start, in words."""

from __future__ import annotations

import numpy as np

from reports.words import listed, percent
from telemetry.analysis import Analysis

__all__ = ["start_heat_words"]

_MOST_NAMED = 3


def start_heat_words(analysis: Analysis) -> list[str]:
    """One sentence where any motor's heat is followed: what it starts from, and why."""
    if not any(len(trace.heat) and np.isfinite(trace.heat).any() for trace in analysis.motors.values()):
        return []
    heat = analysis.start_heat
    if heat is None:
        return [
            "Heat is counted from a cold start in this match; the event page tells what an earlier match may "
            "have left."
        ]
    warmest = sorted(heat.levels.items(), key=lambda level: (-level[1], level[0]))[:_MOST_NAMED]
    named = listed([f"{name} at {percent(level)}" for name, level in warmest])
    return [
        f"Heat is carried over from {heat.after}, {heat.pause_s / 60:.0f} min without current before: "
        f"{named} of the limit at the start."
    ]

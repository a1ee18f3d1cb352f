"""Cycles: from the last release of one volley to the last of the next, and where the time went."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

import numpy as np

from telemetry.log import FloatArray
from telemetry.match import Match
from telemetry.records.pieces import Cycle, Pieces

__all__ = ["SAME_VOLLEY_S", "find_cycles"]

SAME_VOLLEY_S = 4.0
"""Releases less than this apart with no piece collected between are one volley (contract)."""

_JUST_AFTER_S = 0.5
"""A release and the step of the count that goes with it may lie this far apart."""


def find_cycles(pieces: Pieces | None, match: Match) -> tuple[Cycle, ...]:
    """Every cycle of a match, the open last one included; none without a piece estimate."""
    if pieces is None:
        return ()
    entries_s = np.array([t for t in pieces.entries_s if t >= match.start_s])
    volleys = _volleys(np.array(pieces.releases_s), entries_s)
    starts = [match.start_s, *(float(volley[-1]) for volley in volleys)]
    cycles = [
        _cycle(number, start, volley, entries_s)
        for number, (start, volley) in enumerate(zip(starts, volleys, strict=False), start=1)
    ]
    if starts[-1] < match.end_s:
        aboard = _aboard_at(pieces, starts[-1])
        cycles.append(_open_cycle(len(cycles) + 1, starts[-1], match.end_s, entries_s, aboard))
    return tuple(cycles)


def _volleys(releases_s: FloatArray, entries_s: FloatArray) -> Sequence[FloatArray]:
    if not len(releases_s):
        return []
    collected = np.searchsorted(entries_s, releases_s)
    new = (np.diff(releases_s) >= SAME_VOLLEY_S) | (np.diff(collected) > 0)
    return np.split(releases_s, np.flatnonzero(new) + 1)


def _cycle(number: int, start_s: float, volley: FloatArray, entries_s: FloatArray) -> Cycle:
    first_s, last_s = float(volley[0]), float(volley[-1])
    stages = _before_release(start_s, first_s, entries_s)
    stages["release"] = last_s - first_s
    return Cycle(number, start_s, last_s, len(volley), MappingProxyType(stages))


def _open_cycle(
    number: int, start_s: float, end_s: float, entries_s: FloatArray, aboard: int | None
) -> Cycle:
    """The cycle that the end of the match cut off; it has the stages that it came to."""
    stages = _before_release(start_s, end_s, entries_s)
    if aboard == 0 and not stages["collect"]:
        stages = {"collect": end_s - start_s}
    return Cycle(number, start_s, end_s, 0, MappingProxyType(stages), open=True)


def _aboard_at(pieces: Pieces, t_s: float) -> int | None:
    """Pieces aboard just after an instant; None before the story begins."""
    begun = [step for step in pieces.timeline if step.start_s <= t_s + _JUST_AFTER_S]
    return begun[-1].aboard if begun else None


def _before_release(start_s: float, until_s: float, entries_s: FloatArray) -> dict[str, float]:
    """Collect (to the first piece in), load (to the last), carry (to the first release), in seconds."""
    taken = entries_s[(entries_s > start_s) & (entries_s < until_s)]
    if not len(taken):
        return {"collect": 0.0, "load": 0.0, "carry": until_s - start_s}
    first_s, last_s = float(taken[0]), float(taken[-1])
    return {"collect": first_s - start_s, "load": last_s - first_s, "carry": until_s - last_s}

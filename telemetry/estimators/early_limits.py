"""Limits that close on the way to them: mis-set, bent, or reached by something else."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.estimators.limit_evidence import Drive, LimitEvidence
from telemetry.records.sensors import LimitTrouble, Travel
from telemetry.signals import period_s

__all__ = ["find_early_closings"]

_SHORT_OF_WAY, _WHOLE_WAY = 0.8, 0.9
_MOVED_BY = 0.1
_JUST_S, _MOST_EDGES = 0.5, 3
_ONE_WHOLE, _MORE_WHOLE = 0.8, 0.92


def find_early_closings(
    evidence: LimitEvidence, name: str, drive: Drive, travels: Sequence[Travel]
) -> list[LimitTrouble]:
    """Closings of one limit after less than 0.8 of the turns that the longest way from end to end took.

    Only ways driven without turning back count, and only of a motor whose speed is logged. A limit that
    always closes early, on the way there and back, cannot be told from a short arm: then there is none.
    """
    motor = evidence.robot.limits[name].motor
    trace = evidence.motors.get(motor or "")
    if trace is None or trace.speed_source != "channel":
        return []
    ways = [
        way
        for way in travels
        if way.motor == motor and way.turned_rad and _one_way(drive, way) and _opened_once(evidence, way)
    ]
    longest = max((way.turned_rad or 0.0 for way in ways), default=0.0)
    unread = _unread_share(ways, period_s(trace.t_s))
    whole = sum((way.turned_rad or 0.0) >= _WHOLE_WAY * longest for way in ways)
    sure = _MORE_WHOLE if whole > 1 else _ONE_WHOLE
    return [
        LimitTrouble("limit_stray", way.end_s, _opens_s(evidence, name, way.end_s), sure, share_of_way=share)
        for way in ways
        if way.end_limit == name and (share := (way.turned_rad or 0.0) / longest) < _SHORT_OF_WAY - unread
    ]


def _unread_share(ways: Sequence[Travel], apart_s: float) -> float:
    """The part of a way that may fall between two readings at either end of it."""
    lasting_s = [way.end_s - way.start_s for way in ways]
    return 2 * apart_s / max(float(np.median(lasting_s)), apart_s, 1e-9) if ways else 0.0


def _opened_once(evidence: LimitEvidence, way: Travel) -> bool:
    """Whether the limit that was left did not chatter just then: it is else not known when it opened."""
    edges_s = evidence.limits[way.start_limit].t_s
    near = (edges_s > way.start_s - _JUST_S) & (edges_s <= way.start_s + _JUST_S)
    return int(near.sum()) <= _MOST_EDGES


def _one_way(drive: Drive, way: Travel) -> bool:
    """Whether the motor was driven one way only, either way."""
    inside = (drive.t_s >= way.start_s) & (drive.t_s <= way.end_s)
    driven = drive.toward[inside]
    driven = np.sign(driven[np.abs(np.nan_to_num(driven)) >= _MOVED_BY])
    return bool((driven == driven[:1]).all())


def _opens_s(evidence: LimitEvidence, name: str, closed_s: float) -> float:
    limit = evidence.limits[name]
    opened_s = limit.t_s[~limit.on & (limit.t_s > closed_s)]
    return float(opened_s[0]) if len(opened_s) else limit.end_s

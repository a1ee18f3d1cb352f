"""Travel between the two ends of a motor: how long, how much charge, how many turns."""

from __future__ import annotations

import numpy as np

from telemetry.estimators.bursts import without_short
from telemetry.estimators.limit_evidence import (
    LimitEvidence,
    any_pressed,
    charge_through,
    drive_of,
    other_end,
    turned_rad,
)
from telemetry.records.sensors import Switching, Travel

__all__ = ["find_travels"]

_SETTLED_S = 0.1


def find_travels(evidence: LimitEvidence) -> tuple[Travel, ...]:
    """Every way from the opening of one end to the closing of the other, in the order of time.

    A way of which a part was not logged is left out.
    """
    found: list[Travel] = []
    for name in evidence.limits:
        other = other_end(evidence.robot, name)
        if other is not None and other in evidence.limits:
            found += _travels_to(evidence, other, name)
    return tuple(sorted(found, key=lambda travel: travel.start_s))


def _travels_to(evidence: LimitEvidence, start: str, end: str) -> list[Travel]:
    drive = drive_of(evidence, end)
    left, reached = (_settled(evidence.limits[name]) for name in (start, end))
    opened_s, closed_s = left.t_s[1:][~left.on[1:]], reached.t_s[1:][reached.on[1:]]
    found = []
    for at_s in closed_s.tolist():
        before_s = opened_s[opened_s <= at_s]
        if not len(before_s) or any_pressed(left, float(before_s[-1]), at_s):
            continue
        if drive is not None and drive.last_way(np.array([at_s]))[0] <= 0:
            continue
        began_again = any_pressed(reached, float(before_s[-1]), at_s - 1e-6)
        if not began_again and not evidence.unlogged(float(before_s[-1]), at_s):
            found.append(_travel(evidence, (start, end), (float(before_s[-1]), at_s)))
    return found


def _travel(evidence: LimitEvidence, ends: tuple[str, str], span_s: tuple[float, float]) -> Travel:
    motor = evidence.robot.limits[ends[0]].motor or ""
    trace = evidence.motors.get(motor)
    charge_as, peak_a = charge_through(trace, *span_s)
    made_rad = None if trace is None else turned_rad(trace, *span_s)
    return Travel(motor, *ends, *span_s, charge_as=charge_as, peak_a=peak_a, turned_rad=made_rad)


def _settled(limit: Switching) -> Switching:
    return without_short(limit, _SETTLED_S, np.ones(len(limit.t_s), dtype=bool))

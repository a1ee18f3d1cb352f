"""Where the driver's time went: what lay on each cycle, how long cycles are, what faults and hits cost."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from telemetry.analysis import Contact
from telemetry.estimators.contacts import AFTER_CONTACT_S
from telemetry.log import FloatArray
from telemetry.rank_statistics import kaplan_meier
from telemetry.records.motors import MotorTrace
from telemetry.records.pieces import BeamHealth, Cycle, Driving, Pieces
from telemetry.robot import Robot
from telemetry.signals import hold_s, spans
from telemetry.statistics import median_interval

__all__ = ["burden_cycles", "sum_up_driving"]

_STANDING_COMMAND = 0.05
_STANDING_SHARE = 0.02
_LEAST_CLEAN = 3


def burden_cycles(
    cycles: Sequence[Cycle],
    *,
    contacts: Sequence[Contact],
    pieces: Pieces | None,
    robot: Robot,
    motors: Mapping[str, MotorTrace],
) -> tuple[Cycle, ...]:
    """The cycles with what lay on them: hits, time under contact, with a lying beam, and standing still.

    A robot is under contact for half a second from each hit on, or as long as the hit lasts. It stands where
    no drive motor is commanded or turns; that is None where no drive motor is named or logged.
    """
    hits_s = np.array([(hit.t_s, hit.t_s + max(hit.duration_s, AFTER_CONTACT_S)) for hit in contacts])
    lying_s = np.array([(part.start_s, part.end_s) for part in _lying(pieces)])
    standing_s = _standing_s(robot, motors)
    return tuple(
        replace(
            cycle,
            contacts=sum(cycle.start_s <= contact.t_s < cycle.end_s for contact in contacts),
            under_contact_s=_shared_s(cycle, hits_s),
            faulty_sensor_s=_shared_s(cycle, lying_s),
            standing_s=None if standing_s is None else _shared_s(cycle, standing_s),
        )
        for cycle in cycles
    )


def sum_up_driving(cycles: Sequence[Cycle]) -> Driving | None:
    """Cycle times in a few numbers; None without a closed cycle in which a piece was collected.

    Cycles that only launch what was aboard (the preload) are left out: they are no measure of the others. The
    median and its interval are of the closed cycles (order statistics); with the open last one as cut short,
    Kaplan and Meier's median. A burdened cycle costs what it takes more than the driver's own clean ones (no
    hit, no lying beam; three of them at least) take at the median; less is not counted against it.
    """
    cycles = [cycle for cycle in cycles if cycle.open or cycle.stages["collect"] + cycle.stages["load"] > 0]
    closed = [cycle for cycle in cycles if not cycle.open]
    if not closed:
        return None
    took_s = np.array([cycle.end_s - cycle.start_s for cycle in closed])
    interval = median_interval(took_s)
    clean = [cycle for cycle in closed if not cycle.contacts and not cycle.faulty_sensor_s]
    clean_took_s = [cycle.end_s - cycle.start_s for cycle in clean]
    clean_s = float(np.median(clean_took_s)) if len(clean) >= _LEAST_CLEAN else None
    return Driving(
        closed_cycles=len(closed),
        median_s=interval.median,
        low_s=interval.low,
        high_s=interval.high,
        waiting_median_s=_waiting_median_s(cycles),
        clean_cycles=len(clean),
        clean_median_s=clean_s,
        faulty_sensor_cost_s=_cost_s((c for c in closed if c.faulty_sensor_s), clean_s),
        contact_cost_s=_cost_s((c for c in closed if c.contacts), clean_s),
    )


def _lying(pieces: Pieces | None) -> list[BeamHealth]:
    stretches = [part for parts in pieces.beam_health.values() for part in parts] if pieces else []
    told = [part for part in stretches if part.contradictions_s]
    return sorted(told, key=lambda part: part.start_s)


def _standing_s(robot: Robot, motors: Mapping[str, MotorTrace]) -> FloatArray | None:
    drive = [motors[name] for name in robot.contact.drive if name in motors]
    if not drive:
        return None
    trace = drive[0]
    still = np.ones(len(trace.t_s), dtype=bool)
    for other in drive:
        moves = (np.abs(np.nan_to_num(other.command)) >= _STANDING_COMMAND) | (
            np.nan_to_num(other.speed_share) >= _STANDING_SHARE
        )
        still &= np.interp(trace.t_s, other.t_s, moves) < 0.5
    return spans(trace.t_s, still, float(trace.t_s[-1]), hold_s(trace.t_s))


def _shared_s(cycle: Cycle, intervals_s: FloatArray) -> float:
    """How much of a cycle lies in intervals sorted by their start, (k, 2); overlaps count once."""
    if not len(intervals_s):
        return 0.0
    reached = np.concatenate(([-np.inf], np.maximum.accumulate(intervals_s[:-1, 1])))
    start_s = np.maximum(np.maximum(intervals_s[:, 0], reached), cycle.start_s)
    end_s = np.minimum(intervals_s[:, 1], cycle.end_s)
    return float(np.maximum(end_s - start_s, 0.0).sum())


def _waiting_median_s(cycles: Sequence[Cycle]) -> float | None:
    survival = kaplan_meier(
        [cycle.end_s - cycle.start_s for cycle in cycles], [not cycle.open for cycle in cycles]
    )
    return survival.median


def _cost_s(cycles: Iterable[Cycle], clean_s: float | None) -> float | None:
    if clean_s is None:
        return None
    return float(sum(max(0.0, cycle.end_s - cycle.start_s - clean_s) for cycle in cycles))

"""The current limit that would have protected a motor without touching its healthy work."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from telemetry.log import BoolArray, FloatArray
from telemetry.motor_model import MotorModel
from telemetry.records.motors import MotorStates, MotorTrace, Protection
from telemetry.robot import Robot
from telemetry.signals import hold_s, period_s, spans, within

__all__ = ["propose_limits", "replay_limit"]

_OF_STALL_CURRENT = (0.5, 0.65, 0.8, 0.9)
_LEAST_AFTER_S = 0.25
_MARGIN = 1.5
_ROUND_S = 0.05
_AROUND_S = 0.1


def propose_limits(
    robot: Robot, motors: Mapping[str, MotorTrace], states: Mapping[str, MotorStates]
) -> Mapping[str, Protection]:
    """For every motor that stalled or nearly did, the limit that saves most heat, where one saves any."""
    found = {}
    for name, state in states.items():
        model = MotorModel.from_motor(robot.motors[name])
        stood = _in_order(np.concatenate((state.stall, state.near_stall)))
        best = _best(motors[name], stood, model) if model is not None and len(stood) else None
        if best is not None:
            found[name] = best
    return MappingProxyType(found)


def replay_limit(
    trace: MotorTrace, stood_s: FloatArray, *, limit_a: float, after_s: float, resistance_ohm: float
) -> tuple[int, int, float]:
    """The log replayed through a limit: stops of what stood, stops of healthy work, joules saved.

    A limit stops a motor that stays above `limit_a` for `after_s`. `stood_s` is (k, 2).
    """
    above = _above(trace, limit_a)
    stands = _touching(above, stood_s)
    trips = above[:, 1] - above[:, 0] >= after_s
    saved_j = _heat_j(trace, above[trips & stands], after_s, resistance_ohm)
    stopped = _touching(stood_s, above[trips])
    return int(np.count_nonzero(stopped)), int(np.count_nonzero(trips & ~stands)), saved_j


def _in_order(intervals: FloatArray) -> FloatArray:
    return intervals[np.argsort(intervals[:, 0], kind="stable")]


def _best(trace: MotorTrace, stood: FloatArray, model: MotorModel) -> Protection | None:
    typical_a = float(np.median(trace.current_a[within(trace.t_s, stood)]))
    found = [_try(trace, stood, model, share * typical_a) for share in _OF_STALL_CURRENT]
    useful = [protection for protection in found if protection is not None and protection.tripped]
    return max(useful, key=lambda protection: protection.saved_j, default=None)


def _try(trace: MotorTrace, stood: FloatArray, model: MotorModel, limit_a: float) -> Protection | None:
    above = _above(trace, limit_a)
    healthy = above[~_touching(above, stood)]
    longest_s = float((healthy[:, 1] - healthy[:, 0]).max(initial=0.0))
    after_s = _rounded_up(max(_LEAST_AFTER_S, _MARGIN * longest_s, longest_s + 2 * period_s(trace.t_s)))
    tripped, wrongly, saved_j = replay_limit(
        trace, stood, limit_a=limit_a, after_s=after_s, resistance_ohm=model.resistance_ohm
    )
    if wrongly:
        return None
    return Protection(float(round(limit_a)), after_s, tripped, len(stood), saved_j, longest_s)


def _rounded_up(seconds: float) -> float:
    return round(math.ceil(seconds / _ROUND_S - 1e-9) * _ROUND_S, 3)


def _above(trace: MotorTrace, limit_a: float) -> FloatArray:
    flagged: BoolArray = trace.current_a > limit_a
    return spans(trace.t_s, flagged, float(trace.t_s[-1]), hold_s(trace.t_s))


def _touching(intervals: FloatArray, others: FloatArray) -> BoolArray:
    """Which intervals overlap one of the others, or come as near as `_AROUND_S`, shape (k,)."""
    if not len(others):
        return np.zeros(len(intervals), dtype=bool)
    starts = np.searchsorted(others[:, 1], intervals[:, 0] - _AROUND_S)
    return np.asarray(
        (starts < len(others))
        & (others[np.minimum(starts, len(others) - 1), 0] < intervals[:, 1] + _AROUND_S)
    )


def _heat_j(trace: MotorTrace, runs_s: FloatArray, after_s: float, resistance_ohm: float) -> float:
    """Heat in the winding from `after_s` into each run until its end."""
    step_s = np.minimum(np.diff(trace.t_s, append=trace.t_s[-1:]), hold_s(trace.t_s))
    heat = np.concatenate(([0.0], np.cumsum(trace.current_a**2 * resistance_ohm * step_s)))[:-1]
    until_j = np.interp(runs_s[:, 1], trace.t_s, heat)
    return float((until_j - np.interp(runs_s[:, 0] + after_s, trace.t_s, heat)).sum())

"""Which motor carries the pieces, and which way it is driven at each instant."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.log import BoolArray, FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Switching
from telemetry.signals import at_instants

__all__ = ["belt_direction", "running_clocks"]

_COASTING_S = 0.3
_LEAST_COMMAND = 0.1
_JAMMED_SHARE = 0.05
_LEAST_EDGES = 6
_LEAST_SHARE = 0.7
_LEAST_LIFT = 1.25


def belt_direction(
    motors: Mapping[str, MotorTrace], beams: Mapping[str, Switching]
) -> tuple[FloatArray, FloatArray] | None:
    """When the belt's direction changes and what it is from then on: +1 forward, -1 back, 0 at rest, (k,).

    The robot file does not say which motor carries the pieces, so the log does: the one that is driven at
    the largest share of beam edges compared with its share of the time; forward is the sign at which most of
    them fall. None where no motor stands out.
    """
    edges_s = np.concatenate([beam.t_s[1:] for beam in beams.values()]) if beams else np.empty(0)
    if len(edges_s) < _LEAST_EDGES:
        return None
    ranked = [(_lift(trace, edges_s), name) for name, trace in motors.items()]
    lift, name = max(ranked, default=(0.0, ""))
    if lift < _LEAST_LIFT:
        return None
    sign = _signs(motors[name])
    forward = np.sign(np.nansum(at_instants(motors[name].t_s, sign, edges_s))) or 1.0
    change = np.concatenate(([True], sign[1:] != sign[:-1]))
    return motors[name].t_s[change], sign[change] * forward


def running_clocks(
    belt: tuple[FloatArray, FloatArray], launcher: tuple[FloatArray, FloatArray], t_s: FloatArray
) -> FloatArray:
    """Seconds for which the belt has run forward until each instant, (2, *t_s.shape).

    First with the launcher at rest, then with it up to speed; both are steps: when, and what from then.
    """
    changes_s = np.unique(np.concatenate((belt[0], launcher[0])))
    forward = at_instants(*belt, changes_s) > 0
    launching = at_instants(*launcher, changes_s) > 0
    return np.stack([_clock(changes_s, forward & mode, t_s) for mode in (~launching, launching)])


def _clock(changes_s: FloatArray, running: BoolArray, t_s: FloatArray) -> FloatArray:
    before_s = np.concatenate(([0.0], np.cumsum(np.diff(changes_s) * running[:-1])))
    last = np.maximum(np.searchsorted(changes_s, t_s, side="right") - 1, 0)
    return np.asarray(before_s[last] + running[last] * np.maximum(t_s - changes_s[last], 0.0))


def _signs(trace: MotorTrace) -> FloatArray:
    """Sign of the command while the belt moves, held on for a moment as it runs out; 0 where it is jammed."""
    command = np.nan_to_num(trace.command)
    moving = np.abs(command) >= _LEAST_COMMAND
    if np.isfinite(trace.speed_share).any():
        moving &= ~(np.nan_to_num(trace.speed_share, nan=1.0) < _JAMMED_SHARE)
    last = np.maximum.accumulate(np.where(moving, np.arange(len(command)), -1))
    seen = np.maximum(last, 0)
    recent = (last >= 0) & (trace.t_s - trace.t_s[seen] <= _COASTING_S)
    return np.where(recent, np.sign(command[seen]), 0.0)


def _lift(trace: MotorTrace, edges_s: FloatArray) -> float:
    if not np.isfinite(trace.command).any():
        return 0.0
    sign = _signs(trace)
    share_of_time = float((sign != 0).mean())
    share_of_edges = float(np.nanmean(at_instants(trace.t_s, np.abs(sign), edges_s)))
    if share_of_time == 0 or share_of_edges < _LEAST_SHARE:
        return 0.0
    return share_of_edges / share_of_time

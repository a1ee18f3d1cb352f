"""Which motor carries the pieces, and which way it is driven at each instant."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.log import BoolArray, FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Switching
from telemetry.signals import at_instants

__all__ = ["EITHER_WAY", "belt_direction", "running_clocks"]

EITHER_WAY = 2.0
"""The belt runs, and which way is not known."""
_COASTING_S = 0.3
_LEAST_COMMAND = 0.1
_JAMMED_SHARE = 0.05
_LEAST_EDGES = 6
_LEAST_SHARE = 0.7
_LEAST_TELLING = 10.0
"""Twice the log of a likelihood ratio: above ten the evidence is called very strong (Kass and Raftery, J. Am.
Stat. Assoc. 90, 1995; from memory)."""
_RARELY = 1e-3


def belt_direction(
    motors: Mapping[str, MotorTrace], beams: Mapping[str, Switching], releases_s: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """When the belt's direction changes and what it is from then on, (k,).

    +1 forward, -1 back, 0 at rest, `EITHER_WAY` where it runs and its command is not logged.

    The robot file does not say which motor carries the pieces, so the log does: the one whose running tells
    most about when beams change and pieces leave. Forward is the sign at which most of that falls. None where
    no motor stands out.
    """
    moves_s = np.concatenate([releases_s, *(beam.t_s[1:] for beam in beams.values())])
    if len(moves_s) < _LEAST_EDGES:
        return None
    ranked = [(_telling(trace, moves_s), name) for name, trace in motors.items()]
    telling, name = max(ranked, default=(0.0, ""))
    if telling < _LEAST_TELLING:
        return None
    sign = _signs(motors[name])
    forward = np.sign(np.nansum(at_instants(motors[name].t_s, sign, moves_s))) or 1.0
    forward = np.where(sign == EITHER_WAY, 1.0, forward)
    change = np.concatenate(([True], sign[1:] != sign[:-1]))
    return _launching(motors[name].t_s[change], (sign * forward)[change], releases_s)


def _launching(t_s: FloatArray, sign: FloatArray, releases_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The belt's direction, (k,), where a run that takes a piece to the launcher is one forward."""
    run = np.searchsorted(t_s, releases_s, side="right") - 1
    takes = np.zeros(len(t_s), dtype=bool)
    takes[run[run >= 0]] = True
    return t_s, np.where(takes & (sign == EITHER_WAY), 1.0, sign)


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
    """Sign of the command while the belt moves, held on for a moment as it runs out; 0 where it is jammed.

    Where no command is logged, `EITHER_WAY` while it is driven. A belt may have begun to run at any time
    since the reading before the first that shows it.
    """
    known = np.isfinite(trace.command)
    command = np.where(known, np.sign(np.nan_to_num(trace.command)), EITHER_WAY)
    moving = np.where(known, np.abs(np.nan_to_num(trace.command)) >= _LEAST_COMMAND, trace.driven)
    if np.isfinite(trace.speed_share).any():
        moving &= ~(np.nan_to_num(trace.speed_share, nan=1.0) < _JAMMED_SHARE)
    last = np.maximum.accumulate(np.where(moving, np.arange(len(command)), -1))
    seen = np.maximum(last, 0)
    recent = (last >= 0) & (trace.t_s - trace.t_s[seen] <= _COASTING_S)
    sign = np.where(recent, command[seen], 0.0)
    sign[:-1] = np.where(sign[:-1] == 0, sign[1:], sign[:-1])
    return sign


def _telling(trace: MotorTrace, moves_s: FloatArray) -> float:
    """Twice the log likelihood of this motor running at the moves as it does, against by its share of time.

    A motor that runs at nearly all moves and seldom else scores high; one that runs at fewer of them, or
    nearly always, low.
    """
    sign = _signs(trace)
    of_time = float(np.clip((sign != 0).mean(), _RARELY, 1 - _RARELY))
    of_moves = float(np.nanmean(at_instants(trace.t_s, (sign != 0).astype(float), moves_s)))
    if of_moves < max(_LEAST_SHARE, of_time):
        return 0.0
    share = np.array([of_moves, 1 - of_moves])
    ratio = np.maximum(share, _RARELY) / np.array([of_time, 1 - of_time])
    return 2 * len(moves_s) * float((share * np.log(ratio)).sum())

"""How the motors of one mechanism share its load."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.estimators.motors import supply_current_a
from telemetry.log import BoolArray, FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.robot import Robot
from telemetry.signals import hold_s

__all__ = ["LoadShare", "mechanisms", "share_load"]

_LIKE_DUTY = 0.05
_LEAST_LOAD = 0.03
_CHUNK_S = 1.0


@dataclass(frozen=True, eq=False)
class LoadShare:
    """The motors of a mechanism compared in pieces of time in which all were driven alike, and loaded.

    `ratio` is each motor's current over the mean of the others', both as shares of their stall currents,
    shape (motors, k); `gives_back` how much of each piece it fed energy back, same shape; `start_s` and
    `end_s` have shape (k,). A piece is one second of such time, which need not be in one go.
    """

    motors: tuple[str, ...]
    start_s: FloatArray
    end_s: FloatArray
    ratio: FloatArray
    gives_back: FloatArray


def mechanisms(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """The motors of every mechanism that has more than one, in the robot file's order."""
    found: dict[str, tuple[str, ...]] = {}
    for name, motor in robot.motors.items():
        if motor.mechanism is not None:
            found[motor.mechanism] = (*found.get(motor.mechanism, ()), name)
    return {mechanism: names for mechanism, names in found.items() if len(names) > 1}


def share_load(robot: Robot, traces: Mapping[str, MotorTrace], names: Sequence[str]) -> LoadShare | None:
    """Compare the motors of one mechanism; None where they were never driven alike under load."""
    t_s = traces[names[0]].t_s
    duty = np.stack([_at(t_s, traces[name], np.abs(traces[name].command)) for name in names])
    load = np.stack([_load(robot, t_s, traces[name], name) for name in names])
    back = np.stack([_at(t_s, traces[name], supply_current_a(traces[name])) < 0.0 for name in names])
    driven = traces[names[0]].driven & (np.ptp(duty, axis=0) <= _LIKE_DUTY)
    usable = driven & (load.max(axis=0) >= _LEAST_LOAD)
    step_s = np.minimum(np.diff(t_s, append=t_s[-1:]), hold_s(t_s))
    return _by_chunk(tuple(names), t_s, step_s, load, back, usable)


def _at(t_s: FloatArray, trace: MotorTrace, values: FloatArray) -> FloatArray:
    return values if trace.t_s is t_s else np.interp(t_s, trace.t_s, values)


def _load(robot: Robot, t_s: FloatArray, trace: MotorTrace, name: str) -> FloatArray:
    """Current as a share of the stall current, or of a hundred amperes where that is not known."""
    return _at(t_s, trace, trace.current_a) / (robot.motors[name].stall_current_a or 100.0)


def _by_chunk(
    names: tuple[str, ...],
    t_s: FloatArray,
    step_s: FloatArray,
    load: FloatArray,
    back: BoolArray,
    usable: BoolArray,
) -> LoadShare | None:
    spent_s = np.cumsum(step_s[usable])
    whole = int(spent_s[-1] / _CHUNK_S) if len(spent_s) else 0
    if whole == 0:
        return None
    first = np.searchsorted(spent_s, np.arange(whole) * _CHUNK_S)
    used = int(np.searchsorted(spent_s, whole * _CHUNK_S))
    at = np.flatnonzero(usable)[:used]
    counts = np.diff(np.append(first, used))
    carried = np.add.reduceat(load[:, at], first, axis=1) / counts
    others = (carried.sum(axis=0) - carried) / (len(names) - 1)
    return LoadShare(
        motors=names,
        start_s=t_s[at[first]],
        end_s=t_s[at[np.append(first[1:], used) - 1]],
        ratio=carried / np.maximum(others, 1e-9),
        gives_back=np.add.reduceat(back[:, at].astype(float), first, axis=1) / counts,
    )

"""What a motor should draw by what another motor of its mechanism draws under the same command."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.log import BoolArray, FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor
from telemetry.signals import period_s

__all__ = ["Partner", "due_a"]

Partner = tuple[MotorTrace, Motor]

_LIKE_DUTY = 0.05
_LEARNED_S = 2.0
_SPREADS = 3.0
"""Two motors of one kind differ by a fixed share of their stall current; by how much it strays is learned."""


def due_a(trace: MotorTrace, motor: Motor, partners: Sequence[Partner], drawing: BoolArray) -> FloatArray:
    """The least current that a motor should draw at each instant, shape (n,); NaN where nothing tells.

    `drawing` says where it does draw; there it is learned by how much the currents of both differ, each as a
    share of its stall current, and how much that strays. Where they seldom go together little is due.
    """
    due = np.full(len(trace.t_s), np.nan)
    if not motor.stall_current_a:
        return due
    load = trace.current_a / motor.stall_current_a
    for other, kind in partners:
        if kind.stall_current_a and np.isfinite(other.command).any():
            least = _least_share(trace, other, load, kind.stall_current_a, drawing)
            due = np.fmax(due, least * motor.stall_current_a)
    return due


def _least_share(
    trace: MotorTrace, other: MotorTrace, load: FloatArray, stall_a: float, drawing: BoolArray
) -> FloatArray:
    """The same by one partner, as a share of the stall current; NaN where the duties differ."""
    unlike = np.abs(_at(trace, other, other.command) - trace.command) > _LIKE_DUTY
    beside = _at(trace, other, other.current_a) / stall_a
    learned = drawing & ~unlike & trace.driven
    if np.count_nonzero(learned) * period_s(trace.t_s) < _LEARNED_S:
        return np.full(len(load), np.nan)
    differ = beside[learned] - load[learned]
    usual = float(np.median(differ))
    strays = float(np.median(np.abs(differ - usual)))
    return np.where(unlike, np.nan, beside - usual - _SPREADS * strays)


def _at(trace: MotorTrace, other: MotorTrace, values: FloatArray) -> FloatArray:
    return values if other.t_s is trace.t_s else np.interp(trace.t_s, other.t_s, values)

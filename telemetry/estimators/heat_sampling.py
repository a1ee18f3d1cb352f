"""How well a heat is known that was read too seldom for how fast its current changes."""

from __future__ import annotations

import numpy as np

from telemetry.estimators.heat import TOLD_WITHIN
from telemetry.log import FloatArray
from telemetry.robot import Motor
from telemetry.signals import hold_s

__all__ = ["read_too_seldom"]

_SURE, _IN_STEP = 2.0, 4.0
"""Deviations on either side: for a number; for a range, since starts often keep step with the readings, and
then their errors add up instead of making up for each other (our choice)."""


def read_too_seldom(
    t_s: FloatArray, current_a: FloatArray, heat: FloatArray, motor: Motor
) -> FloatArray | None:
    """By how much the level may be off at each sample, shape (n,); None where that is no matter.

    A current goes from one reading to the next at an instant that is not known: the square is then off by a
    share of the step, evenly spread, whose deviation is the step by its time over √12. Steps apart from each
    other add up as squares. What the winding forgets of it meanwhile is left out, so that it is rather more.
    """
    if motor.continuous_current_a is None or motor.heating_time_constant_s is None or len(t_s) < 2:
        return None
    apart_s = np.diff(t_s)
    limit = motor.continuous_current_a**2 * motor.heating_time_constant_s
    off = np.diff(np.square(current_a)) * np.minimum(apart_s, hold_s(t_s)) / limit
    at_most = float(np.sqrt(np.square(off).sum() / 12))
    if not _SURE * at_most > TOLD_WITHIN * max(float(heat.max()), 1.0):
        return None
    return np.asarray(_IN_STEP * np.sqrt(np.concatenate(([0.0], np.cumsum(off**2))) / 12))

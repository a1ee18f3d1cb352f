"""Which motor runs whenever a sensor misbehaves: what shakes it, perhaps."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.analysis import Analysis
from telemetry.log import FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Burst
from telemetry.signals import at_instants

__all__ = ["motor_beside"]

_LEAST_BURSTS, _MOSTLY, _MORE_OFTEN = 3, 0.8, 1.3


def motor_beside(known: Analysis, bursts: Sequence[Burst]) -> tuple[str, int] | None:
    """The motor that was driven in most of the bursts, and in how many; None where none stands out.

    It must have been driven in four of five, and a third as often again as in the match at large: what runs
    all the time goes with everything. Among equals a mechanism comes before the drive, which is farther off.
    """
    if len(bursts) < _LEAST_BURSTS:
        return None
    middles_s = np.array([(burst.start_s + burst.end_s) / 2 for burst in bursts])
    ranked = [(*_lift(known, trace, middles_s), name) for name, trace in known.motors.items()]
    fitting = [one for one in ranked if one[1] >= _MOSTLY * len(bursts) and one[0] >= _MORE_OFTEN]
    if not fitting:
        return None
    _lifted, beside, name = max(
        fitting, key=lambda one: (one[1], one[2] not in known.robot.contact.drive, one[0])
    )
    return name, beside


def _lift(known: Analysis, trace: MotorTrace, middles_s: FloatArray) -> tuple[float, int]:
    """How much oftener it is driven in bursts than in the match, and in how many bursts it is."""
    inside = (trace.t_s >= known.match.start_s) & (trace.t_s < known.match.end_s)
    usual = float(trace.driven[inside].mean()) if inside.any() else 0.0
    beside = int(np.nan_to_num(at_instants(trace.t_s, trace.driven.astype(float), middles_s)).sum())
    return (beside / len(middles_s) / usual if usual > 0 else 0.0), beside

"""What limits are judged by: their switching, how their motor is driven, and which ends belong together."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.match import Match
from telemetry.records.motors import MotorStates, MotorTrace
from telemetry.records.sensors import Switching
from telemetry.robot import Robot
from telemetry.signals import at_instants, hold_s, integral, period_s

__all__ = [
    "Drive", "LimitEvidence", "any_pressed", "charge_through", "drive_of", "other_end", "pressed_at",
    "turned_rad",
]  # fmt: skip

_SIGNS = {"negative": -1.0, "positive": 1.0}
_MOVED_BY = 0.1
_READ_AGAIN_S = 0.1
"""Within that all channels are read again after a gap (our choice)."""


@dataclass(frozen=True, eq=False)
class LimitEvidence:
    """What is known when limits are judged: a match's part of the log and what was read from it.

    `gaps_s` are the silences of the whole log, shape (k, 2).
    """

    log: Log
    robot: Robot
    match: Match
    limits: Mapping[str, Switching]
    motors: Mapping[str, MotorTrace]
    motor_states: Mapping[str, MotorStates]
    gaps_s: FloatArray

    def unlogged(self, start_s: float, end_s: float) -> bool:
        """Whether a part of a stretch was not logged; also where it ends with the first reading after."""
        begun, over = self.gaps_s.T
        return bool(((begun < end_s) & (over + _READ_AGAIN_S > start_s)).any())


@dataclass(frozen=True, eq=False)
class Drive:
    """How hard the motor of one limit is driven towards it, (n,), held from each instant to the next.

    `period_s` is how far apart readings are, `longest_hold_s` how long one stands: 0 and for ever where only
    changes are logged.
    """

    t_s: FloatArray
    toward: FloatArray
    period_s: float
    longest_hold_s: float

    def at(self, instants_s: FloatArray) -> FloatArray:
        """The command towards the limit at each instant; 0 before the first."""
        return np.nan_to_num(at_instants(self.t_s, self.toward, instants_s))

    def last_way(self, instants_s: FloatArray) -> FloatArray:
        """Towards (1) or away (-1) when last driven at or before each instant; 0 where it never was."""
        moved = self._moved
        return np.nan_to_num(at_instants(self.t_s[moved], np.sign(self.toward[moved]), instants_s))

    def last_driven_s(self, instants_s: FloatArray) -> FloatArray:
        """When it was last driven either way, no later than each instant; NaN where it never was."""
        moved = self._moved
        until_s = np.append(self.t_s[1:], np.inf)[moved]
        return np.minimum(at_instants(self.t_s[moved], until_s, instants_s), instants_s)

    @property
    def _moved(self) -> BoolArray:
        return np.abs(np.nan_to_num(self.toward)) >= _MOVED_BY


def other_end(robot: Robot, name: str) -> str | None:
    """The limit at the other end of the same motor's travel, or None."""
    limit = robot.limits[name]
    if limit.motor is None or limit.stops is None:
        return None
    others = [
        other
        for other, its in robot.limits.items()
        if its.motor == limit.motor and its.stops is not None and its.stops != limit.stops
    ]
    return others[0] if others else None


def drive_of(evidence: LimitEvidence, name: str) -> Drive | None:
    """None where the robot file or the log does not tell how the limit's motor is commanded."""
    limit = evidence.robot.limits[name]
    motor = evidence.robot.motors.get(limit.motor or "")
    if limit.stops is None or motor is None or motor.command is None:
        return None
    channel = evidence.log.channels.get(motor.command)
    if channel is None or not len(channel.values):
        return None
    toward = channel.canonical() * _SIGNS[limit.stops]
    if not channel.sampled:
        return Drive(channel.t_s, toward, 0.0, np.inf)
    return Drive(channel.t_s, toward, period_s(channel.t_s), hold_s(channel.t_s))


def charge_through(
    trace: MotorTrace | None, start_s: float, end_s: float
) -> tuple[float | None, float | None]:
    """Charge through the winding in A·s and its highest current; None where no current is logged."""
    if trace is None:
        return None, None
    inside = (trace.t_s >= start_s) & (trace.t_s <= end_s)
    if np.count_nonzero(inside) < 2:
        return None, None
    current_a = trace.current_a[inside]
    return integral(trace.t_s[inside], current_a, hold_s(trace.t_s)), float(current_a.max())


def turned_rad(trace: MotorTrace, start_s: float, end_s: float) -> float | None:
    """How far the motor turned, rad; None where its speed is not known."""
    inside = (trace.t_s >= start_s) & (trace.t_s <= end_s) & np.isfinite(trace.speed_rad_s)
    if np.count_nonzero(inside) < 2:
        return None
    return abs(integral(trace.t_s[inside], trace.speed_rad_s[inside], hold_s(trace.t_s)))


def pressed_at(limit: Switching, t_s: FloatArray) -> BoolArray:
    """Whether the limit is pressed at each instant, shape (n,)."""
    return np.asarray(at_instants(limit.t_s, limit.on.astype(float), t_s) > 0)


def any_pressed(limit: Switching, start_s: float, end_s: float) -> bool:
    """Whether it is pressed at any time between two instants, the first one left out."""
    until_s = np.append(limit.t_s[1:], limit.end_s)
    return bool((limit.on & (limit.t_s < end_s) & (until_s > start_s)).any())

"""Beams and limits as two-state signals, whatever their polarity, words or rate."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from telemetry.log import Log
from telemetry.records.sensors import Switching
from telemetry.robot import Level, Robot
from telemetry.signals import period_s, steps

__all__ = ["read_beams", "read_limits"]


def read_beams(log: Log, robot: Robot, end_s: float) -> Mapping[str, Switching]:
    """Each beam of the robot file that the log holds; on means broken."""
    signals = {name: (beam.signal, beam.broken) for name, beam in robot.beams.items()}
    return _read(log, signals, end_s)


def read_limits(log: Log, robot: Robot, end_s: float) -> Mapping[str, Switching]:
    """Each limit of the robot file that the log holds; on means pressed."""
    signals = {name: (limit.signal, limit.pressed) for name, limit in robot.limits.items()}
    return _read(log, signals, end_s)


def _read(log: Log, signals: Mapping[str, tuple[str, Level]], end_s: float) -> Mapping[str, Switching]:
    found = {}
    for name, (signal, level) in signals.items():
        channel = log.channels.get(signal)
        if channel is not None and len(channel.values):
            t_s, on = steps(channel.t_s, channel.equals(level))
            found[name] = Switching(t_s, on, end_s, period_s(channel.t_s) if channel.sampled else 0.0)
    return MappingProxyType(found)

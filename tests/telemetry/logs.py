"""Small logs written out in a test: channels by name, numbers, switches and words."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

import numpy as np

from telemetry.log import Channel, Dialect, Kind, Log
from telemetry.units import unit_from_name

__all__ = ["log_of", "numbers", "switch", "words"]


def numbers(name: str, values: Sequence[float], t_s: Sequence[float] | None = None) -> Channel:
    """A channel of numbers, its unit read from its name."""
    unit = unit_from_name(name)
    return _channel(name, Kind.NUMBER, values, t_s, unit.symbol if unit else None)


def switch(
    name: str,
    values: Sequence[float],
    t_s: Sequence[float] | None = None,
    labels: tuple[str, str] = ("0", "1"),
) -> Channel:
    """A two-state channel."""
    return _channel(name, Kind.SWITCH, values, t_s, None, labels)


def words(name: str, spelled: Sequence[str], t_s: Sequence[float] | None = None) -> Channel:
    """A channel of text."""
    labels = tuple(dict.fromkeys(spelled))
    return _channel(name, Kind.TEXT, [labels.index(word) for word in spelled], t_s, None, labels)


def log_of(*channels: Channel, file: str = "match-01.csv") -> Log:
    """A log that holds these channels."""
    t_s = np.unique(np.concatenate([channel.t_s for channel in channels] or [np.empty(0)]))
    by_name = MappingProxyType({channel.name: channel for channel in channels})
    return Log(file, "0" * 64, Dialect("utf-8", ",", ".", "time_s", "s", "wide"), len(t_s), t_s, by_name)


def _channel(
    name: str,
    kind: Kind,
    values: Sequence[float],
    t_s: Sequence[float] | None,
    unit: str | None,
    labels: tuple[str, ...] = (),
) -> Channel:
    times = np.arange(len(values), dtype=np.float64) if t_s is None else np.asarray(t_s, dtype=np.float64)
    held = np.asarray(values, dtype=np.float64)
    times.flags.writeable = held.flags.writeable = False
    return Channel(name, kind, unit, times, held, labels)

"""Units as they stand in channel names, and the one canonical unit of each quantity.

Canonical: seconds, amperes, volts, radians per second, standard gravity (g), degrees Celsius,
millimetres, watts. Factors are SI definitions; 1 g = 9.80665 m/s² (CGPM 1901).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["UNITS", "Unit", "unit_from_name", "unit_named"]


@dataclass(frozen=True)
class Unit:
    """One spelling of a unit: canonical value = logged value × `factor` + `offset`."""

    symbol: str
    quantity: str
    factor: float
    offset: float = 0.0


_STANDARD_GRAVITY = 9.80665
_RPM = 2 * math.pi / 60

UNITS = MappingProxyType(
    {
        unit.symbol: unit
        for unit in (
            Unit("s", "time", 1.0),
            Unit("ms", "time", 1e-3),
            Unit("us", "time", 1e-6),
            Unit("ns", "time", 1e-9),
            Unit("A", "current", 1.0),
            Unit("mA", "current", 1e-3),
            Unit("V", "voltage", 1.0),
            Unit("mV", "voltage", 1e-3),
            Unit("rpm", "angular speed", _RPM),
            Unit("rad/s", "angular speed", 1.0),
            Unit("g", "acceleration", 1.0),
            Unit("mg", "acceleration", 1e-3),
            Unit("m/s2", "acceleration", 1 / _STANDARD_GRAVITY),
            Unit("degC", "temperature", 1.0),
            Unit("mm", "length", 1.0),
            Unit("cm", "length", 10.0),
            Unit("m", "length", 1000.0),
            Unit("W", "power", 1.0),
        )
    }
)

_SPELLINGS = MappingProxyType(
    {
        "s": "s", "sec": "s", "secs": "s", "seconds": "s",
        "ms": "ms", "msec": "ms", "milliseconds": "ms",
        "us": "us", "µs": "us", "μs": "us", "usec": "us", "microseconds": "us",
        "ns": "ns", "nanoseconds": "ns",
        "a": "A", "amp": "A", "amps": "A", "ma": "mA",
        "v": "V", "volt": "V", "volts": "V", "mv": "mV",
        "rpm": "rpm", "rad_s": "rad/s", "rad/s": "rad/s", "rads": "rad/s",
        "g": "g", "mg": "mg", "m_s2": "m/s2", "m/s2": "m/s2", "m/s^2": "m/s2", "m/s²": "m/s2",
        "c": "degC", "degc": "degC", "°c": "degC",
        "mm": "mm", "cm": "cm", "m": "m", "w": "W",
    }
)  # fmt: skip
_BARE_SUFFIXES = frozenset(
    {"s", "ms", "us", "ns", "a", "ma", "v", "mv", "rpm", "rad_s", "g", "mg", "m_s2", "c", "mm", "cm", "w"}
)
_BRACKETED = re.compile(r"[\[(]\s*([^\])]{1,12}?)\s*[\])]\s*$")


def unit_named(spelling: str) -> Unit | None:
    """The unit a user wrote (`"mA"`, `"m/s2"`, `"RPM"`), or None when it is not one we know."""
    symbol = _SPELLINGS.get(spelling.strip().lower())
    return UNITS[symbol] if symbol else None


def unit_from_name(name: str) -> Unit | None:
    """The unit a channel's name ends in: `feed_current_a`, `battery current [mA]`, `accel (m/s2)`."""
    bracketed = _BRACKETED.search(name)
    if bracketed:
        return unit_named(bracketed.group(1))
    lowered = name.strip().lower()
    suffixes = (suffix for suffix in _BARE_SUFFIXES if lowered.endswith("_" + suffix))
    longest = max(suffixes, key=len, default=None)
    return unit_named(longest) if longest else None

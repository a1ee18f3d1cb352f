"""Units as they stand in channel names, and the one canonical unit of each quantity.

Canonical: seconds, amperes, volts, radians per second, standard gravity (g), degrees Celsius,
millimetres, watts, watt hours, ohms, radians, metres per second, newton metres, hertz, shares of one.
Factors are SI definitions; 1 g = 9.80665 m/s² (CGPM 1901).
"""

from __future__ import annotations

import math
import re
from types import MappingProxyType

from telemetry.dataclass import dataclass

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
            Unit("Wh", "energy", 1.0),
            Unit("ohm", "resistance", 1.0),
            Unit("deg", "angle", math.pi / 180),
            Unit("rad", "angle", 1.0),
            Unit("deg/s", "angular speed", math.pi / 180),
            Unit("m/s", "speed", 1.0),
            Unit("Nm", "torque", 1.0),
            Unit("Hz", "frequency", 1.0),
            Unit("%", "share", 0.01),
        )
    }
)

_SPELLINGS = MappingProxyType(
    {
        "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
        "ms": "ms", "msec": "ms", "millis": "ms", "milliseconds": "ms",
        "us": "us", "µs": "us", "μs": "us", "usec": "us", "micros": "us", "microseconds": "us",
        "ns": "ns", "nsec": "ns", "nanos": "ns", "nanoseconds": "ns",
        "a": "A", "amp": "A", "amps": "A", "ampere": "A", "amperes": "A",
        "ma": "mA", "milliamp": "mA", "milliamps": "mA",
        "v": "V", "volt": "V", "volts": "V", "mv": "mV", "millivolt": "mV", "millivolts": "mV",
        "rpm": "rpm", "1/min": "rpm", "r/min": "rpm", "rev/min": "rpm",
        "rad_s": "rad/s", "rad/s": "rad/s", "rads": "rad/s", "rad_per_s": "rad/s",
        "g": "g", "mg": "mg",
        "m_s2": "m/s2", "m/s2": "m/s2", "m/s^2": "m/s2", "m/s²": "m/s2", "mps2": "m/s2", "m/s/s": "m/s2",
        "c": "degC", "degc": "degC", "deg_c": "degC", "°c": "degC", "celsius": "degC",
        "mm": "mm", "cm": "cm", "m": "m",
        "w": "W", "watt": "W", "watts": "W", "wh": "Wh", "ohm": "ohm", "ohms": "ohm", "ω": "ohm",
        "deg": "deg", "°": "deg", "rad": "rad", "deg_s": "deg/s", "deg/s": "deg/s", "°/s": "deg/s",
        "m_s": "m/s", "m/s": "m/s", "nm": "Nm", "n·m": "Nm", "hz": "Hz", "%": "%", "percent": "%", "pct": "%",
    }
)  # fmt: skip
# Left out: what is rather a word or the number of a thing than a unit at the end of a name ("lane_m").
_NO_SUFFIXES = frozenset({"m", "rads", "second", "nm", "°", "%", "1/min", "r/min", "rev/min"})
_SUFFIXES = tuple(
    sorted((spelling for spelling in _SPELLINGS if spelling not in _NO_SUFFIXES), key=len, reverse=True)
)
_BRACKETED = re.compile(r"[\[(]\s*([^\])]{1,12}?)\s*[\])]\s*$")


def unit_named(spelling: str) -> Unit | None:
    """The unit a user wrote (`"mA"`, `"m/s2"`, `"RPM"`), or None when it is not one we know.

    Capitals do not count: no robot measures in megavolts or megametres.
    """
    symbol = _SPELLINGS.get(spelling.strip().lower())
    return UNITS[symbol] if symbol else None


def unit_from_name(name: str) -> Unit | None:
    """The unit a channel's name ends in: `feed_current_a`, `battery current [mA]`, `accel (m/s2)`."""
    bracketed = _BRACKETED.search(name)
    if bracketed:
        return unit_named(bracketed.group(1))
    lowered = name.strip().lower()
    longest = next((suffix for suffix in _SUFFIXES if lowered.endswith("_" + suffix)), None)
    return unit_named(longest) if longest else None

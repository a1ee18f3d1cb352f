"""Units as they end a channel's name, and their factors."""

from __future__ import annotations

import math

import numpy as np
import pytest

from telemetry.log import Channel, Kind
from telemetry.units import UNITS, unit_from_name, unit_named


@pytest.mark.parametrize(
    ("name", "symbol"),
    [
        ("time_s", "s"),
        ("t_ms", "ms"),
        ("stamp_us", "us"),
        ("stamp_ns", "ns"),
        ("feed_current_a", "A"),
        ("feed_current_ma", "mA"),
        ("battery_v", "V"),
        ("rail_mv", "mV"),
        ("launcher_rpm", "rpm"),
        ("wheel_rad_s", "rad/s"),
        ("accel_x_g", "g"),
        ("accel_x_m_s2", "m/s2"),
        ("winding_c", "degC"),
        ("hopper_range_mm", "mm"),
        ("battery current [A]", "A"),
        ("battery current (mA)", "mA"),
        ("Wheel Speed [RPM]", "rpm"),
        ("accel [m/s^2]", "m/s2"),
        ("accel (m/s²)", "m/s2"),
        ("temp [°C]", "degC"),
        ("delay [µs]", "us"),
        ("arm_m_s", "m/s"),
    ],
)
def test_a_name_tells_its_unit(name: str, symbol: str) -> None:
    unit = unit_from_name(name)

    assert unit is not None
    assert unit.symbol == symbol


@pytest.mark.parametrize(
    "name",
    [
        "",
        "a",
        "v",
        "beam_entry",
        "mode",
        "extra",
        "alarms",
        "lane_m",
        "status [ok]",
        "[A] left",
        "piece_in",
        "_",
    ],
)
def test_a_name_without_a_unit_tells_none(name: str) -> None:
    assert unit_from_name(name) is None


@pytest.mark.parametrize("spelling", ["furlong", "", "kV", "A/s"])
def test_what_is_no_unit_is_none(spelling: str) -> None:
    assert unit_named(spelling) is None


@pytest.mark.parametrize(
    ("symbol", "logged", "canonical"),
    [
        ("mA", 1500.0, 1.5),
        ("mV", 12500.0, 12.5),
        ("rpm", 60.0, 2 * math.pi),
        ("m/s2", 9.80665, 1.0),
        ("us", 2.0, 2e-6),
        ("deg", 180.0, math.pi),
        ("%", 50.0, 0.5),
    ],
)
def test_canonical_values(symbol: str, logged: float, canonical: float) -> None:
    """SI definitions; standard gravity 9.80665 m/s² (CGPM 1901)."""
    values = np.array([logged])
    channel = Channel("x", Kind.NUMBER, symbol, np.zeros(1), values)

    assert channel.canonical()[0] == pytest.approx(canonical, rel=1e-12)
    assert values[0] == logged


def test_every_unit_can_be_written_as_its_own_symbol() -> None:
    assert [unit_named(symbol) for symbol in UNITS] == list(UNITS.values())

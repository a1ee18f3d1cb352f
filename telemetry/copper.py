"""Copper: how a winding's resistance tells its temperature, and the other way round.

IEC 60028:1925: the resistance of annealed copper of constant mass rises by 0.393 % of its value at 20 °C for
each kelvin. What comes out is the mean temperature of the winding; its hottest spot is hotter.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from telemetry.log import FloatArray

__all__ = [
    "ALPHA20_PER_K", "RESISTIVITY20_OHM_MM2_PER_M", "ZERO_RESISTANCE_C", "lead_length_m", "resistance_ratio",
    "winding_temperature_c",
]  # fmt: skip

ALPHA20_PER_K = 0.00393
"""Temperature coefficient of resistance at 20 °C (IEC 60028)."""

RESISTIVITY20_OHM_MM2_PER_M = 1 / 58
"""Of standard annealed copper at 20 °C (IEC 60028:1925)."""

ZERO_RESISTANCE_C = 1 / ALPHA20_PER_K - 20.0
"""How far below 0 °C the straight line of resistance meets zero: 234.45."""

Value = TypeVar("Value", float, FloatArray)


def resistance_ratio(temperature_c: Value, *, reference_c: float = 20.0) -> Value:
    """Resistance at a temperature over that at `reference_c`, the temperature of the data sheet."""
    return (ZERO_RESISTANCE_C + temperature_c) / (ZERO_RESISTANCE_C + reference_c)


def lead_length_m(resistance_ohm: float, area_mm2: float) -> float:
    """How many metres of copper lead of a cross-section make a resistance at 20 °C."""
    return resistance_ohm * area_mm2 / RESISTIVITY20_OHM_MM2_PER_M


def winding_temperature_c(
    resistance_ohm: Value,
    *,
    reference_ohm: float,
    reference_c: float,
    zero_resistance_c: float = ZERO_RESISTANCE_C,
) -> Value:
    """Mean temperature of a winding by its resistance, where `reference_ohm` was read at `reference_c`.

    Source: resistance method of IEC 60034-1: θ2 = (k + θ1)·R2/R1 − k. `zero_resistance_c` is k: 235 there,
    234.5 in North American clauses; by default what IEC 60028 gives.
    """
    ratio = np.divide(resistance_ohm, reference_ohm)
    temperature: Value = (zero_resistance_c + reference_c) * ratio - zero_resistance_c
    return temperature

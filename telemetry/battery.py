"""A battery by a few readings: resistance by two loads, and how long a charge lasts (Peukert's law)."""

from __future__ import annotations

import math

from telemetry.dataclass import dataclass

__all__ = ["TwoLoads", "peukert_exponent", "peukert_time_h", "two_loads"]


@dataclass(frozen=True)
class TwoLoads:
    """What two loads tell: source resistance, voltage without load, and the current of a dead short."""

    resistance_ohm: float
    open_circuit_v: float
    short_circuit_a: float


def two_loads(voltage_v: float, current_a: float, other_voltage_v: float, other_current_a: float) -> TwoLoads:
    """Resistance from two readings under different loads: (U1 − U2) / (I2 − I1).

    Source: the direct-current resistance of IEC 61951 and IEC 61960 (two load steps). Raises ValueError where
    both loads are the same, or the voltage does not fall with the load.
    """
    if current_a == other_current_a:
        raise ValueError("two different loads are needed")
    resistance_ohm = (voltage_v - other_voltage_v) / (other_current_a - current_a)
    if resistance_ohm <= 0:
        raise ValueError("the voltage does not fall with the load")
    open_circuit_v = voltage_v + current_a * resistance_ohm
    return TwoLoads(resistance_ohm, open_circuit_v, open_circuit_v / resistance_ohm)


def peukert_time_h(
    capacity_ah: float, current_a: float, exponent: float, *, rated_h: float | None = None
) -> float:
    """Hours until a charge is gone at a current (Peukert 1897).

    H·(C / (I·H))ⁿ, where C is the capacity at the H-hour rate, `rated_h`: at that current the time is H.
    Without `rated_h`, C / Iⁿ, where C is the capacity at one ampere.
    """
    if rated_h is None:
        return float(capacity_ah / current_a**exponent)
    return float(rated_h * (capacity_ah / (current_a * rated_h)) ** exponent)


def peukert_exponent(current_a: float, time_h: float, other_current_a: float, other_time_h: float) -> float:
    """The exponent from two discharges: ln(t1 / t2) / ln(I2 / I1)."""
    return math.log(time_h / other_time_h) / math.log(other_current_a / current_a)

"""What is known of the battery: dips, source resistance over time, energy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.log import FloatArray

__all__ = ["Dip", "SourceStretch", "Supply"]


@dataclass(frozen=True)
class Dip:
    """A voltage dip in the terms of IEC 61000-4-30: start, end, and the lowest voltage in it."""

    start_s: float
    end_s: float
    residual_v: float


@dataclass(frozen=True)
class SourceStretch:
    """A stretch in which the battery and its leads kept one resistance, with its 95 % interval.

    `open_circuit_v` is that at its start.
    """

    start_s: float
    end_s: float
    resistance_ohm: float
    low_ohm: float
    high_ohm: float
    open_circuit_v: float


@dataclass(frozen=True, eq=False)
class Supply:
    """The battery as the robot saw it; `t_s` and `voltage_v` have shape (n,).

    `source` are the stretches of one resistance each, `windows` the same in sliding windows; `resistance_ohm`
    is the last one's, None where its interval is wider than 5 % either way.
    """

    t_s: FloatArray
    voltage_v: FloatArray
    open_circuit_v: float | None
    resistance_ohm: float | None
    lowest_v: float | None
    dips: tuple[Dip, ...]
    energy_wh: float | None
    charge_ah: float | None = None
    energy_by_phase_wh: Mapping[str, float] | None = None
    energy_by_mechanism_wh: Mapping[str, float] | None = None
    source: tuple[SourceStretch, ...] = ()
    windows: tuple[SourceStretch, ...] = ()
    current_a: FloatArray = field(default_factory=lambda: np.empty(0))
    notes: tuple[str, ...] = ()

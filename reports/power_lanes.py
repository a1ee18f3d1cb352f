"""Lanes of motors and supply: current with heat, voltage with dips."""

from __future__ import annotations

import math

import numpy as np
from markupsafe import Markup

from reports.drawing import at, label, path, stretched, tag
from reports.envelope import line_path
from reports.lanes import FAULT_BAND_PX, Fault, Lane, Strip, fault_marks
from reports.readings import number_reading
from reports.words import counted, kind_words, listed, number
from telemetry.analysis import MotorTrace, Supply
from telemetry.log import FloatArray

__all__ = ["motor_lane", "nice_ceiling", "supply_lane"]

_PLOT_PX = 46


def motor_lane(key: str, name: str, trace: MotorTrace, faults: tuple[Fault, ...], strip: Strip) -> Lane:
    """Current as an envelope; heat, where known, as a dashed line of its own scale."""
    axis, top = strip.axis, FAULT_BAND_PX if faults else 0
    peak_a, peak_heat = _greatest(trace.current_a), _greatest(trace.heat)
    ceiling = nice_ceiling(peak_a or 1.0)
    heat_top = max(1.0, peak_heat or 0.0) * 1.15
    lines = [
        path("l l-current", line_path(trace.t_s, trace.current_a, axis, 0, ceiling))
    ]
    marks = []
    if peak_heat is not None:
        limit = (1 - 1 / heat_top) * 100
        heat = line_path(trace.t_s, trace.heat, axis, 0, heat_top)
        lines += [
            path("limit-line", f"M0 {limit:.0f}H1200"),
            path("l l-heat", heat),
        ]
        marks = [_heat_label(trace, top, heat_top)]
    body = stretched(*lines, top=top, height=_PLOT_PX)
    readings = [
        number_reading(strip.grid, trace.t_s, trace.current_a, unit="A", places=1 if ceiling < 200 else 0)
    ]
    if peak_heat is not None:
        readings.append(number_reading(strip.grid, trace.t_s, trace.heat, unit="", places=2, before="heat "))
    told = f"peak {number(peak_a, 'A')}" + (
        f", heat to {number(peak_heat, '', 2)}" if peak_heat is not None else ""
    )
    troubles = [kind_words(fault.finding.kind).title for fault in faults]
    return Lane(
        key, "motors", name, f"A, 0 to {ceiling:g}" + ("; dashed: heat, limit 1.0" if peak_heat is not None else ""),
        f"{name} motor: {told}" + (f"; {listed(troubles)}." if troubles else ", no finding."), told, _PLOT_PX + top,
        Markup("").join([body, fault_marks(faults, axis, _PLOT_PX + top), *marks]), tuple(readings),
    )  # fmt: skip


def _heat_label(trace: MotorTrace, top: float, heat_top: float) -> Markup:
    """The word for the dashed line, at its right end."""
    last = float(trace.heat[np.flatnonzero(np.isfinite(trace.heat))[-1]])
    y = top + (1 - last / heat_top) * _PLOT_PX
    return label(
        "99.6%",
        min(max(y - 4, top + 10), top + _PLOT_PX - 2),
        f"heat {number(last, '', 2)}",
        kind="t f-heat",
        anchor="end",
    )


def _greatest(values: FloatArray) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.max()) if len(known) else None


def nice_ceiling(value: float) -> float:
    """The least round number at or above a positive value: 1, 1.5, 2, 3, 4, 5, 6, 8 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(max(value, 1e-9)))
    return next(step * power for step in (1, 1.5, 2, 3, 4, 5, 6, 8, 10) if step * power >= value * (1 - 1e-9))


def supply_lane(
    supply: Supply, dip_v: float, brownout_v: float, faults: tuple[Fault, ...], strip: Strip
) -> Lane:
    """Supply voltage between round bounds, with the dip and brownout levels and each dip's lowest volts."""
    axis, top = strip.axis, FAULT_BAND_PX if faults else 0
    known = supply.voltage_v[np.isfinite(supply.voltage_v)]
    lowest, highest = (float(known.min()), float(known.max())) if len(known) else (0.0, 13.0)
    low, high = math.floor(min(lowest, brownout_v) - 0.2), math.ceil(highest + 0.1)
    level = {
        name: (high - volts) / (high - low) * 100
        for name, volts in (("dip", dip_v), ("brownout", brownout_v))
    }
    lines = [path("limit-line", f"M0 {y:.0f}H1200") for y in level.values()]
    line = path("l l-voltage", line_path(supply.t_s, supply.voltage_v, axis, low, high))
    names = [
        label("0.4%", top + y * 0.64 - 3, f"{name} {volts:g} V", kind="t s-small")
        for (name, y), volts in zip(level.items(), (dip_v, brownout_v), strict=True)
    ]
    dips = [
        _dip_mark(dip.start_s, dip.residual_v, axis.percent(dip.start_s), top) for dip in supply.dips[:40]
    ]
    told = f"lowest {number(supply.lowest_v, 'V')}, {counted(len(supply.dips), 'dip')}"
    reading = number_reading(strip.grid, supply.t_s, supply.voltage_v, unit="V", places=2)
    return Lane(
        "supply", "supply", "Supply", f"V, {low} to {high}", f"Supply voltage: {told}.", told, 64 + top,
        Markup("").join([stretched(*lines, line, top=top, height=64), fault_marks(faults, axis, 64 + top), *names, *dips]),
        (reading,),
    )  # fmt: skip


def _dip_mark(start_s: float, residual_v: float, percent: str, top: float) -> Markup:
    words = number(residual_v, "V", 2)
    mark = path("dip", f"M0 {top + 60}l5-8h-10z")
    return at(percent, 0, mark, tag("text", {"x": 8, "y": top + 60, "class": "t n"}, words))

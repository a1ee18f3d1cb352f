"""Lanes of motors and supply: current with heat, voltage with dips."""

from __future__ import annotations

import math

import numpy as np
from markupsafe import Markup

from reports.drawing import COLUMNS, LEVELS, Axis, at, label, path, stretched, tag
from reports.envelope import line_path
from reports.lanes import FAULT_BAND_PX, Fault, Lane, Strip, fault_marks
from reports.readings import number_reading
from reports.samples import Signal
from reports.words import counted, fixed, kind_words, listed, number
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.records.supply import Dip, Supply

__all__ = ["greatest", "motor_lane", "nice_ceiling", "supply_lane"]

_PLOT_PX = 42
_SUPPLY_PX = 64
_MOST_DIPS = 40
_VOLTS_SHARE = 0.075


def motor_lane(key: str, name: str, trace: MotorTrace, faults: tuple[Fault, ...], strip: Strip) -> Lane:
    """Current as an envelope; heat, where known, as a dashed line of its own scale."""
    top = FAULT_BAND_PX if faults else 0
    peak_a, peak_heat = greatest(trace.current_a), greatest(trace.heat)
    ceiling = nice_ceiling(peak_a or 1.0)
    current = line_path(trace.t_s, trace.current_a, strip.axis, 0, ceiling)
    lines, marks = [path("l l-current", current)], []
    readings = [number_reading(strip.grid, trace.t_s, trace.current_a, unit="A", places=1)]
    signals = [Signal("line", trace.t_s, trace.current_a, 1, 0, ceiling, top, _PLOT_PX, "current")]
    told = f"peak {number(peak_a, 'A')}"
    if peak_heat is not None:
        heat_top = max(1.0, peak_heat) * 1.15
        lines += _heat_lines(trace, strip.axis, heat_top)
        marks.append(_heat_label(trace, top, heat_top))
        readings.append(number_reading(strip.grid, trace.t_s, trace.heat, unit="", places=2, before="heat "))
        signals.append(Signal("slow", trace.t_s, trace.heat, 3, 0, heat_top, top, _PLOT_PX, "heat"))
        told += f", heat to {fixed(peak_heat, 2)}"
    troubles = [kind_words(fault.finding.kind).title for fault in faults]
    hatches = fault_marks(faults, strip.axis, _PLOT_PX + top)
    return Lane(
        key=key,
        group="motors",
        name=name,
        span=f"0 to {ceiling:g} A",
        summary=f"{name} motor: {told}" + (f"; {listed(troubles)}." if troubles else ", no finding."),
        rest=told,
        height_px=_PLOT_PX + top,
        drawing=Markup("").join([stretched(*lines, top=top, height=_PLOT_PX), hatches, *marks]),
        readings=tuple(readings),
        signals=tuple(signals),
    )


def _heat_lines(trace: MotorTrace, axis: Axis, heat_top: float) -> list[Markup]:
    limit = (1 - 1 / heat_top) * LEVELS
    heat = line_path(trace.t_s, trace.heat, axis, 0, heat_top)
    return [path("limit-line", f"M0 {limit:.0f}H{COLUMNS}"), path("l l-heat", heat)]


def _heat_label(trace: MotorTrace, top: float, heat_top: float) -> Markup:
    """The word for the dashed line, at its right end."""
    last = float(trace.heat[np.flatnonzero(np.isfinite(trace.heat))[-1]])
    y = top + (1 - last / heat_top) * _PLOT_PX
    y = min(max(y - 4, top + 10), top + _PLOT_PX - 2)
    return label("99.6%", y, f"heat {fixed(last, 2)}", kind="t f-heat", anchor="end")


def greatest(values: FloatArray) -> float | None:
    """The greatest finite value, or None where there is none."""
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
    low, high = _volt_bounds(supply, brownout_v)
    scale = _Scale(low, high, top, _SUPPLY_PX)
    levels = (("dip", dip_v), ("brownout", brownout_v))
    drawn = stretched(
        *(path("limit-line", f"M0 {scale.share(volts) * LEVELS:.0f}H{COLUMNS}") for _, volts in levels),
        path("l l-voltage", line_path(supply.t_s, supply.voltage_v, axis, low, high)),
        top=top, height=_SUPPLY_PX,
    )  # fmt: skip
    names = [
        label("0.4%", scale.y(volts) - 3, f"{name} {volts:g} V", kind="t s-small") for name, volts in levels
    ]
    deepest = _deepest_apart(supply.dips, axis)
    marked = supply.dips[:_MOST_DIPS]
    dips = [
        _dip_mark(dip, axis, scale, _free_side(dip, marked, axis) if dip in deepest else "") for dip in marked
    ]
    told = f"lowest {number(supply.lowest_v, 'V')}, {counted(len(supply.dips), 'dip')}"
    hatches = fault_marks(faults, axis, _SUPPLY_PX + top)
    return Lane(
        key="supply",
        group="supply",
        name="Supply",
        span=f"{low} to {high} V",
        summary=f"Supply voltage: {told}.",
        rest=told,
        height_px=_SUPPLY_PX + top,
        drawing=Markup("").join([drawn, hatches, *names, *dips]),
        readings=(number_reading(strip.grid, supply.t_s, supply.voltage_v, unit="V", places=2),),
        signals=(Signal("line", supply.t_s, supply.voltage_v, 2, low, high, top, _SUPPLY_PX, "voltage"),),
    )


@dataclass(frozen=True)
class _Scale:
    """Volts to pixels of a lane."""

    low: float
    high: float
    top_px: float
    height_px: float

    def share(self, volts: float) -> float:
        return (self.high - volts) / (self.high - self.low)

    def y(self, volts: float) -> float:
        return self.top_px + self.share(volts) * self.height_px


def _volt_bounds(supply: Supply, brownout_v: float) -> tuple[int, int]:
    known = supply.voltage_v[np.isfinite(supply.voltage_v)]
    lowest, highest = (float(known.min()), float(known.max())) if len(known) else (0.0, 13.0)
    return math.floor(min(lowest, brownout_v) - 0.2), math.ceil(highest + 0.1)


def _deepest_apart(dips: tuple[Dip, ...], axis: Axis) -> list[Dip]:
    """The dips whose volts have room beside each other, the deepest chosen first."""
    kept: list[Dip] = []
    for dip in sorted(dips, key=lambda dip: dip.residual_v):
        if all(abs(axis.share(dip.start_s) - axis.share(other.start_s)) > _VOLTS_SHARE for other in kept):
            kept.append(dip)
    return kept


def _free_side(dip: Dip, dips: tuple[Dip, ...], axis: Axis) -> str:
    """The side of a dip's mark on which its volts have room: start (to the right), end, or neither.

    The deepest is told always, on the roomier side.
    """
    away = [axis.share(other.start_s) - axis.share(dip.start_s) for other in dips if other is not dip]
    share = axis.share(dip.start_s)
    if share < 1 - _VOLTS_SHARE and not any(0 <= gap < _VOLTS_SHARE for gap in away):
        return "start"
    if share > 2 * _VOLTS_SHARE and not any(-_VOLTS_SHARE < gap <= 0 for gap in away):
        return "end"
    if dip.residual_v > min(other.residual_v for other in dips):
        return ""
    before, after = (min((abs(g) for g in away if (g < 0) is left), default=1.0) for left in (True, False))
    return "end" if before > after else "start"


def _dip_mark(dip: Dip, axis: Axis, scale: _Scale, side: str) -> Markup:
    """A wedge under the lowest point of a dip, with its volts beside it where a side is free."""
    y = min(scale.y(dip.residual_v) + 9, scale.top_px + scale.height_px - 1)
    place = {"x": -7 if side == "end" else 7, "y": f"{y:.1f}", "class": "t n"}
    anchor = {"text-anchor": "end"} if side == "end" else {}
    words = tag("text", {**place, **anchor}, number(dip.residual_v, "V", 2))
    mark = path("dip", f"M0 {y - 8:.1f}l5 8h-10z")
    return at(axis.percent(dip.start_s), 0, mark, words if side else Markup(""))

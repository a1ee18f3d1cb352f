"""Lanes of beams and limits: a bar while on, hatched where a finding says that it told nothing true."""

from __future__ import annotations

import numpy as np
from markupsafe import Markup

from reports.drawing import path, stretched, tag
from reports.envelope import bars_path
from reports.lanes import FAULT_BAND_PX, Fault, Lane, Strip, fault_marks
from reports.readings import Reading
from reports.samples import Signal
from reports.words import counted, kind_words, listed
from telemetry.records.sensors import Switching

_BAR_PX = 24

__all__ = ["switch_lane", "switching_bars", "switching_reading"]


def switch_lane(
    key: str, role: str, name: str, signal: Switching, faults: tuple[Fault, ...], strip: Strip
) -> Lane:
    """The lane of one beam or limit."""
    on, off = ("broken", "clear") if role == "beam" else ("pressed", "free")
    top = FAULT_BAND_PX if faults else 0
    body = tag("svg", {"y": top, "width": "100%", "height": _BAR_PX}, switching_bars(signal, strip))
    troubles = [kind_words(fault.finding.kind).title for fault in faults]
    changes = counted(signal.transitions, "change")
    return Lane(
        key=key,
        group=f"{role}s",
        name=name,
        span=f"bar = {on}",
        summary=f"{name} {role}: {changes}" + (f"; {listed(troubles)}." if troubles else ", no finding."),
        rest=changes,
        height_px=_BAR_PX + top,
        drawing=Markup("").join([body, fault_marks(faults, strip.axis, _BAR_PX + top)]),
        readings=(switching_reading(signal, strip, on, off),),
        signals=(
            Signal("bar", signal.t_s, signal.on.astype(float), 0, 0, 1, top, _BAR_PX, role, signal.end_s),
        ),
    )


def switching_bars(signal: Switching, strip: Strip, kind: str = "bar") -> Markup:
    """The stretches in which it was on, over a base line."""
    starts, ends = _on_stretches(signal)
    base = path("base", "M0 88H1200")
    return stretched(base, path(kind, bars_path(starts, ends, strip.axis)))


def _on_stretches(signal: Switching) -> tuple[np.ndarray, np.ndarray]:
    ends = np.append(signal.t_s[1:], signal.end_s)
    return signal.t_s[signal.on], ends[signal.on]


def switching_reading(signal: Switching, strip: Strip, on: str, off: str) -> Reading:
    """Its state at each instant, with the number of changes since the instant before where over one."""
    grid = strip.grid
    seen = np.searchsorted(signal.t_s, grid.times_s() + 1e-6, side="right")
    state = (
        np.where(seen > 0, signal.on[np.maximum(seen - 1, 0)].astype(int), 2)
        if len(signal.t_s)
        else np.full(grid.count, 2)
    )
    busy = np.diff(seen, prepend=seen[:1]) > 2
    code = np.where(busy & (state < 2), 3, state)
    starts = np.flatnonzero(np.diff(code, prepend=-1) != 0)
    at_ms = np.rint(starts * grid.step_s * 1000).astype(np.int64)
    runs = np.stack([at_ms, code[starts]], axis=1).ravel().tolist()
    return {"words": [off, on, "not logged", "switching to and fro"], "runs": runs}

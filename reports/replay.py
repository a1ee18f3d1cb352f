"""The match again, tick by tick, in words: what the terminal shows of it, and the same as data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from reports.envelope import gap_limit_s
from reports.events import Event, events_of
from reports.words import clock, fixed
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.plain import shown
from telemetry.records.sensors import Switching

__all__ = ["HEADING", "State", "event_line", "state_json", "state_line", "states_of"]

_WIDTHS = (9, 11, 10, 18, 18, 26, 8)
HEADING = "".join(
    title.ljust(width)
    for title, width in zip(
        ("time", "phase", "aboard", "beams broken", "limits pressed", "hottest motor", "volts"),
        _WIDTHS,
        strict=True,
    )
).rstrip()


@dataclass(frozen=True)
class State:
    """The robot at one tick, with what happened since the tick before.

    `aboard` is (most likely count, least, most) or None; `beams` and `limits` say whether each is on, None
    where nothing was logged yet; `hottest` is the motor with the greatest heat (with the greatest current
    where no heat is known), with that heat and current; unknown figures are None.
    """

    t_s: float
    match_s: float
    phase: str
    aboard: tuple[int, int, int] | None
    beams: Mapping[str, bool | None]
    limits: Mapping[str, bool | None]
    hottest: str | None
    heat: float | None
    current_a: float | None
    voltage_v: float | None
    events: tuple[Event, ...]


def states_of(
    analysis: Analysis, *, from_s: float | None = None, to_s: float | None = None, tick_s: float = 1.0
) -> Iterator[State]:
    """The states at every whole `tick_s` of match time between two match times, both ends included.

    Without `from_s` and `to_s`: from the start of the match to its end. Raises ValueError where `tick_s` is
    not positive.
    """
    if tick_s <= 0:
        raise ValueError(f"a tick lasts longer than nothing, not {tick_s:g} s")
    zero_s = analysis.match.start_s
    first = 0.0 if from_s is None else from_s
    last = analysis.match.end_s - zero_s if to_s is None else to_s
    events, seen = events_of(analysis), 0
    while seen < len(events) and events[seen].t_s < zero_s + first - 1e-9:
        seen += 1
    for index in range(int(np.ceil(first / tick_s - 1e-9)), int(np.floor(last / tick_s + 1e-9)) + 1):
        t_s = zero_s + index * tick_s
        until = seen
        while until < len(events) and events[until].t_s <= t_s + 1e-9:
            until += 1
        yield _state(analysis, t_s, events[seen:until])
        seen = until


def _state(analysis: Analysis, t_s: float, events: Sequence[Event]) -> State:
    hottest, heat, current_a = _hottest(analysis, t_s)
    supply = analysis.supply
    return State(
        t_s=t_s,
        match_s=t_s - analysis.match.start_s,
        phase=analysis.match.phase_at(t_s),
        aboard=_aboard(analysis, t_s),
        beams={name: _on(signal, t_s) for name, signal in analysis.beams.items()},
        limits={name: _on(signal, t_s) for name, signal in analysis.limits.items()},
        hottest=hottest,
        heat=heat,
        current_a=current_a,
        voltage_v=_value(supply.t_s, supply.voltage_v, t_s) if supply else None,
        events=tuple(events),
    )


def _aboard(analysis: Analysis, t_s: float) -> tuple[int, int, int] | None:
    steps = analysis.pieces.timeline if analysis.pieces else ()
    at = int(np.searchsorted([step.start_s for step in steps], t_s + 1e-9, side="right")) - 1
    return (steps[at].aboard, steps[at].low, steps[at].high) if at >= 0 else None


def _on(signal: Switching, t_s: float) -> bool | None:
    at = int(np.searchsorted(signal.t_s, t_s + 1e-9, side="right")) - 1
    return bool(signal.on[at]) if at >= 0 else None


def _value(t_s: FloatArray, values: FloatArray, at_s: float) -> float | None:
    """The latest value at or before an instant; None where nothing is known there."""
    at = int(np.searchsorted(t_s, at_s + 1e-9, side="right")) - 1
    if at < 0 or at_s - t_s[at] > gap_limit_s(t_s[max(at - 200, 0) : at + 1]) or not np.isfinite(values[at]):
        return None
    return float(values[at])


def _hottest(analysis: Analysis, t_s: float) -> tuple[str | None, float | None, float | None]:
    heats = {name: _value(trace.t_s, trace.heat, t_s) for name, trace in analysis.motors.items()}
    currents = {name: _value(trace.t_s, trace.current_a, t_s) for name, trace in analysis.motors.items()}
    for figures in (heats, currents):
        known = {name: value for name, value in figures.items() if value is not None}
        if known:
            name = max(known, key=lambda name: known[name])
            return name, heats[name], currents[name]
    return None, None, None


def state_line(state: State) -> str:
    """One line for a terminal, in the columns of `HEADING`; names of the log made safe."""
    cells = (
        clock(state.match_s), state.phase, _aboard_words(state.aboard), _names(state.beams),
        _names(state.limits), _motor_words(state), fixed(state.voltage_v, 2),
    )  # fmt: skip
    padded = (shown(cell, width - 1).ljust(width) for cell, width in zip(cells, _WIDTHS, strict=True))
    return "".join(padded).rstrip()


def event_line(event: Event, zero_s: float) -> str:
    """An event for a terminal, set in under the lines of state."""
    return f"  {clock(event.t_s, zero_s).ljust(_WIDTHS[0])}> {shown(event.words, 120)}"


def _aboard_words(aboard: tuple[int, int, int] | None) -> str:
    if aboard is None:
        return "–"
    count, low, high = aboard
    return str(count) if low == high else f"{count} ({low}–{high})"


def _names(states: Mapping[str, bool | None]) -> str:
    return ", ".join(name for name, on in states.items() if on) or "–"


def _motor_words(state: State) -> str:
    if state.hottest is None:
        return "–"
    heat = f" {state.heat:.2f}" if state.heat is not None else ""
    current = f" {state.current_a:.0f} A" if state.current_a is not None else ""
    room = _WIDTHS[5] - 1 - len(heat) - len(current)
    return f"{shown(state.hottest, room)}{heat}{current}"


def state_json(state: State, match: str) -> dict[str, object]:
    """The same as data: one object a tick, figures None where unknown."""
    on = {True: "on", False: "off", None: None}
    count, low, high = state.aboard or (None, None, None)
    return {
        "match": match,
        "t_s": round(state.t_s, 4),
        "match_time_s": round(state.match_s, 4),
        "phase": state.phase,
        "aboard": None if count is None else {"estimate": count, "low": low, "high": high},
        "beams": {name: on[value] for name, value in state.beams.items()},
        "limits": {name: on[value] for name, value in state.limits.items()},
        "hottest": {
            "motor": state.hottest,
            "heat": _rounded(state.heat),
            "current_a": _rounded(state.current_a),
        },
        "voltage_v": _rounded(state.voltage_v),
        "events": [{"t_s": round(event.t_s, 4), "text": event.words} for event in state.events],
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)

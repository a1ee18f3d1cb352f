"""The truth behind a simulated log, as it goes into its ``.truth.json``."""

from dataclasses import asdict, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from telemetry.simulator.contacts import Contact
from telemetry.simulator.faults import (
    DeviceSilent,
    DevicesLost,
    Fault,
    FaultRecord,
    LimitOverrun,
    LimitStray,
    LogGap,
    LooseLug,
)
from telemetry.simulator.inputs import Inputs
from telemetry.simulator.logger import LoggerSpec, LogTable, Steps
from telemetry.simulator.machine import STEP_S, Trace
from telemetry.simulator.play import Play
from telemetry.simulator.specification import MotorSpec, RobotSpec

__all__ = ["tell_truth"]

_DRIVEN_DUTY = 0.2
_STALL_SHARE = 0.05
_STALL_S = 0.25
_HEAT_STEP = 100  # of the trace: heat is followed at 0.1 s

_MOST = 0.5

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


def tell_truth(played: Play, logger: LoggerSpec, table: LogTable) -> dict[str, Any]:
    """Everything that is known about a match. Times are seconds from the first record of the log.

    ``faults`` are what was put in, ``stalls`` what physically stood still while driven. A piece is
        ``entered`` when its front breaks the first beam, ``released`` when the launcher wheel grips it. The
        ``wrong_rows`` of a beam's fault are the rows of the log that it falsifies, ``passes_lost`` the pieces
        that went by, in and out of the beam, while most of its rows read wrong: there may be none.
    """
    spec, plan, trace, inputs, faults = played.spec, played.plan, played.trace, played.inputs, played.faults
    input_faults = _with_wrong_rows(inputs, spec, table.switch_steps)
    records = [*trace.faults, *input_faults, *_logging(faults, plan.length_s)]
    records += [record for fault in faults for record in _conflicts(spec, trace, fault)]
    records += [record for fault in faults for record in _silences(fault, logger, plan.length_s)]
    if any(isinstance(fault, LimitOverrun) for fault in faults):
        records += _overruns(spec, trace)
    stalls = [stall for place, motor in enumerate(spec.motors) for stall in _stalls(trace, place, motor)]
    return {
        "schema": 1,
        "seed": played.seed,
        "robot": asdict(spec),
        "logging": asdict(logger),
        "plan": asdict(plan),
        "log": {"packets": len(table.steps), "span_s": _round(float(table.steps[-1]) * STEP_S)},
        "phases": [asdict(span) for span in plan.spans],
        "contacts": [_contact(contact, table.steps) for contact in trace.contacts],
        "bumps": [_contact(bump, table.steps) for bump in played.bumps],
        "faults": [asdict(record) for record in sorted(records, key=lambda record: record.start_s)],
        "pieces": _pieces(trace),
        "timeline": _timeline(trace),
        "releases_s": [_round(time_s) for time_s in trace.releases_s],
        "stalls": stalls,
        "motors": {motor.name: _motor(trace, place, motor) for place, motor in enumerate(spec.motors)},
        "supply": _supply(spec, trace, faults),
    }


def _round(value: float, digits: int = 3) -> float:
    return round(float(value), digits)


def _contact(contact: Contact, packets: Steps) -> dict[str, float | bool]:
    """A contact; ``logged`` tells whether any record of the log falls into its pulse."""
    times = packets * STEP_S
    inside = (times >= contact.t_s) & (times < contact.t_s + contact.duration_s)
    return {
        "t_s": contact.t_s,
        "peak_g": contact.peak_g,
        "direction_deg": contact.direction_deg,
        "duration_s": contact.duration_s,
        "push_s": contact.push_s,
        "logged": bool(inside.any()),
    }


def _logging(faults: tuple[Fault, ...], end_s: float) -> list[FaultRecord]:
    records: list[FaultRecord] = []
    for fault in faults:
        if isinstance(fault, LogGap):
            records.append(FaultRecord("log_gap", "log", fault.at_s, fault.at_s + fault.length_s))
        elif isinstance(fault, DevicesLost):
            detail = {"role": "harness", "lost": list(fault.devices)}
            end = min(fault.at_s + fault.length_s, end_s)
            records.append(FaultRecord("dropout", fault.subject, fault.at_s, end, detail))
    return records


def _with_wrong_rows(inputs: Inputs, spec: RobotSpec, rows: Steps) -> list[FaultRecord]:
    """Add for how long, and in how many rows of the log, the input told something else than the geometry."""
    names = [beam.name for beam in spec.tower.beams]
    told: list[FaultRecord] = []
    for fault in inputs.faults:
        if fault.subject not in names:
            told.append(fault)
            continue
        place = names.index(fault.subject)
        first, last = round(fault.start_s / STEP_S), round(fault.end_s / STEP_S)
        wrong = inputs.honest[place] != inputs.beams[place]
        logged = rows[(rows >= first) & (rows < last)]
        detail = {
            "wrong_s": _round(np.count_nonzero(wrong[first:last]) * STEP_S),
            "wrong_rows": int(np.count_nonzero(wrong[logged])),
            "passes_lost": _passes_lost(inputs.honest[place], wrong, logged),
        }
        told.append(replace(fault, detail=fault.detail | detail))
    return told


def _passes_lost(honest: Bools, wrong: Bools, logged: Steps) -> int:
    """Passes, in and out between the first of these rows and the last, most of whose rows are false.

    One of which no row was logged would not show with a sound beam either.
    """
    if not len(logged):
        return 0
    first, last = int(logged[0]), int(logged[-1])
    changes = np.flatnonzero(np.diff(honest[first : last + 1].astype(np.int8))) + first + 1
    broke, cleared = changes[honest[changes]], changes[~honest[changes]]
    rows = [
        logged[(logged >= start) & (logged < end)]
        for start in broke.tolist()
        for end in cleared[cleared > start][:1].tolist()
    ]
    return sum(len(row) > 0 and bool(wrong[row].mean() > _MOST) for row in rows)


def _overruns(spec: RobotSpec, trace: Trace) -> list[FaultRecord]:
    duty = trace.duty[spec.motor_names.index(spec.hoist.name)]
    records: list[FaultRecord] = []
    for bit, limit, sign in ((0, spec.arm.low, -1), (1, spec.arm.high, 1)):
        driven_on = (trace.limits >> bit & 1 == 1) & (sign * duty >= _DRIVEN_DUTY)
        records += [FaultRecord("limit_overrun", limit.name, *span) for span in _spans(driven_on)]
    return records


def _conflicts(spec: RobotSpec, trace: Trace, fault: Fault) -> list[FaultRecord]:
    """Where a limit that is not there read pressed together with the other end."""
    if not isinstance(fault, LimitStray):
        return []
    other = 1 if fault.limit == spec.arm.low.name else 0
    pressed = (trace.limits >> other & 1 == 1) & (trace.limits >> (1 - other) & 1 == 1)
    lies = np.zeros(len(pressed), dtype=bool)
    for start_s, end_s in fault.windows:
        lies[round(start_s / STEP_S) : round(end_s / STEP_S)] = True
    return [FaultRecord("limit_conflict", fault.limit, *span) for span in _spans(pressed & lies)]


def _silences(fault: Fault, logger: LoggerSpec, length_s: float) -> list[FaultRecord]:
    """A device's silence, under the names that its channels have in a robot file."""
    if not isinstance(fault, DeviceSilent):
        return []
    names = {"battery": ["supply"], "accel": [logger.name(f"accel.{axis}") for axis in "xy"]}
    state = "frozen" if fault.frozen else "missing"
    return [
        FaultRecord(
            "flatline", name, fault.at_s, min(fault.at_s + fault.length_s, length_s), {"state": state}
        )
        for name in names.get(fault.device, [fault.device])
        if not logger.omits(fault.device)
    ]


def _spans(mask: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Start and end of each run of True, seconds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(_round(start * STEP_S), _round(end * STEP_S)) for start, end in edges.reshape(-1, 2).tolist()]


def _pieces(trace: Trace) -> list[dict[str, Any]]:
    return [
        {
            "number": piece.number,
            "preload": piece.preload,
            "entered_s": None if piece.entered_s is None else _round(piece.entered_s),
            "released_s": None if piece.released_s is None else _round(piece.released_s),
        }
        for piece in trace.pieces
    ]


def _timeline(trace: Trace) -> list[dict[str, float]]:
    """Pieces aboard as a step function, counted from the first beam on."""
    aboard = sum(piece.preload for piece in trace.pieces)
    changes = [(piece.entered_s, 1) for piece in trace.pieces if piece.entered_s is not None]
    changes += [(piece.released_s, -1) for piece in trace.pieces if piece.released_s is not None]
    timeline: list[dict[str, float]] = [{"start_s": 0.0, "aboard": aboard}]
    for time_s, change in sorted(changes):
        aboard += change
        timeline.append({"start_s": _round(time_s), "aboard": aboard})
    return timeline


def _stalls(trace: Trace, place: int, motor: MotorSpec) -> list[dict[str, Any]]:
    """Driven, and slower than 5 % of the free speed at the applied voltage, for a quarter second and more."""
    duty, speed = trace.duty[place], trace.speed_rad_s[place]
    current = np.abs(trace.current_a[place])
    applied_v = np.abs(duty) * trace.bus_v
    slow = np.abs(speed) < _STALL_SHARE * applied_v / motor.constant_v_s
    draws = current > applied_v / motor.resistance_ohm / 2
    stalled = (np.abs(duty) >= _DRIVEN_DUTY) & slow & draws
    return [
        {
            "motor": motor.name,
            "start_s": start_s,
            "end_s": end_s,
            "peak_a": _round(current[round(start_s / STEP_S) : round(end_s / STEP_S)].max(), 1),
        }
        for start_s, end_s in _spans(stalled)
        if end_s - start_s >= _STALL_S
    ]


def _motor(trace: Trace, place: int, motor: MotorSpec) -> dict[str, float]:
    current, duty = trace.current_a[place], trace.duty[place]
    power = duty * current * trace.bus_v
    heat = _heat(current, motor)
    return {
        "peak_a": _round(np.abs(current).max(), 1),
        "rms_a": _round(np.sqrt(np.mean(current**2)), 2),
        "energy_wh": _round(power.sum() * STEP_S / 3600, 3),
        "charge_ah": _round((duty * current).sum() * STEP_S / 3600, 4),
        "peak_heat": _round(max(heat)),
        "end_heat": _round(heat[-1]),
    }


def _heat(current: Floats, motor: MotorSpec) -> list[float]:
    """Level of a first-order thermal model from cold: 1 is where the continuous current leads in the end."""
    whole = len(current) - len(current) % _HEAT_STEP
    squares = (current[:whole].reshape(-1, _HEAT_STEP) ** 2).mean(axis=1) / motor.continuous_current_a**2
    step_s = _HEAT_STEP * STEP_S
    heat, levels = 0.0, [0.0]
    for square in squares.tolist():
        constant_s = motor.heating_time_constant_s if square > heat else motor.cooling_time_constant_s
        heat += (square - heat) * (1 - np.exp(-step_s / constant_s))
        levels.append(float(heat))
    return levels


def _supply(spec: RobotSpec, trace: Trace, faults: tuple[Fault, ...]) -> dict[str, float]:
    resistances = [spec.battery.resistance_ohm]
    resistances += [fault.resistance_ohm for fault in faults if isinstance(fault, LooseLug)]
    return {
        "open_circuit_v": _round(trace.open_circuit_v[0]),
        "open_circuit_end_v": _round(trace.open_circuit_v[-1]),
        "resistance_ohm": resistances[-1],
        "lowest_v": _round(trace.bus_v.min()),
        "energy_wh": _round((trace.bus_v * trace.supply_a).sum() * STEP_S / 3600, 3),
        "charge_ah": _round(trace.supply_a.sum() * STEP_S / 3600, 4),
    }

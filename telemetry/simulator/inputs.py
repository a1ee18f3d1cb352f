"""What the inputs read: beams by the geometry of the pieces, limits, range; and faults laid over them."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.simulator.contacts import Contact
from telemetry.simulator.faults import (
    BeamDead,
    BeamDropouts,
    Chatter,
    Fault,
    FaultRecord,
    LimitBounce,
    NoisyRange,
)
from telemetry.simulator.machine import STEP_S, Trace
from telemetry.simulator.mechanisms import LOWER, UPPER
from telemetry.simulator.specification import BeamSpec, RobotSpec
from telemetry.simulator.streams import stream

__all__ = ["Inputs", "read_inputs"]

_DRIVEN_DUTY = 0.2
_BELT_TURNS_RAD_S = 20.0
_POWER_UP_S = (0.003, 0.025)
_FLICKER_S = (0.1, 0.4)

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Inputs:
    """What the controller's inputs read, one value a millisecond.

    ``beams`` is True where an input reads broken, ``honest`` where the geometry says so; ``limits`` has the
    bits of the trace; ``range_mm`` is None without a range sensor.
    """

    honest: tuple[Bools, ...]
    beams: tuple[Bools, ...]
    limits: NDArray[np.int64]
    range_mm: Floats | None
    faults: tuple[FaultRecord, ...]


def read_inputs(spec: RobotSpec, trace: Trace, faults: Iterable[Fault], seed: int) -> Inputs:
    """Lay the sensor faults over what is really there. Raises ValueError for a sensor the robot lacks."""
    beams = spec.tower.beams
    honest = tuple((trace.beams >> n & 1).astype(bool) for n in range(len(beams)))
    read = tuple(signal.copy() for signal in honest)
    limits = trace.limits.copy()
    range_mm = _range(spec, trace, seed)
    records: list[FaultRecord] = []
    for number, fault in enumerate(faults):
        rng = stream(seed, f"{type(fault).__name__} {number}")
        if isinstance(fault, (BeamDropouts, BeamDead, Chatter)):
            place = _place(beams, fault.beam)
            records += _upset_beam(read[place], beams[place], fault, (spec, trace), rng)
        elif isinstance(fault, LimitBounce):
            records += _bounce(limits, spec, fault, rng)
        elif isinstance(fault, NoisyRange):
            records.append(_jump_about(range_mm, spec, fault, rng))
    return Inputs(honest, read, limits, range_mm, tuple(records))


def _upset_beam(
    read: Bools,
    beam: BeamSpec,
    fault: BeamDropouts | BeamDead | Chatter,
    played: tuple[RobotSpec, Trace],
    rng: np.random.Generator,
) -> list[FaultRecord]:
    spec, trace = played
    if isinstance(fault, BeamDead):
        return [_die(read, fault)]
    if isinstance(fault, Chatter):
        return [_rattle(read, fault, start_s, rng) for start_s in _chatter_starts(spec, trace, fault, rng)]
    windows = fault.windows if fault.windows is not None else _windows(trace.contacts, fault, rng)
    return [_drop(read, beam, fault, window, rng) for window in windows]


def _range(spec: RobotSpec, trace: Trace, seed: int) -> Floats | None:
    sensor = spec.tower.range_sensor
    if sensor is None:
        return None
    there = trace.beams >> len(spec.tower.beams) & 1 == 1
    noise = stream(seed, "range").normal(0.0, sensor.noise_mm, len(there))
    return np.where(there, sensor.piece_mm, sensor.wall_mm) + noise


def _jump_about(
    range_mm: Floats | None, spec: RobotSpec, fault: NoisyRange, rng: np.random.Generator
) -> FaultRecord:
    sensor = spec.tower.range_sensor
    if sensor is None or range_mm is None:
        raise ValueError("the robot has no range sensor to be noisy")
    end_s = len(range_mm) * STEP_S
    for start_s in rng.uniform(fault.from_s, end_s, rng.poisson(fault.jumps_per_s * (end_s - fault.from_s))):
        part = _steps(start_s, start_s + float(rng.uniform(*fault.jump_s)))
        range_mm[part] = rng.uniform(0.5 * sensor.piece_mm, 1.1 * sensor.wall_mm)
    shaken = _steps(fault.from_s, end_s)
    range_mm[shaken] += rng.normal(0.0, 1.0, len(range_mm[shaken])) * fault.trembles_mm
    return FaultRecord("noisy_range", sensor.name, fault.from_s, end_s)


def _bounce(
    limits: NDArray[np.int64], spec: RobotSpec, fault: LimitBounce, rng: np.random.Generator
) -> list[FaultRecord]:
    """Open a limit switch for moments after each time it closed."""
    names = {spec.arm.low.name: LOWER, spec.arm.high.name: UPPER}
    if fault.limit not in names:
        raise ValueError(f"no limit is named {fault.limit!r}; there are {', '.join(names)}")
    bit = names[fault.limit]
    pressed = (limits & bit) > 0
    records: list[FaultRecord] = []
    for step in (np.flatnonzero(~pressed[:-1] & pressed[1:]) + 1).tolist():
        now_s = start_s = step * STEP_S
        while now_s < start_s + fault.length_s:
            now_s += _log_uniform(fault.bounce_s, rng)
            opened_s = now_s + _log_uniform(fault.bounce_s, rng)
            limits[_steps(now_s, opened_s)] &= ~bit
            now_s = opened_s
        records.append(FaultRecord("limit_bounce", fault.limit, round(start_s, 3), round(now_s, 3)))
    return records


def _place(beams: tuple[BeamSpec, ...], name: str) -> int:
    for place, beam in enumerate(beams):
        if beam.name == name:
            return place
    raise ValueError(f"no beam is named {name!r}; there are {', '.join(beam.name for beam in beams)}")


def _steps(start_s: float, end_s: float) -> slice:
    return slice(max(round(start_s / STEP_S), 0), max(round(end_s / STEP_S), 0))


def _die(read: Bools, fault: BeamDead) -> FaultRecord:
    end_s = len(read) * STEP_S
    read[_steps(fault.from_s, end_s)] = fault.stuck == "broken"
    return FaultRecord("dropout", fault.beam, fault.from_s, end_s, {"state": f"stuck_{fault.stuck}"})


def _windows(
    contacts: tuple[Contact, ...], fault: BeamDropouts, rng: np.random.Generator
) -> list[tuple[float, float]]:
    windows: list[tuple[float, float]] = []
    for contact in _hurting(contacts, fault.probability, rng):
        start_s = contact.t_s + float(rng.uniform(0.01, 0.12))
        end_s = start_s + _log_uniform(fault.length_s, rng)
        if not windows or start_s > windows[-1][1] + 0.5:
            windows.append((round(start_s, 3), round(end_s, 3)))
    return windows


def _hurting(contacts: tuple[Contact, ...], probability: float, rng: np.random.Generator) -> list[Contact]:
    """The contacts that do harm, each with this probability; where none would, the hardest does."""
    hurting = [contact for contact in contacts if rng.random() < probability]
    return hurting or sorted(contacts, key=lambda contact: contact.peak_g)[-1:]


def _drop(
    read: Bools, beam: BeamSpec, fault: BeamDropouts, window: tuple[float, float], rng: np.random.Generator
) -> FaultRecord:
    start_s, end_s = window[0], min(window[1], len(read) * STEP_S)
    honest = read.copy()
    read[_steps(start_s, end_s)] = beam.unplugged == "broken"
    if fault.flickers:
        for edge_s in (start_s, end_s - _FLICKER_S[1]):
            for _ in range(int(rng.integers(1, 5))):
                begin_s = edge_s + float(rng.uniform(0.0, _FLICKER_S[1]))
                _reconnect(read, honest, begin_s, min(begin_s + float(rng.uniform(0.01, 0.08)), end_s), rng)
        _reconnect(read, honest, end_s, end_s + _POWER_UP_S[1], rng)
    return FaultRecord("dropout", fault.beam, start_s, end_s, {"state": "intermittent"})


def _reconnect(read: Bools, honest: Bools, start_s: float, end_s: float, rng: np.random.Generator) -> None:
    """Give the receiver its supply from start to end: it reads broken first, then the truth."""
    part = _steps(start_s, end_s)
    read[part] = honest[part]
    read[_steps(start_s, min(start_s + float(rng.uniform(*_POWER_UP_S)), end_s))] = True


def _chatter_starts(spec: RobotSpec, trace: Trace, fault: Chatter, rng: np.random.Generator) -> list[float]:
    if fault.trigger == "hits":
        hurting = _hurting(trace.contacts, fault.probability, rng)
        return [contact.t_s + 0.02 for contact in hurting if contact.t_s >= fault.from_s]
    feed = spec.motor_names.index(spec.feed.name)
    runs = (np.abs(trace.duty[feed]) >= _DRIVEN_DUTY) & (trace.speed_rad_s[feed] > _BELT_TURNS_RAD_S)
    steps = np.flatnonzero(runs & (trace.time_s >= fault.from_s))
    expected = len(steps) * STEP_S / 60 * fault.bursts_per_belt_minute
    picked = np.sort(rng.choice(steps, max(1, rng.poisson(expected)))) if len(steps) else steps
    starts: list[float] = []
    for step in picked.tolist():
        if not starts or step * STEP_S > starts[-1] + fault.burst_s[1] + 0.3:
            starts.append(step * STEP_S)
    return starts


def _rattle(read: Bools, fault: Chatter, start_s: float, rng: np.random.Generator) -> FaultRecord:
    """Turn the input over and back within one burst: short false edges on whatever it reads."""
    end_s = min(start_s + float(rng.uniform(*fault.burst_s)), len(read) * STEP_S)
    now_s, last_s, edges = start_s, start_s, 0
    while now_s < end_s:
        bounce_s = _log_uniform(fault.bounce_s, rng)
        part = _steps(now_s, min(now_s + bounce_s, end_s))
        if part.stop > part.start:
            read[part] ^= True
            edges += 2
            last_s = part.stop * STEP_S
        now_s += bounce_s + _log_uniform(fault.bounce_s, rng)
    detail = {"edges": edges, "trigger": fault.trigger}
    return FaultRecord("chatter", fault.beam, round(start_s, 3), round(last_s, 3), detail)


def _log_uniform(pair: tuple[float, float], rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(*np.log(pair))))

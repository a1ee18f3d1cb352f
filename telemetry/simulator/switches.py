"""What the beam inputs read: the geometry of the pieces, and the faults laid over it."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.simulator.contacts import Contact
from telemetry.simulator.faults import BeamDead, BeamDropouts, Chatter, Fault, FaultRecord
from telemetry.simulator.machine import STEP_S, Trace
from telemetry.simulator.specification import BeamSpec, RobotSpec
from telemetry.simulator.streams import stream

__all__ = ["BeamInputs", "read_beams"]

_DRIVEN_DUTY = 0.2
_BELT_TURNS_RAD_S = 20.0
_POWER_UP_S = (0.003, 0.025)
_FLICKER_S = (0.1, 0.4)

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class BeamInputs:
    """True where an input reads broken: ``honest`` by geometry, ``read`` with the faults; and the faults."""

    honest: tuple[Bools, ...]
    read: tuple[Bools, ...]
    faults: tuple[FaultRecord, ...]


def read_beams(spec: RobotSpec, trace: Trace, faults: Iterable[Fault], seed: int) -> BeamInputs:
    """Lay the beam faults over what the geometry says. Raises ValueError for a beam the robot lacks."""
    beams = spec.tower.beams
    honest = tuple((trace.beams >> n & 1).astype(bool) for n in range(len(beams)))
    read = [signal.copy() for signal in honest]
    records: list[FaultRecord] = []
    for number, fault in enumerate(faults):
        if not isinstance(fault, (BeamDropouts, BeamDead, Chatter)):
            continue
        place = _place(beams, fault.beam)
        rng = stream(seed, f"{type(fault).__name__} {fault.beam} {number}")
        if isinstance(fault, BeamDead):
            records.append(_die(read[place], fault))
        elif isinstance(fault, Chatter):
            starts = _chatter_starts(spec, trace, fault, rng)
            records += [_rattle(read[place], fault, start, rng) for start in starts]
        else:
            windows = fault.windows if fault.windows is not None else _windows(trace.contacts, fault, rng)
            records += [_drop(read[place], beams[place], fault, window, rng) for window in windows]
    return BeamInputs(honest, tuple(read), tuple(records))


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
    hurting = [rng.random() < fault.probability for _ in contacts]
    if contacts and not any(hurting):
        hurting[max(range(len(contacts)), key=lambda n: contacts[n].peak_g)] = True
    for contact, hurts in zip(contacts, hurting, strict=True):
        start_s = contact.t_s + float(rng.uniform(0.01, 0.12))
        end_s = start_s + _log_uniform(fault.length_s, rng)
        if hurts and (not windows or start_s > windows[-1][1] + 0.5):
            windows.append((round(start_s, 3), round(end_s, 3)))
    return windows


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
        marks = [(contact.t_s + 0.02, rng.random() < fault.probability) for contact in trace.contacts]
        return [start_s for start_s, hurts in marks if hurts and start_s >= fault.from_s]
    feed = spec.motor_names.index(spec.feed.name)
    runs = (np.abs(trace.duty[feed]) >= _DRIVEN_DUTY) & (trace.speed_rad_s[feed] > _BELT_TURNS_RAD_S)
    steps = np.flatnonzero(runs & (trace.time_s >= fault.from_s))
    expected = len(steps) * STEP_S / 60 * fault.bursts_per_belt_minute
    picked = np.sort(rng.choice(steps, rng.poisson(expected))) if len(steps) else steps
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

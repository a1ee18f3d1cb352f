"""The robots, loggers and injected faults over which accuracy is measured.

None of them is the demo event; robots differ in names, words, polarity, geometry and mass, loggers in rate,
unit, shape and in what they leave out. All times are seconds of the log.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from telemetry.simulator import (
    BeamDead,
    BeamDropouts,
    BeamSpec,
    Chatter,
    DeviceSilent,
    DevicesLost,
    Fault,
    FeedJam,
    LimitBounce,
    LimitDead,
    LimitEarly,
    LimitOverrun,
    LimitSpec,
    LimitStray,
    LogGap,
    LoggerSpec,
    NoisyRange,
    RangeSpec,
    RobotSpec,
)
from telemetry.simulator.writing import Form

__all__ = ["Case", "Logging", "cases"]


@dataclass(frozen=True)
class Logging:
    """One way to write a match down."""

    name: str
    logger: LoggerSpec
    form: Form = "wide"


@dataclass(frozen=True)
class Case:
    """One match to simulate, and the ways in which it is logged; `clean` says that nothing is wrong."""

    name: str
    spec: RobotSpec
    seed: int
    faults: tuple[Fault, ...]
    loggings: tuple[Logging, ...]

    @property
    def clean(self) -> bool:
        """Whether no fault was put in."""
        return not self.faults


def cases(*, quick: bool = False, seed: int = 7000) -> Iterator[Case]:
    """Every case, in a fixed order; the quick ones are every fourth. Another seed gives other matches."""
    number = 0
    for place, (robot, (spec, loggings)) in enumerate(_robots().items()):
        for trouble, faults in _troubles(spec).items():
            number += 1
            if not quick or number % 4 == 0:
                yield Case(f"{robot}-{trouble}", spec, seed + 100 * place + number, faults, loggings)


def _robots() -> Mapping[str, tuple[RobotSpec, tuple[Logging, ...]]]:
    jay = RobotSpec()
    return {
        "plain": (jay, _at(50, 10, 250)),
        "inverted": (
            _with_beams(jay, (0.10, 0.35, 0.60), broken=1, clear=0, unplugged="broken"),
            (Logging("25 Hz, long", replace(_RENAMED, rate_hz=25), "long"), *_at(60)),
        ),
        "four": (
            replace(
                _with_beams(jay, (0.08, 0.30, 0.50, 0.66), broken="blocked", clear="open"),
                capacity=4,
                mass_kg=38.0,
            ),
            (
                Logging("60 Hz, no accelerometer", LoggerSpec(rate_hz=60, omit=("accel",))),
                Logging("changes, no accelerometer", _changes("accel"), "long"),
            ),
        ),
        "two": (
            _with_beams(jay, (0.12, 0.62), broken=True, clear=False),
            (
                Logging("100 Hz, SI, parquet", _SI, "parquet"),
                Logging("20 Hz", LoggerSpec(rate_hz=20)),
                Logging("100 Hz, no accelerometer, no speed", _without_speed(jay)),
            ),
        ),
        "ranged": (
            replace(jay, tower=replace(jay.tower, range_sensor=RangeSpec()), mass_kg=60.0),
            (
                *_at(50),
                Logging("50 Hz, switches at 250 Hz", LoggerSpec(rate_hz=50, switch_rate_hz=250), "long"),
                Logging("40 Hz, no accelerometer", LoggerSpec(rate_hz=40, omit=("accel",))),
            ),
        ),
        "levers": (
            replace(
                jay,
                arm=replace(
                    jay.arm,
                    travel_m=0.45,
                    low=LimitSpec(name="arm down", pressed=False, released=True),
                    high=LimitSpec(name="arm up", pressed=False, released=True),
                ),
            ),
            (Logging("changes", _changes(), "long"), *_at(50)),
        ),
    }  # fmt: skip


def _troubles(spec: RobotSpec) -> Mapping[str, tuple[Fault, ...]]:
    """Faults of devices that have nothing to do with each other share a match."""
    beams = [beam.name for beam in spec.tower.beams]
    first, last = beams[0], beams[-1]
    low, high = spec.arm.low.name, spec.arm.high.name
    tail = spec.motor_names[3:]
    sensor = spec.tower.range_sensor
    ranged = (DeviceSilent(device=sensor.name, at_s=66.0, length_s=7.0, frozen=True),) if sensor else ()
    trembling = (NoisyRange(from_s=20.0, jumps_per_s=0.0, trembles_mm=14.0),) if sensor else ()
    noisy = (NoisyRange(from_s=60.0),) if sensor else ()
    return {
        "clean-1": (),
        "clean-2": (),
        "loose": (BeamDropouts(beam=first, probability=0.4), LimitOverrun(), *noisy),
        "rattling": (Chatter(beam=last), LimitDead(limit=high), LogGap(at_s=70.0), *trembling),
        "dead": (BeamDead(beam=beams[len(beams) // 2], from_s=62.0), LimitBounce(limit=low), *noisy),
        "stuck": (BeamDead(beam=last, from_s=75.0, stuck="broken"), LimitDead(limit=low)),
        "bus": (
            DevicesLost(subject="motor bus", devices=tail, at_s=66.0, length_s=12.0),
            LimitStray(limit=high, windows=((40.0, 42.5), (90.0, 91.0))),
        ),
        "frozen-bus": (
            DevicesLost(subject="motor bus", devices=tail[1:], at_s=80.0, length_s=9.0, frozen=True),
            Chatter(beam=first, trigger="hits"),
            LimitBounce(limit=high),
        ),
        "analog": (
            DeviceSilent(device=tail[0], at_s=50.0, length_s=6.0),
            DeviceSilent(device=spec.motor_names[2], at_s=85.0, length_s=5.0, frozen=True),
            LimitEarly(limit=low),
            *ranged,
        ),
        "loom": (
            DevicesLost(subject="tower loom", devices=tuple(beams), at_s=58.0, length_s=14.0),
            FeedJam(from_s=40.0),
        ),
    }


def _at(*rates_hz: float) -> tuple[Logging, ...]:
    return tuple(Logging(f"{rate_hz:g} Hz", LoggerSpec(rate_hz=rate_hz)) for rate_hz in rates_hz)


_RENAMED = LoggerSpec(
    time_unit="ms",
    current_unit="mA",
    voltage_unit="mV",
    names={"feed.current": "Belt Strom", "beam.entry": "S1", "accel.x": "ax", "accel.y": "ay", "time": "t"},
)
_SI = LoggerSpec(rate_hz=100, acceleration_unit="m_s2", speed_unit="rad_s", time_unit="us")


def _changes(*omit: str) -> LoggerSpec:
    return LoggerSpec(rate_hz=50, switch_rate_hz=1000, switches_on_change=True, omit=omit)


def _without_speed(spec: RobotSpec) -> LoggerSpec:
    return LoggerSpec(rate_hz=100, omit=("accel", *(f"{name}.speed" for name in spec.motor_names)))


def _with_beams(spec: RobotSpec, positions_m: tuple[float, ...], **kind: object) -> RobotSpec:
    names = ("entry", "middle", "gate") if len(positions_m) == 3 else ("in", "b2", "b3", "out")
    beams = tuple(
        BeamSpec(name=name, position_m=at_m, **kind)  # type: ignore[arg-type]
        for name, at_m in zip(names, positions_m, strict=False)
    )
    length_m = 0.13 if len(positions_m) == 4 else spec.tower.piece_length_m
    return replace(spec, tower=replace(spec.tower, beams=beams, piece_length_m=length_m))

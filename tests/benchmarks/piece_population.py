"""The robots, loggers and beam faults over which the story of the pieces is measured.

None of them is the demo event; they differ in number and place of beams, words, polarity, capacity, length of
a piece, speed of the belt, where pieces are held, and in how they are logged.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from telemetry.simulator import (
    BeamDead,
    BeamDropouts,
    BeamSpec,
    Chatter,
    Fault,
    LoggerSpec,
    RobotSpec,
    TowerSpec,
)
from tests.benchmarks.population import Case, Logging

__all__ = ["piece_cases"]

_SHORT, _LONG = 0.12, 0.22


def piece_cases(*, quick: bool = False, seed: int = 9000) -> Iterator[Case]:
    """Every robot healthy twice, and with each of its beams in each trouble in turn; quick, every third."""
    number = 0
    for robot, (spec, loggings) in _robots().items():
        for trouble, faults in _troubles(spec).items():
            number += 1
            if not quick or number % 3 == 0:
                used = loggings[number % len(loggings)]
                yield Case(f"{robot}-{trouble}", spec, seed + number, faults, (used,))


def _troubles(spec: RobotSpec) -> Mapping[str, tuple[Fault, ...]]:
    found: dict[str, tuple[Fault, ...]] = {f"healthy-{number}": () for number in range(3)}
    for place, beam in enumerate(spec.tower.beams, start=1):
        found |= {
            f"dead-{place}": (BeamDead(beam=beam.name, from_s=0.0),),
            f"dying-{place}": (BeamDead(beam=beam.name, from_s=60.0),),
            f"stuck-{place}": (BeamDead(beam=beam.name, from_s=60.0, stuck="broken"),),
            f"loose-{place}": (BeamDropouts(beam=beam.name, probability=0.5),),
            f"rattling-{place}": (Chatter(beam=beam.name),),
        }
    return found


def _robots() -> Mapping[str, tuple[RobotSpec, tuple[Logging, ...]]]:
    return {
        "three": (_robot((0.10, 0.35, 0.60)), _logged(50, 100)),
        "held": (_robot((0.06, 0.40, 0.66), catch_m=0.70, nip_m=0.85, length_m=0.20), _logged(20, 250)),
        "short": (
            _robot((0.15, 0.45, 0.72), length_m=_SHORT, capacity=4, preload=0, nip_m=0.82, catch_m=0.62),
            (*_logged(50), Logging("changes", _on_change(), "long")),
        ),
        "two": (_robot((0.12, 0.62), broken=True, clear=False, capacity=2), _logged(25, 60)),
        "four": (_robot((0.08, 0.30, 0.50, 0.66), length_m=0.13, capacity=4), _logged(50, 100)),
        "five": (
            _robot((0.08, 0.25, 0.42, 0.59, 0.73), length_m=_SHORT, capacity=5, catch_m=0.66, nip_m=0.82),
            _logged(50),
        ),
        "close": (_robot((0.10, 0.22, 0.40, 0.60), length_m=0.19, preload=0, catch_m=0.62), _logged(50, 100)),
        "six": (
            _robot((0.05, 0.18, 0.31, 0.44, 0.57, 0.69), length_m=0.17, preload=0),
            (*_logged(100), Logging("changes", _on_change(), "long")),
        ),
        "last": (_robot((0.66,), broken=1, clear=0, length_m=_LONG, catch_m=0.70, nip_m=0.80), _logged(50)),
        "slow": (_robot((0.10, 0.35, 0.60), collect_duty=0.25, launch_duty=0.40), _logged(50, 10)),
        "blind": (_robot((0.10, 0.35, 0.60)), (Logging("no speeds", _without_speeds()),)),
    }


def _robot(
    positions_m: tuple[float, ...],
    *,
    length_m: float = 0.18,
    capacity: int = 3,
    preload: int = 1,
    broken: int | bool = 0,
    clear: int | bool = 1,
    **tower: float,
) -> RobotSpec:
    beams = tuple(
        BeamSpec(name=f"b{place}", position_m=at_m, broken=broken, clear=clear)
        for place, at_m in enumerate(positions_m, start=1)
    )
    built = TowerSpec(beams=beams, piece_length_m=length_m, **tower)  # type: ignore[arg-type]
    return replace(RobotSpec(), tower=built, capacity=capacity, preload=preload)


def _logged(*rates_hz: float) -> tuple[Logging, ...]:
    return tuple(Logging(f"{rate_hz:g} Hz", LoggerSpec(rate_hz=rate_hz)) for rate_hz in rates_hz)


def _on_change() -> LoggerSpec:
    return LoggerSpec(rate_hz=50, switch_rate_hz=1000, switches_on_change=True)


def _without_speeds() -> LoggerSpec:
    return LoggerSpec(rate_hz=50, omit=tuple(f"{name}.speed" for name in RobotSpec().motor_names))

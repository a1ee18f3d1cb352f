"""Heat from match to match: each motor starts at the level to which the pause has cooled it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.match_facts import HEAT_STARTS, MatchFacts, MotorFacts
from telemetry.thermal import cooled_level

__all__ = ["CarriedHeat", "heat_through", "pauses_s"]


@dataclass(frozen=True)
class CarriedHeat:
    """One motor in one match: level at its start, highest, and at its end; 1.0 is the limit.

    `start` is None where it is not known; peak and end are then those from cold, the least they can be.
    """

    start: float | None
    peak: float
    end: float


def pauses_s(facts: Sequence[MatchFacts], starts_s: Sequence[float | None]) -> list[float | None]:
    """Seconds without current before each match, in order; None before the first and where it is not known.

    `starts_s` are the matches' starts on one clock; matches of one log are told apart by the log's own. What
    comes out negative, or longer than a day, is no pause but a wrong clock.
    """
    found: list[float | None] = [None]
    for (before, began), (after, begins) in pairwise(zip(facts, starts_s, strict=True)):
        if None in (began, begins) and before.summary.file == after.summary.file:
            began, begins = before.start_s, after.start_s
        pause = None if began is None or begins is None else begins - after.before_s - began - before.after_s
        found.append(pause if pause is not None and 0 <= pause < 86_400 else None)
    return found[: len(facts)]


def heat_through(
    facts: Sequence[MatchFacts], pauses: Sequence[float | None]
) -> tuple[Mapping[str, CarriedHeat], ...]:
    """Each motor's heat in every match, carried over the pauses; without those of unknown heat."""
    found: list[Mapping[str, CarriedHeat]] = []
    last: Mapping[str, CarriedHeat] = {}
    for number, (one, pause_s) in enumerate(zip(facts, pauses, strict=True)):
        levels = {}
        for name, motor in one.motors.items():
            start = 0.0 if number == 0 else _start(last.get(name), motor, pause_s)
            if motor.heat_end:
                levels[name] = _carried(motor, start)
        found.append(MappingProxyType(levels))
        last = levels
    return tuple(found)


def _start(before: CarriedHeat | None, motor: MotorFacts, pause_s: float | None) -> float | None:
    if before is None or pause_s is None or motor.cooling_s is None:
        return None
    return cooled_level(before.end, pause_s, motor.cooling_s)


def _carried(motor: MotorFacts, start: float | None) -> CarriedHeat:
    """Read between the levels worked out: the replica is monotone, and nearly straight, in its start."""
    at = 0.0 if start is None else min(start, HEAT_STARTS[-1])
    peak = float(np.interp(at, HEAT_STARTS, motor.heat_peak))
    return CarriedHeat(start, peak, float(np.interp(at, HEAT_STARTS, motor.heat_end)))

"""A battery that has stepped away from what is usual: a tired cell, or a lug worked loose.

One high reading at the end of an event is no trend by any test of the order; it is told by how far it lies
from the battery's own earlier matches, or where there are none from those of the other batteries.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from telemetry.dataclass import dataclass
from telemetry.match_facts import MatchFacts
from telemetry.wording import counted

__all__ = ["ADVICE", "BatteryStep", "battery_steps"]

ADVICE = (
    "Tug every lug and lead of it and tighten what moves; measure it at rest and under load, and play it "
    "again only when it reads as usual."
)
_LEAST_TO_COMPARE = 2
_LEAST_RATIO, _LEAST_RATIO_TO_HIGHEST = 1.5, 1.3
"""How far from the usual resistance, and from the highest yet, is no longer the spread of batteries, of which
healthy ones differ by a fifth either way (our choice)."""
_LEAST_RISE_OHM = 0.004
_READING_ERROR = 0.05
"""How far a match's reading may be off (the accuracy that is measured)."""
_LOAD_A = 100.0


@dataclass(frozen=True)
class BatteryStep:
    """A battery whose present resistance lies far above the usual.

    Attributes:
        battery: its name, or `supply` where batteries are not told apart.
        match: the first match with the present resistance; `last_match` the last one it was played in.
        resistance_ohm, low_ohm, high_ohm: present median, and what the readings and their error span.
        usual_ohm: the median it is held against, of so many `compared` matches of its own, or of others.
        lowest_v: the lowest voltage since the step; None where no match tells it.
    """

    battery: str
    match: str
    last_match: str
    resistance_ohm: float
    low_ohm: float
    high_ohm: float
    usual_ohm: float
    compared: int
    with_own: bool
    lowest_v: float | None

    @property
    def text(self) -> str:
        """What happened, in a sentence."""
        before = (
            f"{counted(self.compared, 'match', 'matches')} {'before' if self.with_own else 'of the others'}"
        )
        since = f"in {self.match}" if self.match == self.last_match else f"since {self.match}"
        usual = f"{self.usual_ohm * 1e3:.0f} mΩ in the {before}"
        return (
            f"{self.resistance_ohm * 1e3:.0f} mΩ {since} against {usual}: "
            f"{self.resistance_ohm / self.usual_ohm:.1f} times as much, and no trend but a step."
        )

    @property
    def forecast(self) -> str:
        """What it means for the next match with this battery, in a sentence."""
        fell = "" if self.lowest_v is None else f" It fell to {self.lowest_v:.1f} V in {self.last_match}."
        return (
            f"{self.battery}: reckon with {self.resistance_ohm * 1e3:.0f} mΩ ({self.low_ohm * 1e3:.0f} to "
            f"{self.high_ohm * 1e3:.0f}) in the next match with it: {_LOAD_A:.0f} A then cost "
            f"{self.resistance_ohm * _LOAD_A:.1f} V, where {self.usual_ohm * _LOAD_A:.1f} V was usual.{fell}"
        )


@dataclass(frozen=True)
class _Reading:
    match: str
    ohm: float
    lowest_v: float | None


def battery_steps(facts: Sequence[MatchFacts], batteries: Sequence[str | None]) -> tuple[BatteryStep, ...]:
    """Every battery that is far from usual in the last match it was played in; matches in order."""
    readings: dict[str, list[_Reading]] = {}
    for one, name in zip(facts, batteries, strict=True):
        if one.resistance_ohm:
            reading = _Reading(one.name, one.resistance_ohm, one.lowest_v)
            readings.setdefault(name or "supply", []).append(reading)
    steps = []
    for battery, own in sorted(readings.items()):
        others = [reading for name, theirs in readings.items() if name != battery for reading in theirs]
        if step := _step(battery, own, others):
            steps.append(step)
    return tuple(steps)


def _step(battery: str, own: Sequence[_Reading], others: Sequence[_Reading]) -> BatteryStep | None:
    for first in range(_LEAST_TO_COMPARE, len(own)):
        if _is_far(own[first:], own[:first]):
            return _told(battery, own[first:], own[:first], with_own=True)
    if len(others) >= _LEAST_TO_COMPARE and _is_far(own, others):
        return _told(battery, own, others, with_own=False)
    return None


def _is_far(present: Sequence[_Reading], usual: Sequence[_Reading]) -> bool:
    least, known = min(reading.ohm for reading in present), [reading.ohm for reading in usual]
    return (
        least >= _LEAST_RATIO * median(known)
        and least >= _LEAST_RATIO_TO_HIGHEST * max(known)
        and least - median(known) >= _LEAST_RISE_OHM
    )


def _told(
    battery: str, present: Sequence[_Reading], usual: Sequence[_Reading], *, with_own: bool
) -> BatteryStep:
    ohms = [reading.ohm for reading in present]
    return BatteryStep(
        battery, present[0].match, present[-1].match,
        median(ohms), min(ohms) * (1 - _READING_ERROR), max(ohms) * (1 + _READING_ERROR),
        median(reading.ohm for reading in usual), len(usual), with_own, present[-1].lowest_v,
    )  # fmt: skip

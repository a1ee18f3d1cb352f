"""Beams, limits, ranges and the indicator light, by their names and by what their switches did."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.channel_words import NamedChannel
from telemetry.guessing_levels import beam_levels, limit_levels
from telemetry.guessing_phase import EnabledClock
from telemetry.log import Channel, Kind

__all__ = ["Sensor", "guess_beams", "guess_indicator", "guess_limits", "guess_ranges"]

_BEAM_WORDS = frozenset(
    {"beam", "beams", "beambreak", "break", "sensor", "entry", "entrance", "gate", "exit", "photo",
     "photogate", "photoeye", "eye", "prox", "proximity", "optical", "station", "infrared", "ir", "tower"}
)  # fmt: skip
_BEAM_FILLER = frozenset(
    {"beam", "beams", "beambreak", "break", "sensor", "photo", "signal", "switch", "broken"}
)
_LIMIT_WORDS = frozenset({"limit", "limits", "lim", "limitswitch", "endstop", "endswitch", "stop", "stopper"})
_LIMIT_FILLER = _LIMIT_WORDS | {"end", "switch", "signal", "pressed"}
_NOT_A_LIMIT = frozenset({"emergency", "estop", "e", "current"})
_LIGHT_WORDS = frozenset({"light", "led", "lamp", "indicator", "lit", "beacon"})
_RANGE_WORDS = frozenset({"range", "distance", "dist", "rangefinder", "ultrasonic", "sonar", "tof", "lidar"})
_RANGE_FILLER = frozenset({"range", "distance", "dist", "sensor"})
_NOT_A_RANGE = frozenset({"encoder", "odometry", "travel", "wheel", "drive", "error", "target", "setpoint"})
_PLACES: Mapping[str, int] = {
    **dict.fromkeys(("entry", "entrance", "intake", "inlet", "first", "front", "bottom", "lower", "low"), 1),
    **dict.fromkeys(("middle", "mid", "center", "centre", "second"), 2),
    **dict.fromkeys(("gate", "exit", "outlet", "last", "top", "upper", "back", "rear", "third"), 3),
}
_MOST_OF_A_KIND = 100
_NEGATIVE = frozenset(
    {"low", "lower", "down", "bottom", "min", "reverse", "rev", "retracted", "neg", "negative"}
)
_POSITIVE = frozenset({"high", "upper", "up", "top", "max", "forward", "fwd", "extended", "pos", "positive"})


@dataclass(frozen=True)
class Sensor:
    """A sensor with the name it gets, the channel that carries it, its section of a robot file, and why."""

    name: str
    named: NamedChannel
    section: Mapping[str, object]
    why: str


def guess_indicator(channels: Sequence[NamedChannel]) -> Sensor | None:
    """A switch named light, lamp, led or the like; one named for being loaded first."""
    lights = [named for named in channels if named.is_a(Kind.SWITCH) and named.has(_LIGHT_WORDS)]
    lights.sort(key=lambda named: not named.has({"loaded", "full", "load", "ready"}))
    if not lights:
        return None
    return Sensor("indicator", lights[0], {"signal": lights[0].name}, "a switch named as a light")


def guess_limits(
    channels: Sequence[NamedChannel], motors: Collection[str], clock: EnabledClock
) -> list[Sensor]:
    """Switches named limit, lim, end switch or stop; with the motor of the same name where there is one."""
    limits = [named for named in channels if named.is_a(Kind.SWITCH) and _is_limit(named)][:_MOST_OF_A_KIND]
    found: list[Sensor] = []
    for named, pressed in zip(limits, limit_levels(limits, clock, _mechanism), strict=True):
        motor = _motor_of(named, motors)
        stops = _stops(named) if motor else None
        why = f"a switch named as a limit; {pressed.why}"
        if motor:
            why += f"; the motor {motor} shares its name" + (f", {stops} by its end" if stops else "")
        limit = {"signal": named.name, "pressed": pressed.level, "motor": motor, "stops": stops}
        name = _name_of(named, _LIMIT_FILLER, [sensor.name for sensor in found])
        found.append(Sensor(name, named, limit, why))
    return found


def guess_beams(
    channels: Sequence[NamedChannel], clock: EnabledClock, taken: Collection[str]
) -> list[Sensor]:
    """Switches named beam, break, sensor, entry, gate and the like, in their order along the piece path."""
    beams = [named for named in channels if named.is_a(Kind.SWITCH) and named.has(_BEAM_WORDS)]
    ordered, why_order = _along_the_path(beams[:_MOST_OF_A_KIND])
    found: list[Sensor] = []
    for station, (named, broken) in enumerate(
        zip(ordered, beam_levels(ordered, clock), strict=True), start=1
    ):
        beam = {"signal": named.name, "broken": broken.level, "station": station}
        name = _name_of(named, _BEAM_FILLER, [*taken, *(sensor.name for sensor in found)])
        why = f"a switch named as a beam; {broken.why}; station by {why_order}"
        found.append(Sensor(name, named, beam, why))
    return found


def guess_ranges(channels: Sequence[NamedChannel], taken: Collection[str]) -> list[Sensor]:
    """Numbers named range or distance, in a length or without a unit; how near a piece is stays unknown."""
    found: list[Sensor] = []
    for named in [named for named in channels if _is_range(named)][:_MOST_OF_A_KIND]:
        name = _name_of(named, _RANGE_FILLER, [*taken, *(sensor.name for sensor in found)])
        found.append(Sensor(name, named, {"signal": named.name}, "numbers named as a distance"))
    return found


def _name_of(named: NamedChannel, filler: Collection[str], taken: Collection[str]) -> str:
    """A name for the robot file: the words of the channel without filler, told apart from those taken."""
    words = named.without(filler) or named.words or ("unnamed",)
    base = name = "_".join(words)[:60]
    number = 2
    while name in taken:
        name, number = f"{base}_{number}", number + 1
    return name


def _is_limit(named: NamedChannel) -> bool:
    end_switch = {"end", "switch"} <= set(named.words)
    return (named.has(_LIMIT_WORDS) or end_switch) and not named.has(_NOT_A_LIMIT)


def _is_range(named: NamedChannel) -> bool:
    if not named.is_a(Kind.NUMBER) or named.quantity not in (None, "length"):
        return False
    return named.has(_RANGE_WORDS) and not named.has(_NOT_A_RANGE)


def _mechanism(named: NamedChannel) -> tuple[str, ...]:
    """What a limit's name says besides that it is a limit, and of which end: the same for both ends."""
    return named.without(_LIMIT_FILLER | _NEGATIVE | _POSITIVE)


def _motor_of(named: NamedChannel, motors: Collection[str]) -> str | None:
    """The motor whose whole name stands in the limit's name, the longest where there are several."""
    words = set(named.words)
    sharing = [motor for motor in motors if set(motor.split("_")) <= words]
    return max(sharing, key=len, default=None)


def _stops(named: NamedChannel) -> str | None:
    if named.has(_NEGATIVE) != named.has(_POSITIVE):
        return "negative" if named.has(_NEGATIVE) else "positive"
    return None


def _along_the_path(beams: Sequence[NamedChannel]) -> tuple[list[NamedChannel], str]:
    """The beams in order: by the words of their names where all of them tell, else by their first change."""
    places = [_place(named) for named in beams]
    if places and None not in places and len(set(places)) == len(places):
        return [
            beams[index] for index in np.argsort(np.asarray(places, dtype=np.float64))
        ], "the words of its name"
    return sorted(
        beams, key=lambda named: _first_change_s(named.channel)
    ), "the order in which they first change"


def _place(named: NamedChannel) -> float | None:
    """Where its name puts a beam: a word such as entry or gate, else a number."""
    ranks = [_PLACES[word] for word in named.words if word in _PLACES]
    numbers = [int(word) for word in named.words if word.isascii() and word.isdigit() and len(word) < 4]
    if ranks:
        return ranks[-1] + (numbers[-1] / 10_000 if numbers else 0.0)
    return float(numbers[-1]) if numbers else None


def _first_change_s(channel: Channel) -> float:
    changes = np.flatnonzero(np.diff(channel.values) != 0)
    return float(channel.t_s[changes[0] + 1]) if len(changes) else float("inf")

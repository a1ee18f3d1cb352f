"""Beams, limits, ranges and the indicator light, by their names and by what their switches did."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from telemetry.channel_words import NamedChannel
from telemetry.dataclass import dataclass
from telemetry.guessing_levels import beam_levels, limit_levels, tells_of_a_beam
from telemetry.guessing_phase import EnabledClock
from telemetry.log import Channel, FloatArray, Kind

__all__ = ["Sensor", "guess_beams", "guess_indicator", "guess_limits", "guess_ranges"]

_BEAM_WORDS = frozenset(
    {"beam", "beams", "beambreak", "break", "sensor", "entry", "entrance", "gate", "exit", "photo",
     "photogate", "photoeye", "eye", "prox", "proximity", "optical", "station", "infrared", "ir", "tower"}
)  # fmt: skip
_BEAM_FILLER = frozenset(
    {"beam", "beams", "beambreak", "break", "sensor", "photo", "signal", "switch", "broken"}
)
_TWO = 2
_LIMIT_WORDS = frozenset({"limit", "limits", "lim", "limitswitch", "endstop", "endswitch", "stop", "stopper"})
_LIMIT_FILLER = _LIMIT_WORDS | {"end", "switch", "signal", "pressed"}
_NOT_A_LIMIT = frozenset({"emergency", "estop", "e", "current"})
_LIGHT_WORDS = frozenset({"light", "led", "lamp", "indicator", "lit", "beacon"})
_RANGE_WORDS = frozenset({"range", "distance", "dist", "rangefinder", "ultrasonic", "sonar", "tof", "lidar"})
_RANGE_FILLER = frozenset({"range", "distance", "dist", "sensor"})
_NOT_A_RANGE = frozenset({"encoder", "odometry", "travel", "wheel", "drive", "error", "target", "setpoint"})
_PLACES: Mapping[str, int] = {
    **dict.fromkeys(
        ("entry", "entrance", "intake", "inlet", "in", "first", "front", "bottom", "lower", "low"), 1
    ),
    **dict.fromkeys(("middle", "mid", "center", "centre", "second"), 2),
    "third": 3,
    **dict.fromkeys(("gate", "exit", "outlet", "out", "last", "top", "upper", "back", "rear"), 1000),
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
    """Switches named beam, break, sensor, entry, gate and the like, in their order along the piece path.

    Also texts of two words, one of which tells of a beam, as `blocked` and `open` do.
    """
    beams = [named for named in channels if _is_beam(named)]
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


def _is_beam(named: NamedChannel) -> bool:
    if named.is_a(Kind.TEXT):
        return len(named.channel.labels) == _TWO and tells_of_a_beam(named.channel.labels)
    return named.is_a(Kind.SWITCH) and named.has(_BEAM_WORDS)


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
    """The beams in order: by the words of their names where all of them tell, else by which leads which."""
    changes_s = [_changes_s(named.channel) for named in beams]
    ahead = [-sum(_lead(one, other) for other in changes_s) for one in changes_s]
    first_s = [float(at_s[0]) if len(at_s) else np.inf for at_s in changes_s]
    told = [place for place in map(_place, beams) if place is not None]
    places = told if len(told) == len(beams) else [0.0] * len(beams)
    order = np.lexsort((first_s, ahead, places))
    by_names = len(set(places)) == len(places)
    why = "the words of its name" if by_names and told else "the order in which they change"
    return [beams[index] for index in order], why


def _place(named: NamedChannel) -> float | None:
    """Where its name puts a beam: a word such as entry or gate, else a number."""
    ranks = [_PLACES[word] for word in named.words if word in _PLACES]
    numbers = [int(word) for word in named.words if word.isascii() and word.isdigit() and len(word) < 4]
    if ranks:
        return ranks[-1] + (numbers[-1] / 10_000 if numbers else 0.0)
    return float(numbers[-1]) if numbers else None


def _changes_s(channel: Channel) -> FloatArray:
    return np.asarray(channel.t_s[1:][np.diff(channel.values) != 0])


def _lead(one_s: FloatArray, other_s: FloatArray) -> int:
    """1 where one beam is ahead of another on the path, -1 where behind, 0 where that does not show.

    What has passed the first and not yet the second is aboard: the share of its changes that the first has
    behind it is ahead of the second's by what the robot carries, and behind only by what was aboard at the
    start.
    """
    if not len(one_s) or not len(other_s):
        return 0
    at_s = np.concatenate((one_s, other_s))
    step = np.repeat((1 / len(one_s), -1 / len(other_s)), (len(one_s), len(other_s)))
    between = np.cumsum(step[np.argsort(at_s, kind="stable")])
    return int(np.sign(np.round(between.mean(), 6)))

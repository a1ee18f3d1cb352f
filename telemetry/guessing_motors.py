"""Motors by the common stem of their channels, and what several motors together tell."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from telemetry.channel_words import NamedChannel
from telemetry.log import Kind

__all__ = ["TOTAL_WORDS", "MotorGuess", "guess_motors", "is_current"]

_CURRENT_WORDS = frozenset({"current", "amps", "amperes", "curr"})
_COMMAND_WORDS = frozenset(
    {"command", "cmd", "duty", "output", "throttle", "percent", "pwm", "applied", "cycle"}
)
_SURE_COMMAND_WORDS = frozenset({"command", "cmd", "duty"})
_SPEED_WORDS = frozenset({"rpm", "speed", "velocity", "vel", "rps"})
_WISHED = frozenset({"target", "setpoint", "desired", "goal", "reference", "error", "limit"})
_SIDE_WORDS = frozenset({"supply", "stator", "winding"})
_FILLER = frozenset({"motor", "mot", "measured", "actual"})
TOTAL_WORDS = frozenset({"total", "battery", "batt", "bat", "sum", "pack"})
"""Words that make a current the whole robot's and not a motor's."""

_LARGEST_COMMAND = 1.5


@dataclass
class MotorGuess:
    """A motor in the making: channels by role, in the file's order."""

    stem: tuple[str, ...]
    channels: dict[str, NamedChannel] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Its name in the robot file."""
        return "_".join(self.stem)[:60]

    def section(self) -> dict[str, str]:
        """As the robot file would write it, its data-sheet numbers unknown."""
        side = (
            "supply"
            if "current" in self.channels and "supply" in self.channels["current"].words
            else "winding"
        )
        channels = {role: named.name for role, named in self.channels.items()}
        return {**channels, "current_side": side}

    def is_motor(self) -> bool:
        """A current, or a command that can be nothing else."""
        command = self.channels.get("command")
        return "current" in self.channels or (command is not None and command.has(_SURE_COMMAND_WORDS))


def guess_motors(channels: Sequence[NamedChannel]) -> list[MotorGuess]:
    """Motors with a current, or at least a command; channels of one stem belong to one motor."""
    by_stem: dict[tuple[str, ...], MotorGuess] = {}
    names: set[str] = set()
    for named in channels:
        role = _role(named)
        stem = _stem(named)
        if role is None or not stem or named.has(TOTAL_WORDS | _WISHED):
            continue
        guess = by_stem.setdefault(stem, MotorGuess(stem))
        guess.channels.setdefault(role, named)
    motors = []
    for guess in by_stem.values():
        if guess.is_motor() and guess.name not in names:
            names.add(guess.name)
            motors.append(guess)
    return motors


def is_current(named: NamedChannel) -> bool:
    """Numbers in amperes, or without a unit and named a current."""
    if not named.is_a(Kind.NUMBER):
        return False
    return named.quantity == "current" or (named.quantity is None and named.has(_CURRENT_WORDS))


def _role(named: NamedChannel) -> str | None:
    if not named.is_a(Kind.NUMBER):
        return None
    if is_current(named):
        return "current"
    if named.quantity == "angular speed" or (named.quantity is None and named.has(_SPEED_WORDS)):
        return "speed"
    if named.quantity is None and named.has(_COMMAND_WORDS) and _is_a_share(named):
        return "command"
    return None


def _stem(named: NamedChannel) -> tuple[str, ...]:
    """What is left of a name without the words of its role: the same for all channels of one motor."""
    words = named.without(_CURRENT_WORDS | _COMMAND_WORDS | _SPEED_WORDS | _SIDE_WORDS)
    bare = tuple(word for word in words if word not in _FILLER)
    return bare if _names_something(bare) else words


def _names_something(words: Iterable[str]) -> bool:
    return any(not word.isdigit() and len(word) > 1 for word in words)


def _is_a_share(named: NamedChannel) -> bool:
    values = named.channel.values
    finite = values[np.isfinite(values)]
    return len(finite) > 0 and float(np.abs(finite).max()) <= _LARGEST_COMMAND

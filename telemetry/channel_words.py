"""Channel names taken apart into words: `driveLeft_current [A]` is *drive left current*, a current."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cached_property

from telemetry.dataclass import dataclass
from telemetry.log import Channel, Kind
from telemetry.units import UNITS

__all__ = ["NamedChannel", "named_channels"]

_WORD = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+|[^\W\d_A-Za-z]+")
_BRACKETED_UNIT = re.compile(r"[\[(][^\])]{0,12}[\])]\s*$")
_BARE_UNIT = re.compile(r"(?i)[_ .-](?:s|ms|us|ns|a|ma|v|mv|rad_s|g|mg|m_s2|c|mm|cm|w)$")
_LONGEST_NAME = 200


@dataclass(frozen=True)
class NamedChannel:
    """A channel with the words of its name, lower case, in order, the unit at its end left out."""

    channel: Channel

    @cached_property
    def words(self) -> tuple[str, ...]:
        """The words; a name of signs only has none."""
        name = self.channel.name
        if self.channel.unit is not None:
            name = _BARE_UNIT.sub("", _BRACKETED_UNIT.sub("", name).rstrip())
        return tuple(word.lower() for word in _WORD.findall(name))

    @property
    def name(self) -> str:
        """The log's own name."""
        return self.channel.name

    @property
    def quantity(self) -> str | None:
        """What its unit measures (`current`, `voltage`, …), or None without a unit."""
        unit = UNITS.get(self.channel.unit) if self.channel.unit is not None else None
        return unit.quantity if unit else None

    def is_a(self, kind: Kind) -> bool:
        """Whether its values are numbers, a switch or text."""
        return self.channel.kind is kind

    def has(self, words: Iterable[str]) -> bool:
        """Whether any of the words stands in its name."""
        return not set(words).isdisjoint(self.words)

    def without(self, words: Iterable[str]) -> tuple[str, ...]:
        """The words of its name that are not among these."""
        left_out = frozenset(words)
        return tuple(word for word in self.words if word not in left_out)


def named_channels(channels: Iterable[Channel]) -> list[NamedChannel]:
    """The channels that a robot file can name: a name of 1 to 200 characters of proper Unicode."""
    return [NamedChannel(channel) for channel in channels if _can_be_written(channel.name)]


def _can_be_written(name: str) -> bool:
    return 0 < len(name) <= _LONGEST_NAME and not any("\ud800" <= character <= "\udfff" for character in name)

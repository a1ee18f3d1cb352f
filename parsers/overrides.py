"""What a robot file or an option may say about reading a log, where sniffing needs help."""

from __future__ import annotations

import codecs
import difflib
from collections.abc import Iterable, Mapping
from dataclasses import field, replace
from types import MappingProxyType
from typing import Protocol

from telemetry.dataclass import dataclass
from telemetry.errors import UsageError
from telemetry.plain import shown

__all__ = ["FORMAT_KEYS", "LogOverrides", "Told", "told_format"]

_DELIMITERS = MappingProxyType({"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"})
_DECIMALS = MappingProxyType({"point": ".", "comma": ","})
_SHAPES = ("wide", "long")
_TIME_UNITS = ("s", "ms", "us", "ns", "iso8601")
FORMAT_KEYS = ("delimiter", "decimal", "encoding", "shape", "time", "time_unit", "channel", "value")


class LogOverrides(Protocol):
    """The `[log]` section of a robot file."""

    @property
    def time(self) -> str | None:
        """Name of the time column."""

    @property
    def time_unit(self) -> str | None:
        """`s`, `ms`, `us`, `ns` or `iso8601`."""

    @property
    def channel(self) -> str | None:
        """Name of the channel-name column; its presence says that the log is long."""

    @property
    def value(self) -> str | None:
        """Name of the value column of a long log."""

    @property
    def units(self) -> Mapping[str, str]:
        """Unit by channel name, in place of the unit read from the name."""


@dataclass(frozen=True)
class Told:
    """All that was said about a log; what is None or empty is recognised from the file."""

    time: str | None = None
    time_unit: str | None = None
    channel: str | None = None
    value: str | None = None
    units: Mapping[str, str] = field(default_factory=dict)
    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    shape: str | None = None

    def over(self, section: LogOverrides | None) -> Told:
        """This, and what the robot file says where this says nothing."""
        if section is None:
            return self
        return replace(
            self,
            time=self.time or section.time,
            time_unit=self.time_unit or section.time_unit,
            channel=self.channel or (None if self.shape == "wide" else section.channel),
            value=self.value or (None if self.shape == "wide" else section.value),
            units=self.units or section.units,
        )


def told_format(settings: Iterable[str]) -> Told:
    """What `KEY=VALUE` settings say, as `delimiter=semicolon` or `time=stamp`.

    Raises UsageError for an unknown key or a value that the key cannot take.
    """
    said: dict[str, str] = {}
    for setting in settings:
        key, equals, value = setting.partition("=")
        key = key.strip().replace("-", "_")
        if not equals or key not in FORMAT_KEYS:
            near = difflib.get_close_matches(key, FORMAT_KEYS, n=1, cutoff=0.0)[0]
            raise UsageError(
                f"--format {shown(setting, 40)}: looked for KEY=VALUE with a key out of "
                f"{', '.join(FORMAT_KEYS)}; the nearest is {near}"
            )
        said[key] = _checked(key, value)
    return Told(**said)  # type: ignore[arg-type]  # the keys are FORMAT_KEYS, each of a str field


def _checked(key: str, value: str) -> str:
    allowed: Mapping[str, str] = {
        "delimiter": _DELIMITERS,
        "decimal": _DECIMALS,
        "shape": {word: word for word in _SHAPES},
        "time_unit": {word: word for word in _TIME_UNITS},
    }.get(key, {})
    if key == "encoding":
        return _encoding(value)
    if not allowed:
        return value
    found = allowed.get(value.strip().lower()) or (value if value in allowed.values() else None)
    if found is None:
        raise UsageError(
            f"--format {key}={shown(value, 20)}: looked for one of {', '.join(allowed)}; write one of them"
        )
    return found


def _encoding(value: str) -> str:
    try:
        return codecs.lookup(value).name
    except LookupError:
        raise UsageError(
            f"--format encoding={shown(value, 20)}: looked for an encoding such as utf-8, utf-16-le or "
            f"windows-1252; write one of them"
        ) from None

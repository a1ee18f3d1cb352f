"""What a robot file may say about reading a log, where sniffing needs help."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

__all__ = ["LogOverrides", "NoOverrides"]


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
class NoOverrides:
    """Nothing is said: everything is recognised from the file."""

    time: str | None = None
    time_unit: str | None = None
    channel: str | None = None
    value: str | None = None
    units: Mapping[str, str] = field(default_factory=dict)

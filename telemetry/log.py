"""Log, Channel and Repair: the only form in which samples travel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from enum import StrEnum
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from telemetry.dataclass import dataclass
from telemetry.units import UNITS

__all__ = ["BoolArray", "Channel", "Dialect", "FloatArray", "Kind", "Log", "Repair"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class Kind(StrEnum):
    """What a channel's values are."""

    NUMBER = "number"
    SWITCH = "switch"
    TEXT = "text"


@dataclass(frozen=True, eq=False)
class Channel:
    """One logged signal: the instants at which it was logged and the values, missing cells left out.

    Attributes:
        name: the log's own name, whole; hostile until escaped.
        kind: number, switch (two states) or text.
        unit: symbol out of `telemetry.units.UNITS`, or None; the unit of `values`.
        t_s: shape (n,), float64, non-decreasing, seconds from the log's first kept record.
        values: shape (n,), float64. Numbers as logged, in `unit`; a switch as 0.0 or 1.0; a text as
            index into `labels`.
        labels: the spellings of a switch (two: low, high) or of a text; empty for a number.
        sampled: logged at a steady rate, as against only when it changes.
        missing: cells that hold no value though a sampled channel should have one there.
        rows: shape (n,), place of each value among the log's records as read; None where every record
            has one, or where it is not known.
        logged: shape (n,), the values as the file has them where `values` cannot say them: whole numbers
            of more than 53 bits, states spelled in several ways. None elsewhere.
    """

    name: str
    kind: Kind
    unit: str | None
    t_s: FloatArray
    values: FloatArray
    labels: tuple[str, ...] = ()
    sampled: bool = True
    missing: int = 0
    rows: NDArray[np.int32] | None = None
    logged: NDArray[Any] | None = None

    def canonical(self) -> FloatArray:
        """The values in the canonical unit of their quantity, shape (n,); unchanged without a unit."""
        if self.unit is None:
            return self.values
        unit = UNITS[self.unit]
        if unit.factor == 1.0 and unit.offset == 0.0:
            return self.values
        return self.values * unit.factor + unit.offset

    def code_of(self, value: bool | int | float | str) -> float | None:
        """The entry of `values` that stands for a value of the robot file, or None if it never occurs."""
        if isinstance(value, str):
            spelled = [label.strip().lower() for label in self.labels]
            wanted = value.strip().lower()
            return float(spelled.index(wanted)) if wanted in spelled else None
        if self.kind is Kind.TEXT:
            return self.code_of(_as_text(value))
        return float(value)

    def equals(self, value: bool | int | float | str) -> BoolArray:
        """Where the channel holds a value of the robot file, shape (n,); all False if it never does."""
        code = self.code_of(value)
        return np.zeros(len(self.values), dtype=bool) if code is None else self.values == code


def _channel_between(channel: Channel, start_s: float, end_s: float) -> Channel:
    left, right = np.searchsorted(channel.t_s, (start_s, end_s), side="left")
    t_s, values = channel.t_s[left:right], channel.values[left:right]
    state_carried_in = not channel.sampled and left > 0 and (right == left or t_s[0] > start_s)
    if state_carried_in:
        t_s = np.concatenate(([start_s], t_s))
        values = np.concatenate((channel.values[left - 1 : left], values))
    return replace(channel, t_s=t_s, values=values, rows=None, logged=None)


def _as_text(value: bool | int | float) -> str:
    return str(value).lower() if isinstance(value, bool) else f"{value:g}"


@dataclass(frozen=True)
class Repair:
    """One thing the reader had to mend or leave out, never in silence.

    `line` is the first line of the file concerned (from 1), or None where there are no lines;
    `cells` counts the cells that were left out.
    """

    kind: str
    count: int
    line: int | None
    text: str
    cells: int = 0


@dataclass(frozen=True)
class Dialect:
    """How the file was read; `delimiter` and `decimal` are empty for Parquet.

    `why` and `runner_up` are the evidence for this reading and for the next best, in words, empty where
    there was nothing to weigh; `other_clocks` are columns that would have done for the time column.
    """

    encoding: str
    delimiter: str
    decimal: str
    time_column: str
    time_unit: str
    shape: str
    why: str = ""
    runner_up: str = ""
    other_clocks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Log:
    """A log as read.

    Attributes:
        file: the file's name without its folder; hostile until escaped.
        sha256: of the file's bytes, lower-case hexadecimal.
        rows: data rows kept.
        t_s: shape (rows,), float64, non-decreasing: the instants of the kept records.
        channels: by name, in the file's order, the time column left out.
        repairs: what was mended or left out.
        start_epoch_s: Unix time of the first record where the file's clock tells it, else None; a date
            without a zone is taken as UTC.
        seams_s: instants at which a piece of log begins behind a reset or leap of the clock, increasing;
            the second before each is drawn, its true length is unknown.
    """

    file: str
    sha256: str
    dialect: Dialect
    rows: int
    t_s: FloatArray
    channels: Mapping[str, Channel] = field(default_factory=lambda: MappingProxyType({}))
    repairs: tuple[Repair, ...] = ()
    start_epoch_s: float | None = None
    seams_s: tuple[float, ...] = ()

    @property
    def shape(self) -> str:
        """`wide` or `long`."""
        return self.dialect.shape

    def between(self, start_s: float, end_s: float) -> Log:
        """The part of the log in [start_s, end_s), on the same clock; a change log's state is carried in."""
        left, right = np.searchsorted(self.t_s, (start_s, end_s), side="left")
        t_s = self.t_s[left:right]
        channels = {
            name: replace(channel, t_s=t_s, values=channel.values[left:right], rows=None, logged=None)
            if channel.sampled and channel.t_s is self.t_s
            else _channel_between(channel, start_s, end_s)
            for name, channel in self.channels.items()
        }
        return replace(self, t_s=t_s, rows=len(t_s), channels=MappingProxyType(channels))

    @property
    def span_s(self) -> float:
        """Seconds from the first kept record to the last."""
        return float(self.t_s[-1]) if len(self.t_s) else 0.0

"""Columns of a wide table, or groups of rows of a long one, to channels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from parsers.cadence import is_sampled, missing_slots, repeats
from parsers.cells import Typed, encode_labels
from parsers.ledger import Ledger, braced
from parsers.roles import LongColumns
from parsers.table import Table, TextColumn
from telemetry.log import BoolArray, Channel, FloatArray, Kind
from telemetry.units import unit_from_name, unit_named

__all__ = [
    "BuiltChannels",
    "Groups",
    "group_rows",
    "long_channels",
    "unique_names",
    "unit_symbols",
    "wide_channels",
]


@dataclass
class BuiltChannels:
    """Channels and the cells that went into them, empty and void ones included."""

    channels: list[Channel] = field(default_factory=list)
    cells_kept: int = 0
    spoiled_in: list[str] = field(default_factory=list)
    spoiled: int = 0
    spoiled_line: int | None = None
    doubled_rows: set[int] = field(default_factory=set)
    doubled_cells: int = 0
    doubled_line: int | None = None

    def by_name(self) -> Mapping[str, Channel]:
        """The channels as a log holds them."""
        return MappingProxyType({channel.name: channel for channel in self.channels})

    def note_spoiled(self, name: str, cells: int, line: int | None) -> None:
        """Notes cells of a channel that hold no value of it."""
        if cells:
            self.spoiled += cells
            self.spoiled_in.append(name)
            self.spoiled_line = _earlier(self.spoiled_line, line)

    def note_doubled(self, rows: NDArray[np.intp], line: int | None) -> None:
        """Notes rows whose value of a sampled channel gave way to a later one of the same time."""
        if len(rows):
            self.doubled_rows.update(rows.tolist())
            self.doubled_cells += len(rows)
            self.doubled_line = _earlier(self.doubled_line, line)

    def enter(self, ledger: Ledger) -> None:
        """Enters what was noted."""
        names = ", ".join(braced(name, 40) for name in self.spoiled_in[:3])
        more = ", …" if len(self.spoiled_in) > 3 else ""
        ledger.add(
            "unreadable_cell",
            self.spoiled,
            f"{{count}} unreadable cell(s){{where}} left out, in {names}{more}.",
            line=self.spoiled_line,
            cells=self.spoiled,
        )
        ledger.add(
            "duplicate_time",
            len(self.doubled_rows),
            "{count} row(s) had the time of the next{where}; the later value of a sampled channel counts.",
            line=self.doubled_line,
            cells=self.doubled_cells,
        )


def _earlier(one: int | None, other: int | None) -> int | None:
    return other if one is None else one if other is None else min(one, other)


def unique_names(names: Sequence[str], ledger: Ledger, line: int | None) -> list[str]:
    """The names at a line, later ones of a kind as `name#2`, `name#3` …; entered as `duplicate_channel`."""
    taken = set(names)
    seen: set[str] = set()
    result = []
    for name in names:
        fresh, number = name, 2
        while fresh in seen or (fresh != name and fresh in taken):
            fresh, number = f"{name}#{number}", number + 1
        seen.add(fresh)
        result.append(fresh)
    renamed = [(old, new) for old, new in zip(names, result, strict=True) if old != new]
    if renamed:
        new = braced(renamed[0][1], 40)
        ledger.add(
            "duplicate_channel",
            len(renamed),
            f"{{count}} channel(s) with a name that was taken{{where}} renamed, the first to {new}.",
            line=line,
        )
    return result


def unit_symbols(
    names: Sequence[str], given: Sequence[str | None], overrides: Mapping[str, str]
) -> list[str | None]:
    """Unit of each channel: the robot file's, else the file's own, else that of the name.

    A letter that numbers like things (`beam_a`, `beam_b`) is no unit.
    """
    series = {name[:-1].lower() for name in names if name[-2:].lower() in {"_b", "_d", "_e"}}
    symbols: list[str | None] = []
    for name, own in zip(names, given, strict=True):
        wanted = unit_named(overrides[name]) if name in overrides else None
        lettered = name[:-1].lower() in series and name[-2:].lower() in {"_a", "_c"}
        by_name = None if lettered else unit_from_name(name)
        symbols.append(wanted.symbol if wanted else own or (by_name.symbol if by_name else None))
    return symbols


def wide_channels(
    table: Table,
    t_s: FloatArray,
    places: Sequence[int],
    names: Sequence[str],
    units: Sequence[str | None],
) -> BuiltChannels:
    """One channel for each column at `places`, of a table whose rows are in time order."""
    built = BuiltChannels()
    every_row = np.arange(table.rows)
    for place, name, unit in zip(places, names, units, strict=True):
        typed = table.columns[place].typed(has_unit=unit is not None)
        built.note_spoiled(name, len(typed.spoiled), table.first_line(typed.spoiled))
        rows = None if typed.valid is None else np.flatnonzero(typed.valid)
        values = typed.values if rows is None else typed.values[rows]
        times = t_s if rows is None else t_s[rows]
        sampled = not len(values) or (
            repeats(typed.kind, values) if rows is None else is_sampled(typed.kind, values, times)
        )
        missing = _missing(typed, rows, t_s, sampled=sampled)
        kept = None if rows is None and typed.logged is None else (every_row if rows is None else rows)
        if sampled and (last := _last_of_instant(times)) is not None:
            at = every_row if rows is None else rows
            built.note_doubled(at[~last], table.first_line(at[~last]))
            times, values, kept = times[last], values[last], at[last]
        built.cells_kept += len(values) + typed.blank
        built.channels.append(
            _channel(name, typed, unit, times, values, rows=kept, sampled=sampled, missing=missing)
        )
    return built


def _last_of_instant(t_s: FloatArray) -> BoolArray | None:
    """Which rows no other of the same time follows; None where all times differ."""
    last = np.append(t_s[1:] != t_s[:-1], True)[: len(t_s)]
    return None if last.all() else last


def _missing(typed: Typed, rows: NDArray[np.intp] | None, t_s: FloatArray, *, sampled: bool) -> int:
    if rows is None:
        return 0
    return max(missing_slots(rows, t_s) - len(typed.spoiled), typed.void) if sampled else typed.void


def _channel(
    name: str,
    typed: Typed,
    unit: str | None,
    t_s: FloatArray,
    values: FloatArray,
    *,
    rows: NDArray[np.intp] | None,
    own: NDArray[np.intp] | None = None,
    sampled: bool,
    missing: int,
) -> Channel:
    """`rows` are those of the log, `own` those of `typed` where they are others."""
    t_s.setflags(write=False)
    kept = np.ascontiguousarray(values)
    kept.setflags(write=False)
    own_unit = unit if typed.kind is Kind.NUMBER else None
    places = None if rows is None else rows.astype(np.int32)
    logged = None if typed.logged is None or rows is None else typed.logged[rows if own is None else own]
    return Channel(name, typed.kind, own_unit, t_s, kept, typed.labels, sampled, missing, places, logged)


@dataclass(frozen=True, eq=False)
class Groups:
    """Rows of a long table by channel: `rows[bounds[i]:bounds[i + 1]]` are those of `names[i]`."""

    names: list[str]
    rows: NDArray[np.intp]
    bounds: NDArray[Any]


def group_rows(table: Table, columns: LongColumns) -> Groups:
    """The rows of each channel in their order, channels by first appearance; a stable counting sort."""
    column = table.columns[columns.channel]
    if not isinstance(column, TextColumn):
        names, codes = np.unique(column.values, return_inverse=True)
        return _grouped(codes, [str(name) for name in names.tolist()])
    spelled = column.strings.fill_null("").str.strip_chars()
    part = None if columns.part is None else table.columns[columns.part]
    if isinstance(part, TextColumn):
        spelled = part.strings.fill_null("").str.strip_chars() + "/" + spelled
    return _grouped(*encode_labels(spelled))


def _grouped(codes: NDArray[np.integer], labels: list[str]) -> Groups:
    small = codes.astype(np.uint16) if len(labels) < 2**16 else codes
    rows = np.argsort(small, kind="stable")
    bounds = np.concatenate(([0], np.cumsum(np.bincount(codes, minlength=len(labels)))))
    return Groups(labels, rows, bounds)


def long_channels(
    table: Table,
    t_s: FloatArray,
    columns: LongColumns,
    groups: Groups,
    names: Sequence[str],
    units: Sequence[str | None],
) -> BuiltChannels:
    """One channel for each group, of a table whose rows are in time order."""
    built = BuiltChannels()
    values = table.columns[columns.value].take(groups.rows)
    times = t_s[groups.rows]
    for index, (name, unit) in enumerate(zip(names, units, strict=True)):
        part = slice(int(groups.bounds[index]), int(groups.bounds[index + 1]))
        typed = values.part(part).typed(has_unit=unit is not None)
        own = np.arange(part.stop - part.start) if typed.valid is None else np.flatnonzero(typed.valid)
        rows = groups.rows[part]
        built.note_spoiled(name, len(typed.spoiled), table.first_line(rows[typed.spoiled]))
        kept, own_t = typed.values[own], times[part][own]
        sampled = not len(kept) or is_sampled(typed.kind, kept, own_t)
        last = _last_of_instant(own_t) if sampled else None
        if last is not None:
            doubled = rows[own[~last]]
            built.note_doubled(doubled, table.first_line(doubled))
            own_t, kept, own = own_t[last], kept[last], own[last]
        built.cells_kept += len(kept) + typed.blank
        missing = typed.blank if sampled else typed.void
        built.channels.append(
            _channel(
                name, typed, unit, own_t, kept, rows=rows[own], own=own, sampled=sampled, missing=missing
            )
        )
    return built

"""Which columns of a table are clock, channel name and value: the two shapes of a log."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from parsers.cells import encode_labels
from parsers.clockcolumn import find_clock, named_column
from parsers.overrides import Told
from parsers.stamps import PER_SECOND, Stamps, number_stamps, parse_stamps, timestamp_stamps
from parsers.table import ArrayColumn, Column, Table, TextColumn
from telemetry.errors import LogError
from telemetry.log import FloatArray
from telemetry.plain import shown

__all__ = ["LongColumns", "clock_column", "clock_stamps", "long_columns"]

_CHANNEL_WORDS = frozenset(
    {
        "channel",
        "name",
        "signal",
        "key",
        "topic",
        "id",
        "entry",
        "field",
        "sensor",
        "tag",
        "variable",
        "source",
    }
)
_VALUE_WORDS = frozenset({"value", "val", "values", "data", "reading", "state", "measurement"})
_UNIT_WORDS = frozenset({"unit", "units"})
_SAMPLE_ROWS = 2_000
# Our choice: the channel's name of a long log changes at every third row or oftener; no text of a wide one.
_CHANGING_SHARE = 0.3
_SHARED_SHARE = 0.05
_UNEVEN_SHARE = 0.25


@dataclass(frozen=True)
class LongColumns:
    """Places of the columns of a long log."""

    channel: int
    value: int
    unit: int | None = None


def clock_column(table: Table, told: Told, file: str) -> int:
    """The place of the time column; LogError when no column is one."""
    if told.time is not None:
        return named_column(table.names, told.time, file=file, key="time")
    clock = table.clock
    if clock is None and table.rows:
        clock = find_clock(table.names, [_sample_stamps(column) for column in table.columns])
    if clock is None:
        few = ", ".join(shown(name, 24) for name in table.names[:4]) + (", …" if len(table.names) > 4 else "")
        raise LogError(
            f"{file}: looked for a time column that rises, found none among {len(table.names)} columns "
            f"({few}); name it with [log] time = … in the robot file"
        )
    return clock


def _sample_stamps(column: Column) -> FloatArray:
    """The first rows as stamps, NaN where a cell is none."""
    return _all_stamps(column.part(slice(0, min(len(column), _SAMPLE_ROWS))))


def _all_stamps(column: Column) -> FloatArray:
    if isinstance(column, TextColumn):
        return parse_stamps(column.strings, name="", decimal=column.decimal, unit=None, long=True).t_s
    if column.values.dtype == bool:
        return np.full(len(column), np.nan)
    return np.where(column.all_present(), column.values.astype(np.float64), np.nan)


def clock_stamps(table: Table, clock: int, told: Told, *, long: bool, file: str) -> Stamps:
    """The time column's stamps; LogError when the unit is none we know or no cell is a time."""
    unit = told.time_unit
    if unit is not None and unit not in {*PER_SECOND, "iso8601"}:
        raise LogError(
            f"{file}: looked for s, ms, us, ns or iso8601 as [log] time_unit, found {shown(unit, 20)!r}; "
            f"correct it in the robot file"
        )
    column, name = table.columns[clock].spelled(), table.names[clock]
    if unit == "iso8601" and isinstance(column, ArrayColumn) and column.strings is not None:
        column = TextColumn(column.strings(), column.decimal)
    if isinstance(column, TextColumn):
        stamps = parse_stamps(column.strings, name=name, decimal=column.decimal, unit=unit, long=long)
    elif column.timestamps:
        stamps = timestamp_stamps(column.values.astype(np.int64), column.all_present())
    else:
        readable = column.all_present() & np.isfinite(column.values)
        stamps = number_stamps(column.values, readable, name=name, unit=unit, long=long)
    if not stamps.readable.any():
        found = f"{table.rows:,} rows" if table.rows else "a header and no rows"
        raise LogError(
            f"{file}: looked for rows with a time in {shown(name, 40)!r}, found {found} but no time in them; "
            f"name the time column and its unit with [log] time and time_unit in the robot file"
        )
    return stamps


def long_columns(table: Table, clock: int, told: Told, file: str) -> LongColumns | None:
    """The columns of a long log, or None when the table is wide."""
    if told.channel is not None or told.value is not None:
        return _named_long_columns(table, clock, told, file)
    words = [name.strip().lower().replace("_", " ").split(" ")[-1] for name in table.names]
    unit = next((i for i, word in enumerate(words) if word in _UNIT_WORDS), None)
    rest = [i for i in range(len(words)) if i not in (clock, unit)]
    if len(rest) != 2:
        return None
    first, second = rest
    for channel, value in ((first, second), (second, first)):
        if not isinstance(table.columns[channel], TextColumn) or words[value] not in _VALUE_WORDS:
            continue
        if words[channel] in _CHANNEL_WORDS or _names_change(table, channel, clock):
            return LongColumns(channel, value, unit)
    if unit is None and _names_change(table, first, clock) and not _anything_but_names(table, first):
        return LongColumns(first, second, unit)
    return None


def _named_long_columns(table: Table, clock: int, told: Told, file: str) -> LongColumns:
    if told.channel is None or told.value is None:
        raise LogError(
            f"{file}: looked for both [log] channel and value in the robot file, found only one of them; "
            f"a long log needs both"
        )
    channel = named_column(table.names, told.channel, file=file, key="channel")
    value = named_column(table.names, told.value, file=file, key="value")
    if len({channel, value, clock}) < 3:
        raise LogError(
            f"{file}: looked for three columns in [log] time, channel and value; name different ones"
        )
    return LongColumns(channel, value)


def _anything_but_names(table: Table, place: int) -> bool:
    """Whether the cells are numbers, states or as many different words as rows."""
    column = table.columns[place]
    if not isinstance(column, TextColumn):
        return True
    sample = column.strings.head(_SAMPLE_ROWS).fill_null("")
    typed = TextColumn(sample, column.decimal).typed(has_unit=False)
    return typed.kind != "text" or len(typed.labels) < 2 or len(typed.labels) > max(0.5 * len(sample), 2)


def _names_change(table: Table, place: int, clock: int) -> bool:
    """Whether a column changes as channel names do: from row to row of a clock that no wide log has.

    A wide log has one row an instant at a steady rate. In a long one rows share an instant, or come at
    events, or lie channel behind channel so that the clock steps back where the name changes.
    """
    column, times = table.columns[place], table.columns[clock]
    if not isinstance(column, TextColumn) or table.rows < 3:
        return False
    codes, _ = encode_labels(column.strings.head(_SAMPLE_ROWS).fill_null(""))
    steps = np.diff(_sample_stamps(times))
    steps = steps[np.isfinite(steps)]
    uneven = np.abs(steps - np.median(steps)) > 0.5 * np.abs(np.median(steps)) if len(steps) else steps > 0
    eventful = bool(np.mean(steps == 0) >= _SHARED_SHARE or np.mean(uneven) >= _UNEVEN_SHARE)
    changing = bool(np.mean(np.diff(codes) != 0) >= _CHANGING_SHARE)
    return (changing and eventful) or _grouped(column, times)


def _grouped(column: TextColumn, times: Column) -> bool:
    codes, labels = encode_labels(column.strings.fill_null(""))
    changes = np.flatnonzero(np.diff(codes) != 0) + 1
    if not len(changes) or len(changes) != len(labels) - 1:
        return False
    stamps = _all_stamps(times)
    return bool(np.all(stamps[changes] < stamps[changes - 1]))

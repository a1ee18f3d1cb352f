"""The time column of a table: which one it is, and its stamps."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from parsers.clock import UnorderedClockError, mend_clock
from parsers.clockcolumn import ClockChoice, find_clock, name_says_time, named_column
from parsers.ledger import Ledger, braced
from parsers.naming import falls_between_names, words_of
from parsers.overrides import Told
from parsers.stamps import PER_SECOND, Stamps, number_stamps, parse_stamps, timestamp_stamps
from parsers.table import ArrayColumn, Column, Table, TextColumn
from telemetry.errors import LogError
from telemetry.log import FloatArray
from telemetry.plain import shown

__all__ = [
    "clock_stamps",
    "column_stamps",
    "falling_clock",
    "find_time_column",
    "raw_stamps",
    "steadier_clock",
]

_SAMPLE_ROWS = 2_000
_SPOILED_SHARE = 0.1


def find_time_column(table: Table, told: Told, file: str) -> ClockChoice:
    """The time column, and others that would do; LogError with the reason when there is none."""
    if told.time is not None:
        return ClockChoice(named_column(table.names, told.time, file=file, key="time"))
    asked = [place for place, name in enumerate(table.names) if name_says_time(name)]
    everywhere = range(len(table.names))
    stride = max(-(-table.rows // _SAMPLE_ROWS), 1)
    sample = table if stride == 1 else table.take(np.arange(0, table.rows, stride))
    nothing = np.zeros(0)
    dated = [] if asked else [place for place in everywhere if _is_dated(sample, place)]
    choice = find_clock(
        table.names,
        [raw_stamps(sample.columns[i]) if i in asked or not asked else nothing for i in everywhere],
        dated,
        stride,
    )
    passed_over = bool(dated) and choice.place not in dated
    if choice.place is None or (not asked and (passed_over or _is_doubtful(table.columns[choice.place]))):
        beside_names = _clock_beside_names(table, asked or everywhere)
        choice = choice if beside_names is None else replace(choice, place=beside_names)
    if choice.place is not None:
        return choice
    if choice.falling is not None:
        raise falling_clock(table.names[choice.falling], file)
    if choice.unread is not None:
        raise _no_time_in(table, choice.unread, file)
    few = ", ".join(shown(name, 24) for name in table.names[:4]) + (", …" if len(table.names) > 4 else "")
    raise LogError(
        f"{file}: looked for a time column that rises, found none among {len(table.names)} columns "
        f"({few}); name it with [log] time = … in the robot file"
    )


def _is_doubtful(column: Column) -> bool:
    """Whether what rises is no time in more cells than are ever spoiled, or falls somewhere."""
    stamps = raw_stamps(column)
    return bool(np.mean(np.isnan(stamps)) > _SPOILED_SHARE or np.any(np.diff(stamps) < 0))


def _clock_beside_names(table: Table, asked: Iterable[int]) -> int | None:
    """The first of some columns that rises beside each word of another: in a long log written in batches."""
    words = [
        (i, words_of(column)) for i, column in enumerate(table.columns) if isinstance(column, TextColumn)
    ]
    names = [(place, codes) for place, (codes, labels) in words if 3 * len(labels) <= len(codes)]
    for place in asked:
        stamps = raw_stamps(table.columns[place])
        if 2 * np.isfinite(stamps).sum() > len(stamps) and any(
            falls_between_names(codes, stamps) for other, codes in names if other != place
        ):
            return place
    return None


def falling_clock(name: str, file: str) -> LogError:
    """The refusal of a log written newest first."""
    return LogError(
        f"{file}: looked for times that rise, found those in {shown(name, 40)!r} falling throughout, newest "
        f"first; sort the rows by time, oldest first"
    )


def _no_time_in(table: Table, place: int, file: str) -> LogError:
    name = shown(table.names[place], 40)
    found = f"{table.rows:,} rows" if table.rows else "a header and no rows"
    cell = next((cell for cell in table.columns[place].shown(np.arange(min(table.rows, 20))) if cell), "")
    example = f" ({shown(cell, 30)!r})" if cell else ""
    return LogError(
        f"{file}: looked for rows with a time in {name!r}, found {found} but no time in them{example}; "
        f"name the time column and its unit with [log] time and time_unit in the robot file"
    )


def _is_dated(table: Table, place: int) -> bool:
    """Whether a column holds dates, times of day or Unix time."""
    stamps = column_stamps(table, place, None, long=True)
    return stamps.unit in {"iso8601", "clock"} or stamps.base_epoch_s is not None


def raw_stamps(column: Column) -> FloatArray:
    """The cells as stamps, whatever their unit, NaN where a cell is none."""
    if isinstance(column, TextColumn):
        return parse_stamps(column.strings, name="", decimal=column.decimal, unit=None, long=True).t_s
    if column.values.dtype == bool:
        return np.full(len(column), np.nan)
    values = column.values.astype(np.float64)
    return np.where(column.all_present() & np.isfinite(values), values, np.nan)


def clock_stamps(table: Table, clock: int, told: Told, *, long: bool, file: str) -> Stamps:
    """The time column's stamps; LogError when the unit is none we know or no cell is a time."""
    unit = told.time_unit
    if unit is not None and unit not in {*PER_SECOND, "iso8601"}:
        raise LogError(
            f"{file}: looked for s, ms, us, ns or iso8601 as [log] time_unit, found {shown(unit, 20)!r}; "
            f"correct it in the robot file"
        )
    stamps = column_stamps(table, clock, unit, long=long)
    if not stamps.readable.any():
        raise _no_time_in(table, clock, file)
    return stamps


def column_stamps(table: Table, clock: int, unit: str | None, *, long: bool) -> Stamps:
    """A column's stamps in a `unit`, or in the one that its name and values tell."""
    column, name = table.columns[clock].spelled(), table.names[clock]
    if unit == "iso8601" and isinstance(column, ArrayColumn) and column.strings is not None:
        column = TextColumn(column.strings(), column.decimal)
    if isinstance(column, TextColumn):
        return parse_stamps(column.strings, name=name, decimal=column.decimal, unit=unit, long=long)
    if column.values.dtype == bool:
        return Stamps(np.full(len(column), np.nan), "s", None)
    if column.timestamps:
        return timestamp_stamps(column.values.astype(np.int64), column.all_present())
    readable = column.all_present() & np.isfinite(column.values)
    return number_stamps(column.values, readable, name=name, unit=unit or table.units[clock], long=long)


def steadier_clock(table: Table, choice: ClockChoice, stamps: Stamps, ledger: Ledger) -> tuple[int, Stamps]:
    """Of two clocks in one file the steadier: another is taken where the first starts over or leaps more."""
    assert choice.place is not None  # noqa: S101 - the caller has found a clock
    best, least = (choice.place, stamps), _faults(stamps) if choice.others else 0
    for place in choice.others if least else ():
        other = column_stamps(table, place, None, long=False)
        if other.readable.sum() < stamps.readable.sum() or not _as_fine(other, stamps):
            continue
        faults = _faults(other)
        if faults < least:
            best, least = (place, other), faults
    if best[0] != choice.place:
        first, taken = (braced(table.names[place], 40) for place in (choice.place, best[0]))
        ledger.add(
            "two_clocks",
            1,
            f"The clock {first} starts over or leaps{{where}}; the steadier {taken} was taken.",
            line=table.first_line(_first_fault(stamps)),
        )
    return best


def _faults(stamps: Stamps) -> int:
    t_s = stamps.t_s[stamps.readable]
    try:
        mended = mend_clock(t_s)
    except UnorderedClockError:
        return len(t_s)
    return len(mended.resets) + len(mended.jumps)


def _first_fault(stamps: Stamps) -> NDArray[np.intp]:
    """The row at which a clock starts over or leaps, if it can be told."""
    rows = np.flatnonzero(stamps.readable)
    try:
        mended = mend_clock(stamps.t_s[rows])
    except UnorderedClockError:
        return rows[:0]
    return rows[np.concatenate((mended.resets, mended.jumps))[:1]]


def _as_fine(one: Stamps, other: Stamps) -> bool:
    """Whether a clock tells rows apart nearly as well as another: one in whole seconds does not."""
    return len(np.unique(one.t_s[one.readable])) >= 0.9 * len(np.unique(other.t_s[other.readable]))

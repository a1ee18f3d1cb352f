"""A table to a log: its clock mended, its rows accounted for, its channels made."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from parsers.candidates import REMARK
from parsers.cells import encode_labels
from parsers.channels import (
    BuiltChannels,
    Groups,
    group_rows,
    long_channels,
    unique_names,
    unit_symbols,
    wide_channels,
)
from parsers.clock import MendedClock, UnorderedClockError, mend_clock
from parsers.clockcolumn import ClockChoice
from parsers.ledger import Ledger, braced
from parsers.limits import Limits
from parsers.longclock import mend_long_clock
from parsers.naming import are_names
from parsers.overrides import Told
from parsers.roles import LongColumns, long_columns
from parsers.source import Source
from parsers.stamps import Stamps
from parsers.steadychannels import with_steady_channels
from parsers.table import Table, TextColumn
from parsers.timecolumn import clock_stamps, falling_clock, find_time_column, steadier_clock
from parsers.twice import rows_written_twice
from telemetry.errors import LogError
from telemetry.log import Dialect, FloatArray, Log
from telemetry.plain import shown
from telemetry.units import unit_named

__all__ = ["build_log"]

_FIRST_EPOCH_S = 1e9
# A repeated header may have a spoiled name or two; one whose names stand elsewhere is another header.
_SPOILED_HEADER_SHARE = 0.7
_FALLING_SHARE = 0.9
_FEWEST_FALLING = 4


def build_log(table: Table, source: Source, ledger: Ledger, told: Told, limits: Limits) -> Log:
    """The log in a table. Raises LogError when it has no clock, no rows, no channel, or too many."""
    _check_units(told, source.shown)
    clocks = find_time_column(table, told, source.shown)
    assert clocks.place is not None  # noqa: S101 - find_time_column raises otherwise
    clock = clocks.place
    long = long_columns(table, clock, told, source.shown)
    stamps = clock_stamps(table, clock, told, long=long is not None, file=source.shown)
    if long is None:
        clock, stamps = steadier_clock(table, clocks, stamps, ledger)
    else:
        stamps = with_steady_channels(table, clock, stamps, long, told)
        table = replace(table, columns=tuple(column.spelled() for column in table.columns))
    table, t_raw = _readable_rows(table, stamps, long, ledger, source.shown)
    table, t_raw = _rows_said_once(table, t_raw, ledger)
    mended = _mended_clock(table, t_raw, clock, long, source.shown)
    _enter_clock(mended, table, ledger)
    if mended.order is not None:
        table = table.take(mended.order)
    built = _built(table, mended.t_s, clock, long, ledger, told, limits, source.shown)
    built.enter(ledger)
    extra = () if long is None else long.extra
    _enter_extra(table, extra, ledger)
    other_columns = 1 if long is None else len(table.columns) - 1 - len(extra)
    ledger.balance(table.cells_in_file, built.cells_kept + table.rows * other_columns)
    first_s = float(t_raw[0] if mended.order is None else t_raw[mended.order[0]])
    return Log(
        file=source.file,
        sha256=source.sha256,
        dialect=_dialect(table, clock, clocks, stamps, "wide" if long is None else "long"),
        rows=table.rows,
        t_s=_frozen(mended.t_s),
        channels=built.by_name(),
        repairs=ledger.repairs(),
        start_epoch_s=_start_epoch(stamps, first_s),
        seams_s=mended.seams_s,
    )


def _dialect(table: Table, clock: int, clocks: ClockChoice, stamps: Stamps, shape: str) -> Dialect:
    others = [table.names[place] for place in (clocks.place, *clocks.others) if place not in (None, clock)]
    return Dialect(
        table.encoding,
        table.delimiter,
        table.decimal,
        table.names[clock],
        stamps.unit,
        shape,
        why=table.why,
        runner_up=table.runner_up,
        other_clocks=tuple(others),
    )


def _enter_extra(table: Table, extra: tuple[int, ...], ledger: Ledger) -> None:
    names = ", ".join(braced(table.names[place], 40) for place in extra[:4]) + (
        ", …" if len(extra) > 4 else ""
    )
    ledger.add(
        "left_out_column",
        len(extra),
        f"{{count}} column(s) beside time, channel and value of a long log left out{{where}}: {names}.",
        line=table.header_line,
        cells=table.rows * len(extra),
    )


def _start_epoch(stamps: Stamps, first_s: float) -> float | None:
    """Unix time of the first record, unless the clock had not been set: it then says 1970 or so."""
    if stamps.base_epoch_s is None or stamps.base_epoch_s + first_s < _FIRST_EPOCH_S:
        return None
    return stamps.base_epoch_s + first_s


def _frozen(array: FloatArray) -> FloatArray:
    array.setflags(write=False)
    return array


def _check_units(told: Told, file: str) -> None:
    for name, spelling in told.units.items():
        if unit_named(spelling) is None:
            raise LogError(
                f"{file}: looked for a unit we know for {shown(name, 40)!r} in [log] units, "
                f"found {shown(spelling, 20)!r}; write it as A, mA, V, rpm, rad/s, g, m/s2 or degC"
            )


def _readable_rows(
    table: Table, stamps: Stamps, long: LongColumns | None, ledger: Ledger, file: str
) -> tuple[Table, FloatArray]:
    """The rows that have a time, and in a long log a channel; the others go into the ledger."""
    readable = stamps.readable
    if long is not None:
        names = table.columns[long.channel]
        if isinstance(names, TextColumn):
            readable = readable & are_names(names)
    if readable.all():
        return table, stamps.t_s
    unreadable = np.flatnonzero(~readable)
    headers = list(table.repeated)
    for row, cells in zip(unreadable.tolist(), table.row_texts(unreadable), strict=True):
        line = None if table.lines is None else int(table.lines[row])
        if _says_header(table.header, cells, line, file):
            text = "Header repeated {count} time(s){where}, as when the logger starts again; left out."
            ledger.add("repeated_header", 1, text, line=line, cells=len(cells))
            headers += [] if line is None else [line]
        else:
            text = "{count} unreadable row(s){where} left out."
            ledger.add("unreadable_row", 1, text, line=line, cells=len(cells))
    rows = np.flatnonzero(readable)
    if not len(rows):
        raise LogError(f"{file}: looked for rows with a time and a channel, found none; export the log again")
    return replace(table.take(rows), repeated=tuple(headers)), stamps.t_s[rows]


def _rows_said_once(table: Table, t: FloatArray, ledger: Ledger) -> tuple[Table, FloatArray]:
    """The rows without blocks written twice, which go into the ledger."""
    again = rows_written_twice(table, t)
    if not len(again):
        return table, t
    text = "{count} row(s) written twice{where}; they count once."
    cells = len(again) * len(table.columns)
    ledger.add("duplicate_time", len(again), text, line=table.first_line(again), cells=cells)
    rows = np.delete(np.arange(table.rows), again)
    return table.take(rows), t[rows]


def _says_header(header: tuple[str, ...] | None, cells: tuple[str, ...], line: int | None, file: str) -> bool:
    """Whether a row says the header again. Raises LogError where it says another one."""
    if header is None:
        return False
    again = (REMARK.sub("", cells[0]), *cells[1:])
    alike = sum(one == other for one, other in zip(again, header, strict=False)) / len(again)
    if alike > _SPOILED_HEADER_SHARE or (alike >= 0.5 and len(again) < 4):
        return True
    same = sum(cell in header for cell in again if cell)
    if len(again) > 2 and 2 * same >= len(again):
        raise LogError(
            f"{file}: looked for rows under the same columns, found other columns from line {line} on; "
            f"split the log there"
        )
    return False


def _mended_clock(
    table: Table, t: FloatArray, clock: int, long: LongColumns | None, file: str
) -> MendedClock:
    steps = np.diff(t)
    if len(t) > _FEWEST_FALLING and np.mean(steps < 0) > _FALLING_SHARE:
        raise falling_clock(table.names[clock], file)
    try:
        again = table.rows_below_headers()
        return mend_clock(t, again) if long is None else mend_long_clock(t, group_rows(table, long), again)
    except UnorderedClockError:
        back = int(np.sum(steps < 0))
        remedy = (
            "name another time column with [log] time"
            if long is None
            else "sort the rows by the order in which they were logged, or name another time column"
        )
        raise LogError(
            f"{file}: looked for times that rise, found {back:,} steps back among {len(t):,} rows, more than "
            f"sorting or a restarted clock explains; {remedy}"
        ) from None


def _enter_clock(mended: MendedClock, table: Table, ledger: Ledger) -> None:
    width = len(table.columns)
    ledger.add(
        "unreadable_row",
        len(mended.spoiled),
        "{count} unreadable row(s){where} left out: a time far from that of the rows around, or in doubt "
        "between two runs of the clock.",
        line=table.first_line(mended.spoiled),
        cells=len(mended.spoiled) * width,
    )
    ledger.add(
        "reordered_rows",
        len(mended.late),
        "{count} row(s) out of order{where} sorted in.",
        line=table.first_line(mended.late),
    )
    ledger.add(
        "clock_reset",
        len(mended.resets),
        "The clock started over {count} time(s){where}; the gap, of unknown length, is drawn as 1 s.",
        line=table.first_line(mended.resets),
    )
    ledger.add(
        "clock_jump",
        len(mended.jumps),
        "The clock leapt by more than ten minutes {count} time(s){where}; the gap is drawn as 1 s.",
        line=table.first_line(mended.jumps),
    )


def _built(
    table: Table,
    t_s: FloatArray,
    clock: int,
    long: LongColumns | None,
    ledger: Ledger,
    told: Told,
    limits: Limits,
    file: str,
) -> BuiltChannels:
    if long is None:
        places = [place for place in range(len(table.names)) if place != clock]
        _check_channels(len(places), limits, file)
        names = unique_names([table.names[place] for place in places], ledger, table.header_line)
        units = unit_symbols(names, [table.units[place] for place in places], told.units)
        return wide_channels(table, t_s, places, names, units)
    groups = group_rows(table, long)
    _check_channels(len(groups.names), limits, file)
    units = unit_symbols(groups.names, _logged_units(table, long, groups, file), told.units)
    return long_channels(table, t_s, long, groups, groups.names, units)


def _logged_units(table: Table, long: LongColumns, groups: Groups, file: str) -> list[str | None]:
    """The unit that stands in the rows of each channel, where there is a column of units."""
    column = None if long.unit is None else table.columns[long.unit]
    if not isinstance(column, TextColumn):
        return [None] * len(groups.names)
    codes, spellings = encode_labels(column.strings.fill_null(""))
    units = [unit_named(spelling) for spelling in spellings]
    symbols = ["" if unit is None else unit.symbol for unit in units]
    found: list[str | None] = []
    for index, name in enumerate(groups.names):
        rows = groups.rows[groups.bounds[index] : groups.bounds[index + 1]]
        own = sorted({symbols[code] for code in np.unique(codes[rows]).tolist()} - {""})
        if len(own) > 1:
            raise LogError(
                f"{file}: looked for one unit of {shown(name, 40)!r}, found {' and '.join(own)}; "
                f"export that channel in one unit"
            )
        found.append(own[0] if own else None)
    return found


def _check_channels(count: int, limits: Limits, file: str) -> None:
    if count == 0:
        raise LogError(f"{file}: looked for channels beside the time column, found none; export them too")
    if count > limits.channels:
        raise LogError(
            f"{file}: looked for at most {limits.channels:,} channels, found {count:,}; raise the limit"
        )

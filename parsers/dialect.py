"""How a delimited text is written, told from a whole sample of its rows and never from one."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from parsers.candidates import (
    REMARK,
    UNIT_BRACKETS,
    Candidate,
    is_unit_row,
    rank_candidates,
    rough_columns,
    thinned,
)
from parsers.clockcolumn import find_clock, name_says_time
from parsers.overrides import Told
from parsers.records import split_lines
from parsers.sampling import head_lines, sample_text
from parsers.stamps import rough_stamp
from telemetry.dataclass import dataclass
from telemetry.errors import LogError
from telemetry.log import FloatArray
from telemetry.units import unit_named

__all__ = ["Layout", "sniff_layout"]

_HEADS = (400, 20_000)
_ENOUGH_ROWS = 50
_SPOILED_SHARE = 0.02
_STEP_SPREAD = 10.0
_FEWEST_TO_RUN = 3
# The share of a sample between which the clock lies, whatever few settings stand above the log.
_MIDDLE = (0.1, 0.9)

Rows = list[tuple[int, list[str]]]


@dataclass(frozen=True)
class Layout:
    """Where things stand in a delimited text.

    Attributes:
        delimiter, decimal: one character each.
        width: cells in a row of data, a phantom one behind a trailing delimiter included.
        trailing: rows end in a delimiter with nothing behind it.
        names: of the columns, phantom left out.
        units: by column, from a row of units below the header.
        header: the header's cells, blanks around them taken off, or None without one.
        header_line: number of the header's line, or None without one.
        first_line: number of the first line behind the header.
        clock: the time column as the sample has it; the whole columns have the last word.
        why, runner_up: the evidence for this reading, and for the next best, in words.
    """

    delimiter: str
    decimal: str
    width: int
    trailing: bool
    names: tuple[str, ...]
    units: tuple[str | None, ...]
    header: tuple[str, ...] | None
    first_line: int
    clock: int | None
    header_line: int | None = None
    why: str = ""
    runner_up: str = ""


def sniff_layout(text: bytes, told: Told, file: str) -> Layout | None:
    """The layout that reads most of the sample as a log, or None when no delimiter makes a table of it."""
    sample = sample_text(text)
    ranked = rank_candidates(sample, told.delimiter, told.decimal)
    if not ranked:
        return None
    if told.decimal is None and ranked[0].decimal == "." and not ranked[0].fractions:
        ranked = rank_candidates(sample, ranked[0].delimiter, _decimal_anywhere(text, ranked[0].delimiter))
    best = ranked[0]
    layout = _layout(best, _head_rows(text, best), told, file)
    why = f"{best.marks}: {best.evidence}"
    others = [other for other in ranked[1:] if (other.delimiter, other.score) != (best.delimiter, best.score)]
    runner_up = f"{others[0].marks}: {others[0].evidence}" if others else ""
    return replace(layout, why=why, runner_up=runner_up)


def _decimal_anywhere(text: bytes, delimiter: str) -> str:
    """The decimal sign of most fractions in the whole text, for a sample that holds none."""
    if delimiter == "," or b"," not in text:
        return "."
    mark = re.escape(delimiter.encode())
    cell = rb"(?:^|%b)[ \"]*[+-]?\d+%b\d+[ \"]*(?=%b|\r?$)"
    counts = {
        sign: sum(1 for _ in re.finditer(cell % (mark, re.escape(sign.encode()), mark), text, re.MULTILINE))
        for sign in (".", ",")
    }
    return max(counts, key=counts.__getitem__)


def _head_rows(text: bytes, best: Candidate) -> Rows:
    """The rows at the start of the text, enough to find the header below however many lines of remarks."""
    rows: Rows = []
    for most in _HEADS:
        rows = split_lines(head_lines(text, most), best.delimiter)
        if sum(len(cells) == best.width for _, cells in rows) >= _ENOUGH_ROWS:
            break
    return rows


def _layout(best: Candidate, rows: Rows, told: Told, file: str) -> Layout:
    fitting = [cells for _, cells in rows if len(cells) == best.width]
    if not fitting or not any(np.isfinite(column).mean() > 0.5 for column in best.columns):
        return _clockless(best, fitting[0] if fitting else [], file)
    first = _first_data_row(best, rows)
    top, unit_row, above, header_line = _header(best, rows, first, file)
    data = [cells for _, cells in rows[first:] if len(cells) == best.width]
    named_last = top is not None and len(top) >= best.width and bool(top[best.width - 1].strip())
    trailing = best.width > 2 and not named_last and _ends_in_nothing(data, sure=top is not None)
    columns = best.width - trailing
    if top is not None and len(top) < columns:
        raise _misfit(file, len(top), columns)
    names = _names(top, columns)
    stamps = rough_columns(thinned(data), best.decimal)[:columns]
    wanted = told.time
    clock = names.index(wanted) if wanted is not None and wanted in names else find_clock(names, stamps).place
    return Layout(
        delimiter=best.delimiter,
        decimal=best.decimal,
        width=best.width,
        trailing=trailing,
        names=names,
        units=_units(unit_row, columns),
        header=None if top is None else tuple(cell.strip() for cell in top),
        first_line=above + 1,
        clock=clock,
        header_line=header_line,
    )


def _ends_in_nothing(rows: list[list[str]], *, sure: bool) -> bool:
    """Whether the last cell is none: always empty, a row in fifty aside where a header names none there."""
    filled = sum(bool(cells[-1].strip()) for cells in rows)
    return filled <= (max(_SPOILED_SHARE * len(rows), 1) if sure else 0) and filled < len(rows)


def _clockless(best: Candidate, cells: list[str], file: str) -> Layout:
    """The layout of what may be a table and is no log; LogError when it is a header alone."""
    if any(map(name_says_time, cells)):
        raise LogError(
            f"{file}: looked for rows of data with a time, found a header of {len(cells)} names "
            f"and no such rows below it; check that the logger was running"
        )
    names, units = _names(cells, best.width), _units(None, best.width)
    return Layout(best.delimiter, best.decimal, best.width, False, names, units, None, 1, None)


def _first_data_row(best: Candidate, rows: Rows) -> int:
    """The first row of full width that holds times and numbers where the others do."""
    numeric = [index for index, column in enumerate(best.columns) if np.isfinite(column).mean() > 0.5]
    clock = find_clock([""] * len(best.columns), best.columns).place
    header = _header_below_settings(best, rows, numeric)
    for place, (_, cells) in enumerate(rows):
        if place < header or len(cells) != best.width or REMARK.match(cells[0]):
            continue
        stamped = sum(rough_stamp(cells[index], best.decimal) is not None for index in numeric)
        named = clock is not None and name_says_time(cells[clock]) == 2
        if 2 * stamped >= max(len(numeric), 1) and not named:
            return place
    return next(place for place, (_, cells) in enumerate(rows) if len(cells) == best.width)


def _header_below_settings(best: Candidate, rows: Rows, numeric: list[int]) -> int:
    """Place of a line of names with one for time, above all rows of the log; 0 without one.

    What stands above it may be as wide as the log and full of numbers, as a table of settings is.
    """
    header, clock = 0, None
    above: list[list[str]] = []
    for place, (_, cells) in enumerate(rows):
        if len(cells) != best.width:
            continue
        if clock is not None and rough_stamp(cells[clock], best.decimal) is not None:
            break
        if any(rough_stamp(cells[index], best.decimal) is not None for index in numeric):
            above.append(cells)
            continue
        named = _named_clock(best, cells)
        if named is None:
            continue
        stamps = [rough_stamp(row[named], best.decimal) for row in above]
        if _run_as(np.array([stamp for stamp in stamps if stamp is not None]), best.columns[named]):
            break
        header, clock = place, named
    return header


def _named_clock(best: Candidate, cells: list[str]) -> int | None:
    """The column that would be the clock if these cells were the names, where its name says so."""
    names = [REMARK.sub("", cell) for cell in cells]
    place = find_clock(names, best.columns).place
    return place if place is not None and name_says_time(names[place]) else None


def _run_as(stamps: FloatArray, clock: FloatArray) -> bool:
    """Whether a few stamps follow each other as those of the clock do: rows of the log, no settings."""
    clock = clock[np.isfinite(clock)]
    steps, usual = np.diff(stamps), np.diff(clock)
    if len(stamps) < _FEWEST_TO_RUN or not np.any(usual > 0):
        return False
    typical = float(np.median(usual[usual > 0]))
    first, last = np.quantile(clock, _MIDDLE)
    near = (stamps >= 2 * first - last) & (stamps <= 2 * last - first)
    follow = (steps > 0) & (steps <= _STEP_SPREAD * typical)
    return bool(near.mean() > 0.5 and follow.mean() > 0.5)


def _header(
    best: Candidate, rows: Rows, first: int, file: str
) -> tuple[list[str] | None, list[str] | None, int, int | None]:
    """The header's cells, those of a row of units below it, the lower line's number and the header's."""
    above = list(reversed(rows[:first]))
    plain = [(number, cells) for number, cells in above if not REMARK.match(cells[0])]
    remarks = [(number, _uncommented(cells)) for number, cells in above if REMARK.match(cells[0])]
    for lines in (plain, remarks):
        found = [(number, cells) for number, cells in lines if _fits(cells, best.width)]
        if found:
            return _header_among(found)
    misfit = next((cells for _, cells in plain if len(cells) > 1 and any(map(name_says_time, cells))), None)
    if misfit is not None:
        raise _misfit(file, len(misfit), best.width)
    return None, None, rows[first][0] - 1, None


def _header_among(found: Rows) -> tuple[list[str], list[str] | None, int, int]:
    """Of lines above the data, the lowest first: the one that names a time, else the lowest with a name."""
    place = next((i for i, (_, cells) in enumerate(found) if any(map(name_says_time, cells))), 0)
    if place == 0 and len(found) > 1 and is_unit_row(found[0][1]):
        place = 1
    number, names = found[place]
    if place and is_unit_row(found[place - 1][1]):
        return names, found[place - 1][1], found[place - 1][0], number
    return names, None, number, number


def _misfit(file: str, names: int, cells: int) -> LogError:
    return LogError(
        f"{file}: looked for a header as wide as the rows, found {names} names over rows of {cells} cells; "
        f"write one name a column"
    )


def _uncommented(cells: list[str]) -> list[str]:
    first = REMARK.sub("", cells[0]).strip()
    quoted = len(first) > 1 and first[0] == first[-1] == '"'
    own = first[1:-1].replace('""', '"') if quoted else first
    return [own or cells[0].strip(), *cells[1:]]


def _fits(cells: list[str], width: int) -> bool:
    """As wide as the rows, or one off for a delimiter at the end of only one of them; more than one cell."""
    return len(cells) in (width, max(width - 1, 2)) or (len(cells) == width + 1 and not cells[-1].strip())


def _names(top: list[str] | None, columns: int) -> tuple[str, ...]:
    """Names without the blanks around them; a column without one is named by its place in the file."""
    given = [cell.strip() for cell in top or []] + [""] * columns
    return tuple(given[place] or f"column {place + 1}" for place in range(columns))


def _units(row: list[str] | None, columns: int) -> tuple[str | None, ...]:
    found = [unit_named(cell.strip(UNIT_BRACKETS)) for cell in row or []]
    symbols = [None if unit is None else unit.symbol for unit in found] + [None] * columns
    return tuple(symbols[:columns])

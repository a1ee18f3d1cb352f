"""How a delimited text is written, told from a whole sample of its rows and never from one."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

import numpy as np

from parsers.cells import is_understood
from parsers.clockcolumn import find_clock, name_says_time
from parsers.numbers import MISSING
from parsers.overrides import Told
from parsers.records import split_lines
from parsers.stamps import rough_stamp
from telemetry.errors import LogError
from telemetry.log import FloatArray
from telemetry.units import unit_named

__all__ = ["Layout", "sniff_layout"]

DELIMITERS = (",", ";", "\t", "|")
_HEAD_LINES = 400
_LATER_LINES = 100
_SAMPLE_BYTES = 1 << 19
_MOST_SAMPLE_CELLS = 4_000
_FEWEST_SAMPLE_ROWS = 25
_COMMENT = re.compile(r"^\s*(#|%|//)+\s*")
_UNIT_BRACKETS = " []()"


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
        first_line: number of the first line behind the header.
        clock: the time column.
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


@dataclass(frozen=True)
class _Candidate:
    """One reading of the sample: `rows` are (line number, cells) of the head, `later` of elsewhere."""

    delimiter: str
    decimal: str
    width: int
    rows: tuple[tuple[int, list[str]], ...]
    score: float


def sniff_layout(text: bytes, told: Told, file: str) -> Layout | None:
    """The layout that reads most of the sample as a log, or None when no delimiter makes a table of it."""
    head, later = _sample(text)
    candidates = [
        candidate
        for delimiter in DELIMITERS
        for decimal in (".", ",")
        if (candidate := _read_as(head, later, delimiter, decimal)) is not None
    ]
    if not candidates:
        return None
    best = max(candidates, key=lambda candidate: candidate.score)
    return _layout(best, told, file)


def _sample(text: bytes) -> tuple[list[tuple[int, str]], list[str]]:
    """Lines of the head with their numbers, and some from the middle; blank ones left out."""
    head = _lines(text, 0, _HEAD_LINES)
    numbered = [(i, line) for i, line in enumerate(head, start=1) if line.strip()]
    middle = _lines(text, len(text) // 2, _LATER_LINES + 1)[1:] if len(head) == _HEAD_LINES else []
    return numbered, [line for line in middle if line.strip()]


def _lines(text: bytes, at: int, most: int) -> list[str]:
    """At most so many lines from a place in the text; of a last one that the sample cuts, nothing."""
    piece = text[at : at + _SAMPLE_BYTES]
    lines = piece.split(b"\n", most)
    whole = lines if at + _SAMPLE_BYTES >= len(text) and len(lines) <= most else lines[:-1] or lines
    return [line.rstrip(b"\r").decode(errors="replace") for line in whole]


def _read_as(
    head: list[tuple[int, str]], later: list[str], delimiter: str, decimal: str
) -> _Candidate | None:
    rows = split_lines(head, delimiter)
    more = [cells for _, cells in split_lines(list(enumerate(later)), delimiter)]
    widths = Counter(len(cells) for _, cells in rows if len(cells) > 1)
    widths.update(len(cells) for cells in more if len(cells) > 1)
    if not widths:
        return None
    width = max(widths, key=lambda w: (widths[w], w))
    fitting = [cells for _, cells in rows if len(cells) == width] + [c for c in more if len(c) == width]
    senses = [_sense(cell, decimal) for cells in _thinned(fitting) for cell in cells]
    share = len(fitting) / (len(rows) + len(more))
    score = share * sum(senses) / len(senses)
    return _Candidate(delimiter, decimal, width, tuple(rows), score)


def _thinned(rows: list[list[str]]) -> list[list[str]]:
    """The first rows and every so manieth of the rest: a wide sample takes no longer than a narrow one."""
    most = max(_MOST_SAMPLE_CELLS // len(rows[0]), _FEWEST_SAMPLE_ROWS)
    head, rest = rows[: most // 2], rows[most // 2 :]
    return head + rest[:: max(-(-2 * len(rest) // most), 1)]


def _sense(cell: str, decimal: str) -> float:
    """1 for a number, a state or nothing, 0.5 for a word, 0 for what another delimiter would split."""
    if rough_stamp(cell, decimal) is not None or is_understood(cell, decimal):
        return 1.0
    return 0.0 if any(mark in cell for mark in DELIMITERS) else 0.5


def _layout(best: _Candidate, told: Told, file: str) -> Layout:
    fitting = [cells for _, cells in best.rows if len(cells) == best.width]
    stamps = _stamps(_thinned(fitting[1:] or fitting), best.width, best.decimal)
    if not any(np.isfinite(column).mean() > 0.5 for column in stamps):
        return _clockless(best, fitting[0], file)
    first = _first_data_row(best, stamps)
    top, unit_row, above = _header(best, first, file)
    data = [cells for _, cells in best.rows[first:] if len(cells) == best.width]
    named_last = top is not None and len(top) >= best.width and bool(top[best.width - 1].strip())
    trailing = best.width > 2 and not named_last and all(not cells[-1].strip() for cells in data)
    columns = best.width - trailing
    if top is not None and len(top) < columns:
        raise _misfit(file, len(top), columns)
    names = _names(top, columns)
    wanted = told.time
    stamps = _stamps(_thinned(data), columns, best.decimal)
    clock = names.index(wanted) if wanted is not None and wanted in names else find_clock(names, stamps)
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
    )


def _clockless(best: _Candidate, cells: list[str], file: str) -> Layout:
    """The layout of what may be a table and is no log; LogError when it is a header alone."""
    if any(map(name_says_time, cells)):
        raise LogError(
            f"{file}: looked for rows of data with a time, found a header of {len(cells)} names "
            f"and no such rows below it; check that the logger was running"
        )
    names, units = _names(cells, best.width), _units(None, best.width)
    return Layout(best.delimiter, best.decimal, best.width, False, names, units, None, 1, None)


def _stamps(rows: list[list[str]], columns: int, decimal: str) -> list[FloatArray]:
    """Rough stamps by column, each of shape (rows,), NaN where a cell is no time."""
    nan = float("nan")
    table = [
        [nan if (stamp := rough_stamp(cell, decimal)) is None else stamp for cell in cells] for cells in rows
    ]
    return list(np.array(table, dtype=np.float64).reshape(len(rows), -1)[:, :columns].T)


def _first_data_row(best: _Candidate, stamps: list[FloatArray]) -> int:
    """The first row of full width that holds times and numbers where the others do."""
    numeric = [index for index, column in enumerate(stamps) if np.isfinite(column).mean() > 0.5]
    clock = find_clock([""] * len(stamps), stamps)
    for place, (_, cells) in enumerate(best.rows):
        if len(cells) != best.width or _COMMENT.match(cells[0]):
            continue
        stamped = sum(rough_stamp(cells[index], best.decimal) is not None for index in numeric)
        named = clock is not None and name_says_time(cells[clock]) == 2
        if 2 * stamped >= max(len(numeric), 1) and not named:
            return place
    return next(place for place, (_, cells) in enumerate(best.rows) if len(cells) == best.width)


def _header(best: _Candidate, first: int, file: str) -> tuple[list[str] | None, list[str] | None, int]:
    """The header's cells, those of a row of units below it, and the number of the lower of the two lines."""
    above = list(reversed(best.rows[:first]))
    plain = [(number, cells) for number, cells in above if not _COMMENT.match(cells[0])]
    remarks = [(number, _uncommented(cells)) for number, cells in above if _COMMENT.match(cells[0])]
    for rows in (plain, remarks):
        found = [(number, cells) for number, cells in rows if _fits(cells, best.width)]
        if len(found) > 1 and _is_unit_row(found[0][1]):
            return found[1][1], found[0][1], found[0][0]
        if found:
            return found[0][1], None, found[0][0]
    misfit = next((cells for _, cells in plain if len(cells) > 1 and any(map(name_says_time, cells))), None)
    if misfit is not None:
        raise _misfit(file, len(misfit), best.width)
    return None, None, best.rows[first][0] - 1


def _misfit(file: str, names: int, cells: int) -> LogError:
    return LogError(
        f"{file}: looked for a header as wide as the rows, found {names} names over rows of {cells} cells; "
        f"write one name a column"
    )


def _uncommented(cells: list[str]) -> list[str]:
    return [_COMMENT.sub("", cells[0]), *cells[1:]]


def _fits(cells: list[str], width: int) -> bool:
    """As wide as the rows, or one off for a delimiter at the end of only one of them."""
    return len(cells) in (width, width - 1) or (len(cells) == width + 1 and not cells[-1].strip())


def _is_unit_row(cells: list[str]) -> bool:
    units = [unit_named(cell.strip(_UNIT_BRACKETS)) for cell in cells]
    blank = [cell.strip(_UNIT_BRACKETS).lower() in MISSING | {"bool", "text", "1"} for cell in cells]
    return any(units) and all(unit is not None or empty for unit, empty in zip(units, blank, strict=True))


def _names(top: list[str] | None, columns: int) -> tuple[str, ...]:
    """Names without the blanks around them; a column without one is named by its place in the file."""
    given = [cell.strip() for cell in top or []] + [""] * columns
    return tuple(given[place] or f"column {place + 1}" for place in range(columns))


def _units(row: list[str] | None, columns: int) -> tuple[str | None, ...]:
    found = [unit_named(cell.strip(_UNIT_BRACKETS)) for cell in row or []]
    symbols = [None if unit is None else unit.symbol for unit in found] + [None] * columns
    return tuple(symbols[:columns])

"""Delimited text to a table: the sound rows in one bulk read, every other row into a repair."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from parsers.bulk import BulkError, read_columns
from parsers.dialect import Layout, sniff_layout
from parsers.ledger import Ledger
from parsers.limits import Limits
from parsers.overrides import Told
from parsers.records import IntArray, Records, find_records, split_line
from parsers.source import Source
from parsers.table import Column, Table, TextColumn
from parsers.tail import is_whole
from parsers.text import Text, decode
from telemetry.errors import LogError
from telemetry.log import BoolArray

__all__ = ["read_delimited", "sniff_delimited"]

_BINARY = ((b"PK\x03\x04", "a zip archive or a workbook"), (b"%PDF", "a PDF"), (b"\x89PNG", "a picture"))
_HEAD_BYTES = 1 << 14
_BLANKS = b"\0 \t\r\n\xef\xbb\xbf\xff\xfe"
_CONTROLS = bytes([*range(9), *range(14, 32)])
_CONTROL_SHARE = 0.3
_MOST_HEAD_LINES = 64
_REMARK = re.compile(r"\s*#[^\x00-\x08\x0e-\x1f\x7f\ufffd]*$")


def sniff_delimited(source: Source) -> str | None:
    """Why the bytes are no delimited text, or None when they may be."""
    head = source.data[:_HEAD_BYTES].rstrip(b"\0")
    for magic, words in _BINARY:
        if head.startswith(magic):
            return f"it is {words}"
    if not head.strip(_BLANKS) and not source.data.strip(_BLANKS):
        return "it holds no text"
    said = len(head) - head.count(0)
    controls = len(head) - len(head.translate(None, _CONTROLS)) - head.count(0)
    if controls > _CONTROL_SHARE * said:
        return "it is binary"
    return None


def read_delimited(source: Source, ledger: Ledger, told: Told, limits: Limits) -> Table:
    """The table in a delimited text. Raises LogError when no delimiter makes a table of it."""
    text = decode(source.data, ledger, told.encoding)
    layout = sniff_layout(text.data, told, source.shown)
    if layout is None:
        raise LogError(
            f"{source.shown}: looked for rows of cells parted by comma, semicolon, tab or |, found none; "
            f"export the log as CSV with a time column"
        )
    records = find_records(text.data, layout.delimiter, breaks=text.breaks, wanted=layout.width)
    _check_limits(source, layout, records, limits)
    keep, repeated, cells_in_file = _sort_out(records, text, layout, ledger, source)
    return Table(
        names=layout.names,
        columns=_columns(records, np.flatnonzero(keep), layout, source),
        units=layout.units,
        lines=records.line[keep],
        cells_in_file=cells_in_file,
        encoding=text.encoding,
        delimiter=layout.delimiter,
        decimal=layout.decimal,
        header=layout.header,
        header_line=layout.header_line,
        repeated=repeated,
        why=layout.why,
        runner_up=layout.runner_up,
    )


def _check_limits(source: Source, layout: Layout, records: Records, limits: Limits) -> None:
    lengths = records.end - records.start
    longest = int(lengths.argmax()) if len(records) else 0
    if len(records) and lengths[longest] > limits.line_bytes:
        raise LogError(
            f"{source.shown}: looked for lines of at most {limits.line_bytes:,} bytes, line "
            f"{records.line[longest]:,} is longer; raise the limit, or the file is no log"
        )
    samples = int((records.line >= layout.first_line).sum()) * len(layout.names)
    if samples > limits.samples:
        raise LogError(
            f"{source.shown}: looked for at most {limits.samples:,} samples, found {samples:,}; "
            f"raise the limit or split the log"
        )


def _sort_out(
    records: Records, text: Text, layout: Layout, ledger: Ledger, source: Source
) -> tuple[BoolArray, tuple[int, ...], int]:
    """Which records are rows of data, all others entered in the ledger; the lines of repeated headers; and
    the cells in all of them."""
    data = records.line >= layout.first_line
    fits = data & (records.width == layout.width)
    if layout.trailing:
        fits[_filled_beyond(records, np.flatnonzero(fits), layout)] = False
    cells = records.width - (layout.trailing & fits)
    again = _said_again(records, np.flatnonzero(data), layout)
    for index in np.flatnonzero(data & ~fits & ~again).tolist():
        if _REMARK.match(records.record(index)):
            data[index] = False
    cells_in_file = int(cells[data].sum())
    fits &= ~again
    _enter_repeated(records, data & again, cells, ledger)
    last = len(records) - 1
    unended = last >= 0 and bool(data[last]) and int(records.end[last]) == len(records.text)
    if unended and not again[last] and not (fits[last] and _may_stay(records, last, fits, layout, source)):
        fits[last] = data[last] = False
        _enter_tail(ledger, int(records.line[last]), int(cells[last]))
    elif source.cut:
        _enter_tail(ledger, int(records.line[last]) + 1 if last >= 0 else 1, 0)
    if len(text.breaks):
        _leave_out_beside_nuls(records, text, fits, layout)
    _leave_out_above_headers(records, again, fits, layout)
    _enter_misfits(records, data & ~fits & ~again, ledger, cells)
    return fits, tuple(records.line[data & again].tolist()), cells_in_file


def _filled_beyond(records: Records, rows: NDArray[np.intp], layout: Layout) -> list[int]:
    """The rows that say something behind the delimiter that ends all others."""
    text = np.frombuffer(records.text, dtype=np.uint8)
    suspects = rows[text[records.end[rows] - 1] != ord(layout.delimiter)]
    return [row for row in suspects.tolist() if split_line(records.record(row), layout.delimiter)[-1].strip()]


def _may_stay(records: Records, last: int, fits: BoolArray, layout: Layout, source: Source) -> bool:
    """Whether a last row without a line end is kept: a packed stream that broke off leaves it in doubt."""
    whole = is_whole(records, last, fits, layout)
    return whole is True if source.cut else whole is not False


def _said_again(records: Records, rows: NDArray[np.intp], layout: Layout) -> BoolArray:
    """Which rows repeat the header or a line above it, as a logger does that starts again."""
    again = np.zeros(len(records), dtype=bool)
    above = np.flatnonzero(records.line < layout.first_line)
    text = np.frombuffer(records.text, dtype=np.uint8)
    lengths = (records.end - records.start)[rows]
    for head in above[-_MOST_HEAD_LINES:].tolist():
        line = records.text[records.start[head] : records.end[head]]
        alike = rows[(lengths == len(line)) & (text[records.start[rows]] == line[0])]
        for row in alike.tolist():
            again[row] |= records.text[records.start[row] : records.end[row]] == line
    return again


def _enter_repeated(records: Records, again: BoolArray, cells: IntArray, ledger: Ledger) -> None:
    rows = np.flatnonzero(again)
    if len(rows):
        times = int(np.sum(np.diff(rows, prepend=-2) > 1))
        text = "Header repeated {count} time(s){where}, as when the logger starts again; left out."
        line = int(records.line[rows[0]])
        ledger.add("repeated_header", times, text, line=line, cells=int(cells[rows].sum()))


def _leave_out_beside_nuls(records: Records, text: Text, fits: BoolArray, layout: Layout) -> None:
    """A row that NULs cut off counts only where it is whole: its last cell, or its clock, may be half."""
    for index in np.flatnonzero(fits & np.isin(records.end, text.breaks)).tolist():
        fits[index] = is_whole(records, index, fits, layout) is True
    if layout.clock != 0:
        fits[np.isin(records.start - 1, text.breaks)] = False


def _leave_out_above_headers(records: Records, again: BoolArray, fits: BoolArray, layout: Layout) -> None:
    """A row above a repeated header counts only where it is not half: a power cut may have ended it."""
    above = np.flatnonzero(again[1:] & fits[:-1])
    for index in above[:_MOST_HEAD_LINES].tolist():
        fits[index] = is_whole(records, index, fits, layout) is not False


def _enter_tail(ledger: Ledger, line: int, cells: int) -> None:
    text = "The last line is half written{where}, as a power cut leaves it; it was left out."
    ledger.add("truncated_tail", 0 if ledger.has("truncated_tail") else 1, text, line=line, cells=cells)


def _enter_misfits(records: Records, misfit: BoolArray, ledger: Ledger, cells: IntArray) -> None:
    rows = np.flatnonzero(misfit)
    if not len(rows):
        return
    ledger.add(
        "unreadable_row",
        len(rows),
        "{count} unreadable row(s){where} left out.",
        line=int(records.line[rows[0]]),
        cells=int(cells[rows].sum()),
    )


def _columns(records: Records, kept: NDArray[np.intp], layout: Layout, source: Source) -> tuple[Column, ...]:
    if not len(kept):
        import polars as pl

        empty = pl.Series([], dtype=pl.String)
        return tuple(TextColumn(empty, layout.decimal) for _ in layout.names)
    try:
        return read_columns(records, kept, layout)
    except BulkError as error:
        raise LogError(
            f"{source.shown}: looked for {len(kept):,} rows of {layout.width} cells, found {error}; "
            f"a fault of the reader: please keep the file and tell us"
        ) from error

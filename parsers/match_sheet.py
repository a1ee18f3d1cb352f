"""`matches.csv` to a match sheet, read with the same care as a log: nothing is left out in silence."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from os import PathLike
from pathlib import Path

from parsers.ledger import Ledger
from parsers.limits import Limits
from parsers.source import open_source
from parsers.text import decode
from telemetry.errors import LogError
from telemetry.match_sheet import MatchSheet, SheetRow, clock_s
from telemetry.plain import shown

__all__ = ["read_match_sheet"]

_MOST_BYTES = 1 << 20
_MOST_ROWS = 2000
_LONGEST_CELL = 500
_DELIMITERS = (",", ";", "\t", "|")
_COLUMNS = {
    "file": ("file", "log", "log file", "file name", "filename"),
    "match": ("match", "match number", "match name"),
    "start": ("start time", "start", "time", "started"),
    "driver": ("driver",),
    "battery": ("battery",),
    "note": ("note", "notes", "remark", "remarks"),
    "video": ("video",),
}
_Line = tuple[int, list[str]]


def read_match_sheet(path: str | PathLike[str]) -> MatchSheet:
    """The sheet in the file at `path`: a header line with `file` or `match`, then a line for each match.

    Delimiter (`, ; tab |`), quoting (RFC 4180), encoding and line ends are told from the file; lines that are
    empty or begin with `#` are passed over. Raises LogError, one line, where it is no usable sheet.
    """
    source = open_source(Path(path), Limits(file_bytes=_MOST_BYTES, unpacked_bytes=_MOST_BYTES))
    ledger = Ledger(source.file)
    text = decode(source.data, ledger).data.decode("utf-8", "replace").replace("\0", "")
    lines = _lines(text, source.shown)
    line, header = next(lines, (0, []))
    columns, unknown = _columns(header)
    if not {"file", "match"} & columns.keys():
        found = shown(", ".join(header), 120) or "nothing"
        raise LogError(
            f"{source.shown}: looked for a match sheet whose header names file or match, found {found}; "
            "begin it with file,match,start time,driver,battery,note,video"
        )
    if unknown:
        ledger.add(
            "unknown_column",
            len(unknown.split(", ")),
            f"{{count}} column(s) without a known name: {_braced(unknown)}.",
            line=line,
        )
    rows = list(_sheet_rows(lines, columns, len(header), ledger))
    return MatchSheet(tuple(rows), ledger.repairs())


def _lines(text: str, file: str) -> Iterator[_Line]:
    """Each record with the line it ends on; empty and comment lines left out."""
    first = next((line for line in text.splitlines() if line.strip() and not line.startswith("#")), "")
    delimiter = max(_DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
                yield reader.line_num, [cell.strip() for cell in cells]
    except csv.Error as error:
        raise LogError(
            f"{file}: looked for a match sheet, line {reader.line_num} cannot be read ({error}); mend it"
        ) from error


def _columns(header: Sequence[str]) -> tuple[dict[str, int], str]:
    """Place of each column that means something, and the names of the others in words."""
    places: dict[str, int] = {}
    unknown = []
    for place, cell in enumerate(header):
        spelled = re.sub(r"[\s_-]+", " ", cell.strip().lower())
        meaning = next((name for name, words in _COLUMNS.items() if spelled in words), None)
        if meaning and meaning not in places:
            places[meaning] = place
        elif spelled:
            unknown.append(shown(cell, 40))
    return places, ", ".join(unknown)


def _sheet_rows(
    lines: Iterator[_Line], columns: Mapping[str, int], width: int, ledger: Ledger
) -> Iterator[SheetRow]:
    seen: set[str] = set()
    for number, (line, cells) in enumerate(lines):
        if number >= _MOST_ROWS:
            ledger.add(
                "too_many_rows", 1, f"Lines after the first {_MOST_ROWS} were left out{{where}}.", line=line
            )
            return
        told = {name: cells[place][:_LONGEST_CELL] for name, place in columns.items() if place < len(cells)}
        named = told.get("file") or told.get("match")
        if not named:
            ledger.add(
                "unreadable_row", 1, "{count} line(s) name no file and no match{where}; left out.", line=line
            )
            continue
        if len(cells) > width and any(cells[width:]):
            ledger.add(
                "unreadable_cell", 1, "{count} line(s) have more cells than the header{where}.", line=line
            )
        key = f"{told.get('file', '')}\n{told.get('match', '')}".lower()
        if key in seen:
            ledger.add(
                "duplicate_row",
                1,
                "{count} line(s) name a match for the second time{where}; left out.",
                line=line,
            )
            continue
        seen.add(key)
        yield _row(told, line, ledger)


def _row(told: Mapping[str, str], line: int, ledger: Ledger) -> SheetRow:
    start = told.get("start", "")
    start_s = clock_s(start) if start else None
    if start and start_s is None:
        ledger.add(
            "unreadable_cell", 1,
            "{count} start time(s) could not be read{where}; write 14:05 or 2030-05-04T14:05.", line=line,
        )  # fmt: skip
    return SheetRow(
        file=Path(told.get("file", "").replace("\\", "/")).name,
        match=told.get("match", ""),
        start_s=start_s,
        driver=told.get("driver", ""),
        battery=told.get("battery", ""),
        note=told.get("note", ""),
        video=told.get("video", ""),
    )


def _braced(text: str) -> str:
    """Text as it may stand in a ledger's sentence."""
    return text.replace("{", "{{").replace("}", "}}")

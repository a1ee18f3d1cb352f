"""Where each record of a delimited text begins and ends, and how many cells it has (RFC 4180)."""

from __future__ import annotations

import csv
import io
from bisect import bisect_left
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.dataclass import dataclass
from telemetry.log import BoolArray

__all__ = ["IntArray", "Records", "find_records", "split_line", "split_lines"]

IntArray = NDArray[np.int64]

_LF, _CR, _QUOTE = 10, 13, 34
_MOST_LINES_OF_A_RECORD = 16
_BLOCK_BYTES = 1 << 24


@dataclass(frozen=True, eq=False)
class Records:
    """The records of a text, blank lines left out.

    Attributes:
        text: the text they were found in.
        start, end: shape (n,), byte offsets, the line end left out.
        width: shape (n,), cells; `line`: shape (n,), number of the first line, from 1.
        rewritten: by record, its text with the quoting put in order, where `text` has it otherwise.
        quoted: some record holds a quote.
    """

    text: bytes
    start: IntArray
    end: IntArray
    width: IntArray
    line: IntArray
    rewritten: dict[int, bytes]
    quoted: bool

    def __len__(self) -> int:
        return len(self.start)

    def raw(self, index: int) -> bytes:
        """One record as it stands in the text."""
        return self.text[self.start[index] : self.end[index]]

    def record(self, index: int) -> str:
        """The text of one record, its quoting put in order."""
        own = self.rewritten.get(index, self.text[self.start[index] : self.end[index]])
        return own.decode(errors="replace")

    def joined(self, kept: NDArray[np.intp]) -> bytes:
        """The text of the kept records, one a line, in order; runs without a blank line are cut whole."""
        breaks = np.flatnonzero((np.diff(kept) > 1) | ~self._touching(kept)) + 1
        firsts = np.concatenate((kept[:1], kept[breaks])).tolist()
        pasts = (np.concatenate((kept[breaks - 1], kept[-1:])) + 1).tolist()
        runs = zip(firsts, pasts, strict=True)
        own = sorted(self.rewritten)
        return b"\n".join(piece for first, past in runs for piece in self._run(first, past, own))

    def _touching(self, kept: NDArray[np.intp]) -> BoolArray:
        """Which records have but one line end, LF or CRLF, between them and the next one kept."""
        ends = self.end[kept[:-1]]
        between = self.start[kept[1:]] - ends
        returns = np.frombuffer(self.text, dtype=np.uint8)[ends] == _CR
        touching: BoolArray = between == np.where(returns, 2, 1)
        return touching

    def _run(self, first: int, past: int, own: list[int]) -> Iterator[bytes]:
        for index in own[bisect_left(own, first) : bisect_left(own, past)]:
            if index > first:
                yield self.text[self.start[first] : self.end[index - 1]]
            yield self.rewritten[index]
            first = index + 1
        if past > first:
            yield self.text[self.start[first] : self.end[past - 1]]


def split_line(line: str, delimiter: str) -> list[str]:
    """The cells of one line; a quote that never closes is an ordinary character."""
    if '"' not in line:
        return line.split(delimiter)
    try:
        return next(csv.reader([line], delimiter=delimiter, strict=True), [""])
    except csv.Error:
        return line.split(delimiter)


def split_lines(lines: Sequence[tuple[int, str]], delimiter: str) -> list[tuple[int, list[str]]]:
    """The records in numbered lines, as (number of the first line, cells); quoted line breaks joined."""
    if not any('"' in line for _, line in lines):
        return [(number, line.split(delimiter)) for number, line in lines]
    records = []
    at = 0
    while at < len(lines):
        number, line = lines[at]
        cells, used = split_line(line, delimiter), 1
        if line.count('"') % 2 == 1:
            following = [text for _, text in lines[at : at + _MOST_LINES_OF_A_RECORD]]
            cells, used = _joined_lines(following, delimiter) or (cells, 1)
        records.append((number, cells))
        at += used
    return records


def _joined_lines(lines: Sequence[str], delimiter: str) -> tuple[list[str], int] | None:
    """The record that the first line opens and a later one closes, and how many lines it takes."""
    for used, line in enumerate(lines[1:], start=2):
        if line.count('"') % 2 == 0:
            continue
        text = io.StringIO("\n".join(lines[:used]), newline="")
        try:
            rows = list(csv.reader(text, delimiter=delimiter, strict=True))
        except csv.Error:
            return None
        return (rows[0], used) if len(rows) == 1 else None
    return None


def find_records(
    text: bytes, delimiter: str, *, breaks: IntArray | None = None, wanted: int | None = None
) -> Records:
    """All records of `text` that are not blank, spoiled ones too: their width gives them away.

    `breaks` are places of line feeds that the file has not, so that they count for no line of it. Lines
    with an open quote are joined only to a record of the `wanted` cells: a stray quote swallows no rows.
    """
    data = np.frombuffer(text, dtype=np.uint8)
    feeds = _places(data, _LF)
    start = np.concatenate(([0], feeds + 1))
    end = np.concatenate((feeds, [len(data)]))
    if b"\r" in text:
        end = end - ((end > start) & (data[np.maximum(end - 1, 0)] == _CR))
    line = np.arange(1, len(start) + 1)
    if breaks is not None and len(breaks):
        line -= np.searchsorted(breaks, start)
    if b'"' in text:
        cut = np.zeros(0, dtype=np.intp) if breaks is None else np.searchsorted(start, breaks + 1)
        marks = _places(data, ord(delimiter))
        return _find_quoted(text, data, start, end, line, marks, cut, delimiter, wanted)
    width = _widths(data, start, ord(delimiter))
    filled = end > start
    if filled.all():
        return Records(text, start, end, width, line, {}, False)
    return Records(text, start[filled], end[filled], width[filled], line[filled], {}, False)


def _places(data: NDArray[np.uint8], byte: int) -> IntArray:
    """Where a byte stands, found block by block: a mask of a whole gigabyte would be another one."""
    found = [
        np.flatnonzero(data[at : at + _BLOCK_BYTES] == byte) + at for at in range(0, len(data), _BLOCK_BYTES)
    ]
    return found[0] if len(found) == 1 else np.concatenate([np.zeros(0, dtype=np.int64), *found])


def _widths(data: NDArray[np.uint8], start: IntArray, delimiter: int) -> IntArray:
    """Cells of each line that begins at `start`: one more than its delimiters."""
    width = np.ones(len(start), dtype=np.int64)
    past = int(np.searchsorted(start, len(data)))
    at = 0
    while at < past:
        until = max(int(np.searchsorted(start[:past], start[at] + _BLOCK_BYTES)), at + 1)
        stop = len(data) if until >= len(start) else int(start[until])
        width[at:until] += _counts(data[start[at] : stop] == delimiter, start[at:until] - start[at])
        at = until
    return width


def _counts(marks: BoolArray, start: IntArray) -> NDArray[np.unsignedinteger]:
    """How many marks lie between each start and the next; in single bytes, unless some count exceeds one."""
    counts: NDArray[np.unsignedinteger] = np.add.reduceat(marks.view(np.uint8), start, dtype=np.uint8)
    if np.count_nonzero(marks) != counts.sum(dtype=np.int64):
        counts = np.add.reduceat(marks.view(np.uint8), start, dtype=np.uint32)
    return counts


def _find_quoted(
    text: bytes,
    data: NDArray[np.uint8],
    start: IntArray,
    end: IntArray,
    line: IntArray,
    marks: IntArray,
    cut: NDArray[np.intp],
    delimiter: str,
    wanted: int | None,
) -> Records:
    """The records of a text with quotes; none runs on into a line of `cut`, whose start is no line's end."""
    quotes = _places(data, _QUOTE)
    bounds = np.append(start, len(data) + 1)
    first_quote = np.searchsorted(quotes, bounds)
    mark_line = np.searchsorted(start, marks, side="right") - 1
    inside = (np.searchsorted(quotes, marks) - first_quote[mark_line]) % 2 == 1
    width = np.bincount(mark_line[~inside], minlength=len(start)) + 1
    odd = _oddly_quoted(data, quotes, start, end, first_quote, ord(delimiter))
    keep = end > start
    rewritten_lines: dict[int, bytes] = {}
    past = -1
    for index in np.flatnonzero(odd).tolist():
        if index < past:
            continue
        following = np.searchsorted(cut, index, side="right")
        stop = int(cut[following]) if following < len(cut) else len(start)
        cells, past = _odd_record(text, index, stop, start, end, first_quote, delimiter, wanted)
        keep[index + 1 : past] = False
        width[index] = len(cells)
        end[index] = end[past - 1]
        rewritten_lines[index] = _quoted_text(cells, delimiter)
    position = np.cumsum(keep) - 1
    rewritten = {int(position[index]): own for index, own in rewritten_lines.items()}
    return Records(text, start[keep], end[keep], width[keep], line[keep], rewritten, True)


def _oddly_quoted(
    data: NDArray[np.uint8],
    quotes: IntArray,
    start: IntArray,
    end: IntArray,
    first_quote: IntArray,
    delimiter: int,
) -> BoolArray:
    """Which lines have a quote that neither opens nor closes a whole cell."""
    line = np.searchsorted(start, quotes, side="right") - 1
    opens = (np.arange(len(quotes)) - first_quote[line]) % 2 == 0
    at_start = (quotes == start[line]) | (data[np.maximum(quotes - 1, 0)] == delimiter)
    at_end = (quotes + 1 >= end[line]) | (data[np.minimum(quotes + 1, len(data) - 1)] == delimiter)
    stray = np.where(opens, ~at_start, ~at_end)
    odd: BoolArray = np.diff(first_quote) % 2 == 1
    odd[line[stray]] = True
    return odd


def _odd_record(
    text: bytes,
    index: int,
    stop: int,
    start: IntArray,
    end: IntArray,
    first_quote: IntArray,
    delimiter: str,
    wanted: int | None,
) -> tuple[list[str], int]:
    """The cells of the record that begins at an oddly quoted line, before line `stop`; and the line after."""
    if (first_quote[index + 1] - first_quote[index]) % 2 == 1:
        last = min(index + _MOST_LINES_OF_A_RECORD, stop)
        lines = [text[start[i] : start[i + 1] - 1] for i in range(index, min(last, len(start) - 1))]
        if last == len(start):
            lines.append(text[start[-1] :])
        joined = _joined_lines([line.decode(errors="replace") for line in lines], delimiter)
        if joined is not None and wanted in (None, len(joined[0])):
            return joined[0], index + joined[1]
    own = text[start[index] : end[index]].decode(errors="replace")
    return split_line(own, delimiter), index + 1


def _quoted_text(cells: list[str], delimiter: str) -> bytes:
    def quoted(cell: str) -> str:
        plain = '"' not in cell and delimiter not in cell and "\n" not in cell and "\r" not in cell
        return cell if plain else '"' + cell.replace('"', '""') + '"'

    return delimiter.join(map(quoted, cells)).encode()

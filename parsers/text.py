"""Bytes of a text file to UTF-8 with LF, whatever wrote them."""

from __future__ import annotations

import codecs
import re
from collections import Counter
from dataclasses import field

import numpy as np

from parsers.ledger import Ledger
from parsers.records import IntArray
from telemetry.dataclass import dataclass

__all__ = ["Text", "decode"]

_DETECTED = ("utf-8", "utf-16-le", "utf-16-be")
_HEAD_BYTES = 1 << 16
_BLOCK_BYTES = 1 << 24
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
# Files that were appended to each other keep their marks.
_LATER_MARK = b"\n" + codecs.BOM_UTF8
_LINE_ENDS = {"utf-16-le": (b"\n\0", b"\r\0"), "utf-16-be": (b"\0\n", b"\0\r")}
# A letter or a sign of measure that Windows-1252 has in one byte, in a word of at least two characters;
# as Python's surrogateescape has bytes that do not fit UTF-8.
_SIGN = "[\udca7\udcb0\udcb2\udcb3\udcb5\udcc0-\udcff]"
_WORD_IN_ONE_BYTE = re.compile(f"[A-Za-z]*(?:[A-Za-z]{_SIGN}|{_SIGN}[A-Za-z])[A-Za-z]*")
_UNIT_IN_ONE_BYTE = re.compile(rf"[\[(][A-Za-z/]*{_SIGN}[A-Za-z/0-9]*[\])]")
# A power cut leaves NULs by the block; fewer than this in a row are garbage in a cell.
_NUL_RUN = re.compile(rb"\0{4,}")


def _no_breaks() -> IntArray:
    return np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Text:
    """`data` is valid UTF-8 without a byte-order mark; `encoding` is what the file had.

    `breaks` are the places of line feeds in `data` that the file has not: they part a run of NULs,
    kept as one, from the records before and behind it.
    """

    data: bytes
    encoding: str
    breaks: IntArray = field(default_factory=_no_breaks)


def decode(raw: bytes, ledger: Ledger, told: str | None = None) -> Text:
    """The text in `raw`: in the encoding told, else UTF-8, UTF-16 with or without a mark, or Windows-1252.

    A tail of NUL bytes, as a power cut leaves it, is dropped as a `truncated_tail`. Bytes that do not
    fit the encoding become U+FFFD, which no cell may hold: they come up as unreadable cells.
    """
    mark, encoding = next(((m, e) for m, e in _BOMS if raw.startswith(m)), (b"", _encoding_without_mark(raw)))
    body = raw[len(mark) :]
    if told is not None and told not in _DETECTED:
        encoding = told
        body = body.decode(told, errors="replace").encode(errors="replace")
    elif (encoding := told or encoding) != "utf-8":
        body = _from_utf16(body, encoding)
    elif not _is_utf8(body):
        encoding = "utf-8" if mark or told else _encoding_of_bytes(body)
        body = body.decode(encoding, errors="replace").encode()
    kept = body.rstrip(b"\0")
    if len(kept) < len(body):
        ledger.add("truncated_tail", 1, _NUL_TAIL, line=kept.count(b"\n") + 1)
    kept = _with_line_feeds(kept)
    if not kept.isascii():
        kept = kept.replace(_LATER_MARK, b"\n")
    return Text(*_parted(kept, encoding))


_NUL_TAIL = "The file ends in a run of NUL bytes{where}, as a power cut leaves it; the tail was left out."


def _encoding_without_mark(raw: bytes) -> str:
    """UTF-16 betrays itself by a NUL in every other byte of plain text."""
    head = raw[:128]
    half = max(len(head) // 2, 1)
    if head[1::2].count(0) > 0.4 * half and head[0::2].count(0) < 0.05 * half:
        return "utf-16-le"
    if head[0::2].count(0) > 0.4 * half and head[1::2].count(0) < 0.05 * half:
        return "utf-16-be"
    return "utf-8"


def _from_utf16(body: bytes, encoding: str) -> bytes:
    """UTF-8. A byte too many or too few in the middle shifts no line behind it: each is decoded alone.

    Half a character at the very end, as a power cut leaves it, says nothing.
    """
    end = max(_LINE_ENDS[encoding], key=body.count)
    feed = end.decode(encoding)
    try:
        whole = body.decode(encoding)
    except UnicodeDecodeError:
        whole = ""
    if whole and whole.count(feed) == body.count(end):
        return whole.encode(errors="replace")
    lines = [line.decode(encoding, errors="replace") for line in _parted_at(body, end)]
    lines[-1] = lines[-1].removesuffix("\ufffd")
    return feed.join(lines).encode(errors="replace")


def _parted_at(body: bytes, end: bytes) -> list[bytes]:
    """The lines of two-byte characters; what looks like an end across two of them parts none.

    It leaves two pieces of an odd length where a byte too many or too few leaves one.
    """
    lines: list[bytes] = []
    odd = False
    for piece in body.split(end):
        if odd and len(piece) % 2:
            lines[-1] += end + piece
            odd = False
        else:
            lines.append(piece)
            odd = len(piece) % 2 == 1
    return lines


def _is_utf8(body: bytes) -> bool:
    if body.isascii():
        return True
    decoder = codecs.getincrementaldecoder("utf-8")()
    view = memoryview(body)
    try:
        for at in range(0, len(body), _BLOCK_BYTES):
            decoder.decode(view[at : at + _BLOCK_BYTES], final=at + _BLOCK_BYTES >= len(body))
    except UnicodeDecodeError:
        return False
    return True


def _encoding_of_bytes(body: bytes) -> str:
    """Windows-1252 where the bytes that do not fit UTF-8 make words; else spoiled UTF-8.

    They do where the first lines, header and all, are clean text in it, where one is a unit in brackets,
    or where a word with such a byte is said twice: accidents do not repeat. Letters that UTF-8 writes in
    two bytes or more hardly come about by chance: where they are as many as the bytes that do not fit,
    the text is UTF-8.
    """
    head = body[:_HEAD_BYTES].rstrip(b"\0")
    text = head.decode(errors="replace")
    misfits = text.count("\ufffd")
    letters = sum(character > "\x7f" for character in text) - misfits
    first = b"".join(head.splitlines()[:3])
    if _is_control(first) or (letters and letters >= misfits):
        return "utf-8"
    return "utf-8" if _is_utf8(first) and not _says_words(body) else "windows-1252"


def _is_control(line: bytes) -> bool:
    return any(byte < 32 and byte not in b"\t\r" for byte in line)


def _says_words(body: bytes) -> bool:
    """Whether half of the words with a byte that does not fit UTF-8 are there again, or one is a unit."""
    text = body.decode(errors="surrogateescape")
    if _UNIT_IN_ONE_BYTE.search(text):
        return True
    words = Counter(_WORD_IN_ONE_BYTE.findall(text))
    again = sum(count for count in words.values() if count > 1)
    return 2 * again >= words.total() > 0


def _with_line_feeds(body: bytes) -> bytes:
    """The same with LF where most lines end in a bare CR."""
    if b"\r" not in body:
        return body
    bare = body.count(b"\r") - body.count(b"\r\n")
    if bare > body.count(b"\n"):
        return body.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return body


def _parted(body: bytes, encoding: str) -> tuple[bytes, str, IntArray]:
    """Runs of NULs cut down to one that stands on a line of its own, and the line feeds put in for it."""
    pieces = _NUL_RUN.split(body) if b"\0" in body else [body]
    if len(pieces) == 1:
        return body, encoding, _no_breaks()
    lengths = np.array([len(piece) for piece in pieces[:-1]], dtype=np.int64)
    first = np.cumsum(lengths + 3) - 3
    return b"\n\0\n".join(pieces), encoding, np.sort(np.concatenate((first, first + 2)))

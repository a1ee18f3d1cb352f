"""Bytes of a text file to UTF-8 with LF, whatever wrote them."""

from __future__ import annotations

import codecs
from dataclasses import dataclass

from parsers.ledger import Ledger

__all__ = ["Text", "decode"]

_HEAD_BYTES = 1 << 16
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


@dataclass(frozen=True)
class Text:
    """`data` is valid UTF-8 without a byte-order mark; `encoding` is what the file had."""

    data: bytes
    encoding: str


def decode(raw: bytes, ledger: Ledger) -> Text:
    """The text in `raw`: UTF-8, UTF-16 with or without a mark, else Windows-1252.

    A tail of NUL bytes, as a power cut leaves it, is dropped as a `truncated_tail`. Bytes that do not
    fit the encoding become U+FFFD, which no cell may hold: they come up as unreadable cells.
    """
    mark, encoding = next(((m, e) for m, e in _BOMS if raw.startswith(m)), (b"", _encoding_without_mark(raw)))
    body = raw[len(mark) :]
    if encoding != "utf-8":
        body = body.decode(encoding, errors="replace").encode()
    elif not _is_utf8(body):
        encoding = _encoding_of_bytes(body)
        body = body.decode(encoding, errors="replace").encode()
    kept = body.rstrip(b"\0")
    if len(kept) < len(body):
        ledger.add("truncated_tail", 1, _NUL_TAIL, line=kept.count(b"\n") + 1)
    if b"\n" not in kept:
        kept = kept.replace(b"\r", b"\n")
    return Text(kept, encoding)


_NUL_TAIL = "The file ends in a run of NUL bytes{where}, as a power cut leaves it; the tail was left out."


def _encoding_without_mark(raw: bytes) -> str:
    """UTF-16 betrays itself by a NUL in every other byte of plain text."""
    head = raw[:1024]
    half = max(len(head) // 2, 1)
    if head[1::2].count(0) > 0.4 * half and head[0::2].count(0) < 0.05 * half:
        return "utf-16-le"
    if head[0::2].count(0) > 0.4 * half and head[1::2].count(0) < 0.05 * half:
        return "utf-16-be"
    return "utf-8"


def _is_utf8(body: bytes) -> bool:
    if body.isascii():
        return True
    try:
        body.decode()
    except UnicodeDecodeError:
        return False
    return True


def _encoding_of_bytes(body: bytes) -> str:
    """Windows-1252 where the first lines, header and all, are clean text in it; else spoiled UTF-8."""
    head = b"".join(body[:_HEAD_BYTES].split(b"\n")[:3])
    garbled = any(byte < 32 and byte not in b"\t\r" for byte in head)
    return "utf-8" if garbled or _is_utf8(head) else "windows-1252"

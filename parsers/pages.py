"""What the pages of a Parquet file unpack to, read from their own headers before one is unpacked.

A page is unpacked into a buffer of the size its header tells, so that these sizes, and not the footer's,
bound the memory it takes. Headers are in Thrift's compact protocol (Apache Parquet format, "Data Pages").
"""

from __future__ import annotations

from collections.abc import Iterator

__all__ = ["MalformedPageError", "page_sizes"]

_STOP, _TRUE, _FALSE, _BYTE, _I16, _I32, _I64, _DOUBLE, _BINARY, _LIST, _SET, _MAP, _STRUCT = range(13)
_UNPACKED_SIZE, _PACKED_SIZE = 2, 3
_DEEPEST = 16
_MOST_LIST = 1 << 16


class MalformedPageError(Exception):
    """A page header that is none."""


def page_sizes(data: bytes, start: int, length: int) -> Iterator[int]:
    """The unpacked size of each page of a column chunk that takes `length` bytes from `start` on.

    Raises MalformedPageError where there is no page header, or a page that leads out of the chunk.
    """
    reader = _Compact(data, start, start + length)
    while reader.at < start + length:
        fields = reader.struct(0)
        unpacked, packed = fields.get(_UNPACKED_SIZE, -1), fields.get(_PACKED_SIZE, -1)
        if unpacked < 0 or packed < 0 or reader.at + packed > start + length:
            raise MalformedPageError(f"a page at byte {reader.at:,} leads out of its column")
        yield unpacked
        reader.at += packed


class _Compact:
    """A reader of Thrift's compact protocol that keeps whole numbers and skips the rest."""

    def __init__(self, data: bytes, at: int, end: int) -> None:
        self._data, self.at, self._end = data, at, min(end, len(data))

    def struct(self, depth: int) -> dict[int, int]:
        """The whole-number fields of the structure that begins here, by their number."""
        if depth > _DEEPEST:
            raise MalformedPageError(f"a page header at byte {self.at:,} is nested too deeply")
        fields: dict[int, int] = {}
        number = 0
        while (head := self._byte()) != _STOP:
            kind, step = head & 15, head >> 4
            number = number + step if step else self._zigzag()
            if kind in (_I16, _I32, _I64):
                fields[number] = self._zigzag()
            else:
                self._skip(kind, depth)
        return fields

    def _skip(self, kind: int, depth: int) -> None:
        if kind in (_TRUE, _FALSE):
            return
        if kind in (_I16, _I32, _I64):
            self._zigzag()
        elif kind == _STRUCT:
            self.struct(depth + 1)
        elif kind in (_LIST, _SET):
            self._skip_list(depth)
        elif kind in (_BYTE, _DOUBLE, _BINARY):
            self._forward({_BYTE: 1, _DOUBLE: 8}.get(kind) or self._varint())
        else:
            raise MalformedPageError(f"a page header at byte {self.at:,} holds no known field")

    def _skip_list(self, depth: int) -> None:
        head = self._byte()
        size = head >> 4 if head >> 4 < 15 else self._varint()
        if size > _MOST_LIST:
            raise MalformedPageError(f"a page header at byte {self.at:,} holds too long a list")
        for _ in range(size):
            kind = head & 15
            self._forward(1) if kind in (_TRUE, _FALSE) else self._skip(kind, depth + 1)

    def _forward(self, count: int) -> None:
        self.at += count
        if self.at > self._end:
            raise MalformedPageError("a page header runs past its column")

    def _byte(self) -> int:
        self._forward(1)
        return self._data[self.at - 1]

    def _varint(self) -> int:
        value = shift = 0
        while shift < 70:
            byte = self._byte()
            value |= (byte & 127) << shift
            if byte < 128:
                return value
            shift += 7
        raise MalformedPageError(f"a page header at byte {self.at:,} holds too long a number")

    def _zigzag(self) -> int:
        value = self._varint()
        return (value >> 1) ^ -(value & 1)

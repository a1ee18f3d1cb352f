"""A file's bytes: opened read-only, refused when it is no plain file or too large, unpacked under a cap."""

from __future__ import annotations

import hashlib
import os
import stat
import zlib
from collections.abc import Iterator
from pathlib import Path

from parsers.limits import Limits
from telemetry.dataclass import dataclass
from telemetry.errors import LogError
from telemetry.plain import shown

__all__ = ["Source", "open_source"]

_CHUNK_BYTES = 1 << 20
_GZIP_MAGIC = b"\x1f\x8b"
_ZSTD_MAGIC = b"\x28\xb5\x2f\xfd"
_ZSTD_WINDOW_BYTES = 1 << 27


@dataclass(frozen=True)
class Source:
    """What the readers get to see of a file.

    Attributes:
        file: its name without the folder.
        sha256: of the bytes on disk, lower-case hexadecimal.
        data: its content, unpacked.
        cut: the packed stream ended before its end; `data` holds what came before.
    """

    file: str
    sha256: str
    data: bytes
    cut: bool = False

    @property
    def shown(self) -> str:
        """The file's name, safe for a terminal."""
        return shown(self.file)


def open_source(path: Path, limits: Limits) -> Source:
    """The content of the file at `path`; LogError when it is not a plain, readable, non-empty file."""
    packed = _read_plain_file(path, limits)
    digest = hashlib.sha256(packed).hexdigest()
    name = shown(path.name)
    if not packed:
        raise LogError(f"{name}: looked for a log, found an empty file; copy it from the robot again")
    data, cut = _unpacked(packed, name, limits)
    return Source(path.name, digest, data, cut)


def _read_plain_file(path: Path, limits: Limits) -> bytes:
    name = shown(path.name or str(path))
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "the name holds a NUL"
        raise LogError(
            f"{name}: looked for a log file, it cannot be opened ({reason}); check its name and rights"
        ) from error
    try:
        status = os.fstat(handle)
        if not stat.S_ISREG(status.st_mode):
            found = _kind_of_file(status.st_mode)
            raise LogError(f"{name}: looked for a log file, found {found}; name a plain file")
        if status.st_size > limits.file_bytes:
            raise LogError(_too_large(name, "file", limits.file_bytes, "raise the limit or split the log"))
        with os.fdopen(handle, "rb", closefd=False) as file:
            return file.read(status.st_size)
    except OSError as error:
        raise LogError(
            f"{name}: looked for a log, reading it failed ({error.strerror}); copy it again"
        ) from error
    finally:
        os.close(handle)


def _kind_of_file(mode: int) -> str:
    kinds = (
        (stat.S_ISDIR, "a folder"),
        (stat.S_ISFIFO, "a pipe"),
        (stat.S_ISSOCK, "a socket"),
        (stat.S_ISCHR, "a device"),
        (stat.S_ISBLK, "a device"),
    )
    return next((words for test, words in kinds if test(mode)), "something else")


def _too_large(name: str, what: str, limit_bytes: int, remedy: str) -> str:
    return f"{name}: looked for a {what} of at most {limit_bytes:,} bytes, found a larger one; {remedy}"


def _unpacked(packed: bytes, name: str, limits: Limits) -> tuple[bytes, bool]:
    if packed.startswith(_GZIP_MAGIC):
        pieces = _gzip_pieces(packed)
    elif packed.startswith(_ZSTD_MAGIC):
        pieces = _zstd_pieces(packed)
    else:
        return packed, False
    data = bytearray()
    cut = False
    for piece in pieces:
        if piece is None:
            cut = True
            break
        data += piece
        if len(data) > limits.unpacked_bytes:
            raise LogError(
                _too_large(name, "content", limits.unpacked_bytes, "raise the limit or unpack and split it")
            )
    if not data:
        raise LogError(f"{name}: looked for a packed log, nothing in it can be unpacked; copy it again")
    return bytes(data), cut


def _gzip_pieces(packed: bytes) -> Iterator[bytes | None]:
    """Unpacked pieces; None at the end where the stream breaks off or is damaged."""
    rest = packed
    while rest.startswith(_GZIP_MAGIC):
        engine = zlib.decompressobj(wbits=31)
        try:
            while not engine.eof and rest:
                yield engine.decompress(rest, _CHUNK_BYTES)
                rest = engine.unconsumed_tail
        except zlib.error:
            yield None
            return
        if not engine.eof:
            yield None
            return
        rest = engine.unused_data
    if rest.strip(b"\0"):
        yield None


def _zstd_pieces(packed: bytes) -> Iterator[bytes | None]:
    """Unpacked pieces; None at the end where the stream breaks off or is damaged."""
    import zstandard

    view = memoryview(packed)
    at = 0
    while at < len(packed):
        engine = zstandard.ZstdDecompressor(max_window_size=_ZSTD_WINDOW_BYTES).decompressobj()
        try:
            while not engine.eof and at < len(packed):
                step = view[at : at + 4096]
                yield engine.decompress(step)
                at += len(step)
        except zstandard.ZstdError:
            yield None
            return
        if not engine.eof:
            yield None
            return
        at -= len(engine.unused_data)

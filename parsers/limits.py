"""How large a log may be before the reader refuses it."""

from __future__ import annotations

from telemetry.dataclass import dataclass

__all__ = ["Limits"]


@dataclass(frozen=True)
class Limits:
    """Refusals in one line instead of a machine that runs out of memory; each can be raised.

    Attributes:
        file_bytes: size of the file on disk.
        unpacked_bytes: size of a packed file's content.
        channels: channels in one log.
        samples: rows × columns in one log.
        line_bytes: length of one line of text.
    """

    file_bytes: int = 2_000_000_000
    unpacked_bytes: int = 2**30
    channels: int = 2_000
    samples: int = 20_000_000
    line_bytes: int = 2**20

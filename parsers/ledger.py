"""The reader's account: every cell of the file is either kept or stands in a repair."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.errors import LogError
from telemetry.log import Repair
from telemetry.plain import shown

__all__ = ["Ledger", "braced"]


@dataclass
class _Entry:
    count: int
    line: int | None
    cells: int
    text: str


class Ledger:
    """Collects repairs, one a kind, in the order in which they first came up.

    A text holds `{count}` and `{where}`, and `(s)` behind a word that is counted; braces in it are
    doubled. The sentence of the first entry of a kind is told.
    """

    def __init__(self, file: str) -> None:
        self._file = file
        self._entries: dict[str, _Entry] = {}

    def add(self, kind: str, count: int, text: str, *, line: int | None = None, cells: int = 0) -> None:
        """Enters `count` faults of one kind, the first at `line`; they took `cells` cells out."""
        if count == 0 and cells == 0:
            return
        known = self._entries.get(kind)
        if known is None:
            self._entries[kind] = _Entry(count, line, cells, text)
            return
        known.count += count
        known.cells += cells
        if line is not None and (known.line is None or line < known.line):
            known.line = line

    def has(self, kind: str) -> bool:
        """Whether there is an entry of this kind."""
        return kind in self._entries

    def repairs(self) -> tuple[Repair, ...]:
        """All entries as they go into the log."""
        return tuple(
            Repair(kind, entry.count, entry.line, _sentence(entry), entry.cells)
            for kind, entry in self._entries.items()
        )

    def balance(self, cells_in_file: int, cells_kept: int) -> None:
        """LogError unless cells in file = cells kept + cells in repairs."""
        repaired = sum(entry.cells for entry in self._entries.values())
        if cells_in_file != cells_kept + repaired:
            raise LogError(
                f"{shown(self._file)}: looked for every cell of the file, found {cells_in_file:,} read, "
                f"{cells_kept:,} kept and {repaired:,} in repairs; that is a fault of the reader"
            )


def braced(name: str, limit: int) -> str:
    """A name out of the log, safe for a terminal and for the text of an entry."""
    return shown(name, limit).replace("{", "{{").replace("}", "}}")


def _sentence(entry: _Entry) -> str:
    first = "line" if entry.count <= 1 else "first at line"
    where = "" if entry.line is None else f" ({first} {entry.line:,})"
    told = entry.text.replace("(s)", "" if entry.count == 1 else "s")
    return told.format(count=f"{entry.count:,}", where=where)

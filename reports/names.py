"""Folder names for matches: safe on every system, and no two alike."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

__all__ = ["safe_name", "unique_names"]

_LONGEST = 80
_TAKEN = frozenset({"index.html", "event.json"})
_DEVICES = frozenset(
    {"con", "prn", "aux", "nul"} | {f"{port}{n}" for port in ("com", "lpt") for n in range(10)}
)


def safe_name(text: str) -> str:
    """A name of letters, digits, `-`, `_` and `.` alone, at most 80 long, that no system keeps for itself."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", plain)[:_LONGEST].strip("-.")
    if not name:
        return "match"
    return f"match-{name}" if name.lower().partition(".")[0] in _DEVICES else name


def unique_names(texts: Sequence[str]) -> list[str]:
    """A safe name for each text, in order; the second of two alike gets `-2`, and so on.

    Names that differ in case alone count as alike, since not every file system tells them apart.
    """
    taken = set(_TAKEN)
    return [_claimed(safe_name(text), taken) for text in texts]


def _claimed(name: str, taken: set[str]) -> str:
    free, number = name, 1
    while free.lower() in taken:
        number += 1
        free = f"{name[: _LONGEST - 4]}-{number}"
    taken.add(free.lower())
    return free

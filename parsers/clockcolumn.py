"""Which column of a table is the clock: a name that says so, values that are times and mostly rise."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence

import numpy as np

from telemetry.errors import LogError
from telemetry.log import FloatArray
from telemetry.plain import shown

__all__ = ["find_clock", "name_says_time", "named_column"]

_TIME_WORDS = frozenset(
    {"time", "times", "timestamp", "timestamps", "t", "ts", "stamp", "clock", "date", "datetime", "when"}
    | {"epoch", "elapsed", "uptime", "utc"}
)
_FILLER_WORDS = frozenset(
    {"log", "match", "robot", "unix", "system", "since", "start", "iso", "iso8601"}
    | {"s", "ms", "us", "ns", "sec", "seconds"}
)
_RISING_SHARE = 0.9
_NAMED_RISING_SHARE = 0.3
_FIRST_ROWS = 12


def name_says_time(name: str) -> int:
    """2 when a column's name is a word for time (a unit aside), 1 when it holds one, else 0."""
    words = [
        word for word in re.split(r"[^a-z0-9]+", re.sub(r"([a-z])([A-Z])", r"\1_\2", name).lower()) if word
    ]
    hits = sum(word in _TIME_WORDS for word in words)
    if not hits:
        return 1 if words and words[0] in {"seconds", "millis", "micros", "s", "ms"} else 0
    return 2 if all(word in _TIME_WORDS or word in _FILLER_WORDS for word in words) else 1


def find_clock(names: Sequence[str], columns: Sequence[FloatArray]) -> int | None:
    """The clock among sampled columns (rough stamps in file order, NaN where no time), or None.

    A name counts more than a place; a column that merely counts rows gives way to another that rises.
    """
    candidates = [
        (name_says_time(name), index)
        for index, (name, stamps) in enumerate(zip(names, columns, strict=True))
        if _is_clock(stamps, name_says_time(name))
    ]
    if not candidates:
        return None
    best = max(says for says, _ in candidates)
    finalists = [index for says, index in candidates if says == best]
    if best == 0 and len(finalists) > 1 and _counts_rows(columns[finalists[0]]):
        return finalists[1]
    return finalists[0]


def _is_clock(stamps: FloatArray, says: int) -> bool:
    known = stamps[np.isfinite(stamps)]
    if len(known) <= 0.5 * len(stamps):
        return False
    rises, falls = int(np.sum(known[1:] > known[:-1])), int(np.sum(known[1:] < known[:-1]))
    if not rises + falls:
        return says == 2 and len(known) >= 1
    share = _NAMED_RISING_SHARE if says == 2 else _RISING_SHARE
    return rises >= share * (rises + falls)


def _counts_rows(stamps: FloatArray) -> bool:
    first = stamps[np.isfinite(stamps)][:_FIRST_ROWS]
    return bool(len(first) > 1 and np.mean(first[1:] == first[:-1] + 1) >= _RISING_SHARE)


def named_column(names: Sequence[str], wanted: str, *, file: str, key: str) -> int:
    """The column a robot file names; LogError with the nearest name when there is none."""
    if wanted in names:
        return names.index(wanted)
    near = difflib.get_close_matches(wanted, names, n=1, cutoff=0.0)
    hint = f"; the nearest name is {shown(near[0], 40)!r}" if near else ""
    raise LogError(
        f"{file}: looked for the column {shown(wanted, 40)!r} that [log] {key} names, "
        f"found {len(names)} columns without it{hint}; correct it in the robot file"
    )

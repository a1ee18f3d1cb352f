"""The match sheet: what people know of each match that no log tells, and the order it gives the matches."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime

from telemetry.dataclass import dataclass
from telemetry.log import Repair
from telemetry.match_facts import MatchFacts

__all__ = ["MatchSheet", "SheetRow", "clock_s", "natural_key", "ordered", "start_s_of"]

_LEAST_EPOCH_S = 86_400.0 * 2
_TIME_OF_DAY = re.compile(r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2}(?:[.,]\d+)?))?\s*(am|pm)?", re.IGNORECASE)


@dataclass(frozen=True)
class SheetRow:
    """One line of the sheet; empty text where nothing was written.

    `start_s` is Unix time, or seconds since midnight where only a time of day was written; None without one.
    """

    file: str
    match: str = ""
    start_s: float | None = None
    driver: str = ""
    battery: str = ""
    note: str = ""
    video: str = ""


@dataclass(frozen=True)
class MatchSheet:
    """The rows in their order, and what had to be mended or left out while they were read."""

    rows: tuple[SheetRow, ...]
    repairs: tuple[Repair, ...] = ()

    def row_of(self, facts: MatchFacts) -> SheetRow | None:
        """The row of a match: by the log's file name, else by the match's own name, case aside."""
        return self.row_named(facts.summary.file, facts.name)

    def without_log(self, told: Iterable[tuple[str, str]]) -> tuple[SheetRow, ...]:
        """The rows that are of none of these logs; each told by its file's and its match's name."""
        used = {id(self.row_named(file, name)) for file, name in told}
        return tuple(row for row in self.rows if id(row) not in used)

    def row_named(self, file: str, name: str) -> SheetRow | None:
        """The row of the match in a log of that file name, or of that name."""
        file, name = file.lower(), name.lower()
        for wanted in (file, _stem(file), name):
            for row in self.rows:
                if wanted in (row.file.lower(), _stem(row.file.lower())):
                    return row
        return next((row for row in self.rows if row.match and row.match.lower() == name), None)


def clock_s(text: str) -> float | None:
    """A start time: ISO 8601 as Unix time (UTC where no zone stands), `14:05` as seconds since midnight."""
    spelled = text.strip()
    timed = _TIME_OF_DAY.fullmatch(spelled)
    if timed:
        hours, minutes = int(timed[1]), int(timed[2])
        seconds = float((timed[3] or "0").replace(",", "."))
        if timed[4]:
            hours = hours % 12 + (12 if timed[4].lower() == "pm" else 0)
        return (
            hours * 3600.0 + minutes * 60 + seconds if hours < 24 and minutes < 60 and seconds < 60 else None
        )
    try:
        moment = datetime.fromisoformat(spelled)
    except ValueError:
        return None
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def natural_key(text: str) -> tuple[object, ...]:
    """Sorts names as people do: `match-2` before `match-10`, case aside, then by the exact spelling."""
    parts = re.split(r"(\d+)", text.casefold())
    return (*((int(part), "") if part.isdigit() else (-1, part) for part in parts), (-2, text))


def ordered(facts: Sequence[MatchFacts], sheet: MatchSheet | None) -> tuple[list[MatchFacts], str]:
    """The matches in the order they were played, and what told it: `match sheet`, `clock` or `name`.

    By the sheet where it names one of them, else by the logs' own clocks where all have one, else by name.
    The sheet orders by its start times, a row without one after the row above it, and by its rows where no
    time or times of two kinds are told; matches that it leaves out come last.
    """
    by_name = sorted(
        facts, key=lambda one: (natural_key(one.summary.file), one.start_s, natural_key(one.name))
    )
    rows = {one.name: sheet.row_of(one) for one in by_name} if sheet else {}
    used = {id(row) for row in rows.values() if row}
    if sheet and used:
        places = _places([(id(row), row.start_s) for row in sheet.rows if id(row) in used])
        last = len(places)
        return sorted(by_name, key=lambda one: places.get(id(rows[one.name]), last)), "match sheet"
    if by_name and all(one.start_epoch_s is not None for one in by_name):
        return sorted(by_name, key=lambda one: one.start_epoch_s or 0.0), "clock"
    return by_name, "name"


def start_s_of(facts: MatchFacts, row: SheetRow | None, *, first_of_log: bool = True) -> float | None:
    """When a match started: by the sheet (for the first match of a log), else by the log's own clock."""
    if row and row.start_s is not None and first_of_log:
        return row.start_s
    return facts.start_epoch_s


def _places(rows: Sequence[tuple[int, float | None]]) -> dict[int, int]:
    """Which place in order each row takes; rows as their number and start, in the order of the sheet."""
    told = [start for _, start in rows if start is not None]
    if len({start < _LEAST_EPOCH_S for start in told}) != 1:
        return {row: place for place, (row, _) in enumerate(rows)}
    latest, keyed = -math.inf, []
    for row, start in rows:
        latest = latest if start is None else start
        keyed.append((latest, row))
    return {row: place for place, (_, row) in enumerate(sorted(keyed, key=lambda one: one[0]))}


def _stem(file: str) -> str:
    return re.sub(r"(\.(gz|zst|csv|tsv|txt|parquet))+$", "", file)

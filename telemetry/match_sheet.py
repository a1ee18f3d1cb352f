"""The match sheet: what people know of each match that no log tells, and the order it gives the matches."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

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

    By the sheet where it names one of them (by its start times if every row that is used has one, else by its
    rows; matches it leaves out come last), else by the logs' own clocks where all have one, else by name.
    """
    by_name = sorted(
        facts, key=lambda one: (natural_key(one.summary.file), one.start_s, natural_key(one.name))
    )
    rows = {one.name: sheet.row_of(one) for one in by_name} if sheet else {}
    used = [row for row in rows.values() if row]
    if sheet and used:
        timed = _one_clock([row.start_s for row in used])
        place = {id(row): number for number, row in enumerate(sheet.rows)}
        return sorted(by_name, key=_by_sheet(rows, place, timed)), "match sheet"
    if by_name and all(one.start_epoch_s is not None for one in by_name):
        return sorted(by_name, key=lambda one: one.start_epoch_s or 0.0), "clock"
    return by_name, "name"


def start_s_of(facts: MatchFacts, row: SheetRow | None, *, first_of_log: bool = True) -> float | None:
    """When a match started: by the sheet (for the first match of a log), else by the log's own clock."""
    if row and row.start_s is not None and first_of_log:
        return row.start_s
    return facts.start_epoch_s


def _by_sheet(
    rows: Mapping[str, SheetRow | None], place: Mapping[int, int], timed: bool
) -> Callable[[MatchFacts], tuple[bool, float]]:
    def key(one: MatchFacts) -> tuple[bool, float]:
        row = rows[one.name]
        if row is None:
            return True, 0.0
        return False, float(row.start_s or 0.0) if timed else float(place[id(row)])

    return key


def _one_clock(starts_s: Sequence[float | None]) -> bool:
    """Whether all are told, and all as dates or all as times of day."""
    told = [start for start in starts_s if start is not None]
    return len(told) == len(starts_s) and len({start < _LEAST_EPOCH_S for start in told}) == 1


def _stem(file: str) -> str:
    return re.sub(r"(\.(gz|zst|csv|tsv|txt|parquet))+$", "", file)

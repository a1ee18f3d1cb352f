"""Which column of a table is the clock: a name that says so, values that are times and mostly rise."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Sequence

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.errors import LogError
from telemetry.log import FloatArray
from telemetry.plain import shown

__all__ = ["ClockChoice", "find_clock", "has_clock", "name_says_time", "named_column", "parted"]

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
_EVEN_SHARE = 0.6
_FEWEST_FALLS = 3
_FIRST_ROWS = 12


def name_says_time(name: str) -> int:
    """2 when a column's name is a word for time (a unit aside), 1 when it holds one, else 0."""
    words = [word for word in re.split(r"[^a-z0-9]+", parted(name).lower()) if word]
    hits = sum(word in _TIME_WORDS for word in words)
    if not hits:
        return 1 if words and words[0] in {"seconds", "secs", "sec", "millis", "micros", "s", "ms"} else 0
    return 2 if all(word in _TIME_WORDS or word in _FILLER_WORDS for word in words) else 1


def parted(name: str) -> str:
    """A name run together by capitals, its words parted: `SystemTimeUs`, `CPUTimeUs`."""
    return re.sub(r"([a-z])(?=[A-Z])|([A-Z])(?=[A-Z][a-z])", r"\1\2_", name)


@dataclass(frozen=True)
class ClockChoice:
    """Which column is the clock.

    Attributes:
        place: of the clock, or None.
        others: other columns that are clocks by name and values.
        falling: a column that is a clock in all but its direction, where there is no other.
        unread: a column that is a clock by its name and holds no times, where there is no other.
    """

    place: int | None
    others: tuple[int, ...] = ()
    falling: int | None = None
    unread: int | None = None


def find_clock(
    names: Sequence[str],
    columns: Sequence[FloatArray],
    dated: Collection[int] = (),
    stride: int = 1,
) -> ClockChoice:
    """The clock among sampled columns (rough stamps in file order, NaN where no time).

    Where a name is a word for time, only such columns are asked: a channel that happens to rise is no
    clock. Else the first that rises and is one of the `dated`, which hold dates, times of day or Unix
    time; else the first that rises. One that merely counts rows, of which the sample has every `stride`-th,
    gives way to another, and what rises unevenly to a column that ticks evenly.
    """
    named = [index for index, name in enumerate(names) if name_says_time(name) == 2]
    timely = [index for index in named if _rises(columns[index]) >= _NAMED_RISING_SHARE]
    if timely:
        first = next(index for index in timely if _is_fine(columns[index], [columns[i] for i in timely]))
        steady = [i for i in timely if i != first and _rises(columns[i]) >= _RISING_SHARE]
        return ClockChoice(first, tuple(steady))
    falling = next((index for index in named if _falls_evenly(columns[index])), None)
    if falling is not None:
        return ClockChoice(None, falling=falling)
    hinted = (index for index, name in enumerate(names) if name_says_time(name) == 1)
    hint = next((index for index in hinted if _rises(columns[index]) >= _RISING_SHARE), None)
    still = next((index for index in named if _stands_still(columns[index])), None)
    if hint is not None or still is not None:
        return ClockChoice(still if hint is None else hint)
    return ClockChoice(None, unread=named[0]) if named else _unnamed_clock(names, columns, dated, stride)


def has_clock(columns: Sequence[FloatArray]) -> bool:
    """Whether some column rises, or falls, as a clock does."""
    return any(_rises(column) >= _RISING_SHARE or _falls_evenly(column) for column in columns)


def _unnamed_clock(
    names: Sequence[str], columns: Sequence[FloatArray], dated: Collection[int], stride: int
) -> ClockChoice:
    rising = [index for index, stamps in enumerate(columns) if _rises(stamps) >= _RISING_SHARE]
    mostly = (index for index in dated if _rises(columns[index]) >= _NAMED_RISING_SHARE)
    of_dates = next((index for index in rising if index in dated), None if rising else next(mostly, None))
    if of_dates is not None:
        return ClockChoice(of_dates)
    hinted = [index for index in rising if name_says_time(names[index])] or rising
    falling = next((index for index, stamps in enumerate(columns) if _falls_evenly(stamps)), None)
    even = any(_ticks_evenly(columns[place]) for place in hinted)
    if not hinted or (falling is not None and falling < hinted[0] and not even):
        return ClockChoice(None, falling=falling)
    if len(hinted) > 1 and hinted is rising:
        others = [index for index in rising if not _counts_rows(columns[index], stride)] or rising[1:]
        return ClockChoice(_evenest(others, columns))
    return ClockChoice(hinted[0])


def _evenest(places: Sequence[int], columns: Sequence[FloatArray]) -> int:
    """The first that ticks evenly, else the first; fractions give way to no whole numbers: they may count."""
    even = [place for place in places if _ticks_evenly(columns[place])]
    if not _is_whole(columns[places[0]]):
        even = [place for place in even if not _is_whole(columns[place])]
    return even[0] if even else places[0]


def _is_whole(stamps: FloatArray) -> bool:
    return bool(np.all(_known(stamps) % 1 == 0))


def _known(stamps: FloatArray) -> FloatArray:
    known = stamps[np.isfinite(stamps)]
    return known if len(known) > 0.5 * len(stamps) else known[:0]


def _rises(stamps: FloatArray) -> float:
    """The share of steps up among those up and down; 1 for a single time, 0 for what is no time."""
    known = _known(stamps)
    rises, falls = int(np.sum(known[1:] > known[:-1])), int(np.sum(known[1:] < known[:-1]))
    if not rises + falls:
        return float(len(known) == 1)
    return rises / (rises + falls)


def _ticks_evenly(stamps: FloatArray) -> bool:
    steps = np.diff(_known(stamps))
    if not len(steps):
        return False
    typical = float(np.median(steps))
    return typical > 0 and bool(np.mean(np.abs(steps - typical) <= 0.5 * typical) >= _RISING_SHARE)


def _falls_evenly(stamps: FloatArray) -> bool:
    known = _known(stamps)
    falls = known[:-1] - known[1:]
    falls = falls[falls != 0]
    if len(falls) < _FEWEST_FALLS or np.mean(falls > 0) < _RISING_SHARE:
        return False
    typical = float(np.median(falls))
    return bool(np.mean(np.abs(falls - typical) <= 0.5 * typical) >= _EVEN_SHARE)


def _is_fine(stamps: FloatArray, all_stamps: Sequence[FloatArray]) -> bool:
    """Whether a clock tells rows apart half as well as the best: a date beside a time of day does not."""
    finest = max(len(np.unique(_known(others))) for others in all_stamps)
    return 2 * len(np.unique(_known(stamps))) >= finest


def _stands_still(stamps: FloatArray) -> bool:
    known = _known(stamps)
    return len(known) > 0 and bool(np.all(known == known[0]))


def _counts_rows(stamps: FloatArray, stride: int) -> bool:
    first = stamps[np.isfinite(stamps)][:_FIRST_ROWS]
    return bool(len(first) > 1 and np.mean(first[1:] == first[:-1] + stride) >= _RISING_SHARE)


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

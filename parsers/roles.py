"""Which columns of a table are channel name and value: the two shapes of a log."""

from __future__ import annotations

import numpy as np

from parsers.cells import encode_labels
from parsers.clockcolumn import named_column
from parsers.naming import falls_between_names, sorts_values, ticks_by_name, words_of
from parsers.overrides import Told
from parsers.table import Table, TextColumn
from parsers.timecolumn import raw_stamps
from telemetry.dataclass import dataclass
from telemetry.errors import LogError

__all__ = ["LongColumns", "long_columns"]

# The surer word first: a log with a signal and a source has its channel in the signal.
_CHANNEL_WORDS = (
    *("channel", "signal", "variable", "tag", "topic", "key", "field", "sensor", "name"),
    *("entry", "id", "source"),
)
_VALUE_WORDS = ("value", "val", "reading", "measurement", "data", "values", "state")
_SURE_CHANNEL, _SURE_VALUE = _CHANNEL_WORDS[:9], _VALUE_WORDS[:5]
_UNIT_WORDS = frozenset({"unit", "units"})
# What may set two channels of one name apart.
_PART_WORDS = frozenset(
    {
        "device",
        "module",
        "subsystem",
        "component",
        "node",
        "board",
        "bus",
        "robot",
        "group",
        "system",
        "source",
    }
)
_SAMPLE_ROWS = 2_000
# Our choice: the channel's name of a long log changes at every third row or oftener; no text of a wide one.
_CHANGING_SHARE = 0.3
_SHARED_SHARE = 0.05
_UNEVEN_SHARE = 0.25


@dataclass(frozen=True)
class LongColumns:
    """Places of the columns of a long log.

    Attributes:
        part: of a column without which channels of one name would run together, or None.
        extra: of columns that have no place in a log.
    """

    channel: int
    value: int
    unit: int | None = None
    part: int | None = None
    extra: tuple[int, ...] = ()


def long_columns(table: Table, clock: int, told: Told, file: str) -> LongColumns | None:
    """The columns of a long log, or None when the table is wide."""
    if told.shape == "wide":
        return None
    words = [name.strip().lower().replace("_", " ").split(" ")[-1] for name in table.names]
    if told.channel is not None or told.value is not None:
        found: tuple[int, int] | None = _named_pair(table, clock, told, file)
    else:
        found = _sniffed_pair(table, clock, words, forced=told.shape == "long")
    if found is None and told.shape == "long":
        raise LogError(
            f"{file}: looked for the columns of a long log, found no column of channel names beside one of "
            f"values; name them with [log] channel and value in the robot file"
        )
    return None if found is None else _with_the_rest(table, clock, words, *found)


def _with_the_rest(table: Table, clock: int, words: list[str], channel: int, value: int) -> LongColumns:
    """What the other columns of a long log are to it."""
    rest = [place for place in range(len(words)) if place not in (clock, channel, value)]
    unit = next((place for place in rest if words[place] in _UNIT_WORDS), None)
    parts = [place for place in rest if words[place] in _PART_WORDS and _sets_apart(table, channel, place)]
    part = parts[0] if parts else None
    extra = tuple(place for place in rest if place not in (unit, part))
    return LongColumns(channel, value, unit, part, extra)


def _sets_apart(table: Table, channel: int, place: int) -> bool:
    """Whether rows of one channel name differ in another column."""
    names, column = table.columns[channel], table.columns[place]
    if not isinstance(names, TextColumn) or not isinstance(column, TextColumn):
        return False
    both = (
        names.strings.fill_null("").str.strip_chars() + "\0" + column.strings.fill_null("").str.strip_chars()
    )
    return int(both.n_unique()) > int(names.strings.fill_null("").str.strip_chars().n_unique())


def _sniffed_pair(table: Table, clock: int, words: list[str], *, forced: bool) -> tuple[int, int] | None:
    """Places of channel name and value, by their headings and by how the names change, or None."""
    rest = [place for place, word in enumerate(words) if place != clock and word not in _UNIT_WORDS]
    texts = [place for place in rest if isinstance(table.columns[place], TextColumn)]
    channels = sorted(
        (place for place in texts if words[place] in _CHANNEL_WORDS),
        key=lambda place: _CHANNEL_WORDS.index(words[place]),
    )
    values = sorted(
        (place for place in rest if words[place] in _VALUE_WORDS),
        key=lambda place: _VALUE_WORDS.index(words[place]),
    )
    for channel in channels:
        for value in values:
            sure = words[channel] in _SURE_CHANNEL and words[value] in _SURE_VALUE
            changing = _names_change(table, channel, clock)
            if channel != value and (changing or forced or sure):
                return channel, value
    if len(rest) != 2:
        return None
    for channel, value in (rest, rest[::-1]):
        if channel not in texts or not _names_change(table, channel, clock):
            continue
        if words[value] in _VALUE_WORDS or (channel == rest[0] and not _anything_but_names(table, channel)):
            return channel, value
    return _sorting_pair(table, clock, rest[0], rest[1])


def _sorting_pair(table: Table, clock: int, channel: int, value: int) -> tuple[int, int] | None:
    """The pair of a log without a header, where names go with the kind of the values or with the clock."""
    if table.header is not None:
        return None
    names, values = table.columns[channel], table.columns[value].spelled()
    if not isinstance(names, TextColumn):
        return None
    if isinstance(values, TextColumn) and sorts_values(names, values):
        return channel, value
    codes, words = words_of(names)
    ticks = 2 * len(words) <= len(codes) and ticks_by_name(codes, raw_stamps(table.columns[clock]))
    return (channel, value) if ticks and len(words) > 1 else None


def _named_pair(table: Table, clock: int, told: Told, file: str) -> tuple[int, int]:
    if told.channel is None or told.value is None:
        raise LogError(
            f"{file}: looked for both [log] channel and value in the robot file, found only one of them; "
            f"a long log needs both"
        )
    channel = named_column(table.names, told.channel, file=file, key="channel")
    value = named_column(table.names, told.value, file=file, key="value")
    if len({channel, value, clock}) < 3:
        raise LogError(
            f"{file}: looked for three columns in [log] time, channel and value; name different ones"
        )
    return channel, value


def _anything_but_names(table: Table, place: int) -> bool:
    """Whether the cells are numbers, states or as many different words as rows."""
    column = table.columns[place]
    if not isinstance(column, TextColumn):
        return True
    sample = column.strings.gather_every(max(table.rows // _SAMPLE_ROWS, 1)).fill_null("")
    typed = TextColumn(sample, column.decimal).typed(has_unit=False)
    return typed.kind != "text" or len(typed.labels) < 2 or len(typed.labels) > max(0.5 * len(sample), 2)


def _names_change(table: Table, place: int, clock: int) -> bool:
    """Whether a column changes as channel names do: from row to row of a clock that no wide log has.

    A wide log has one row an instant at a steady rate. In a long one rows share an instant, or come at
    events, or lie channel behind channel so that the clock steps back where the name changes.
    """
    column, times = table.columns[place], table.columns[clock]
    if not isinstance(column, TextColumn) or table.rows < 3:
        return False
    codes, _ = encode_labels(column.strings.head(_SAMPLE_ROWS).fill_null(""))
    steps = np.diff(raw_stamps(times.part(slice(0, min(len(times), _SAMPLE_ROWS)))))
    steps = steps[np.isfinite(steps)]
    if not len(steps):
        return False
    uneven = np.abs(steps - np.median(steps)) > 0.5 * np.abs(np.median(steps))
    eventful = bool(np.mean(steps == 0) >= _SHARED_SHARE or np.mean(uneven) >= _UNEVEN_SHARE)
    changing = bool(np.mean(np.diff(codes) != 0) >= _CHANGING_SHARE)
    return (changing and eventful) or falls_between_names(words_of(column)[0], raw_stamps(times))

"""Logs written in any dialect with their truth beside, and named ways to spoil them."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from telemetry.log import Channel, Kind, Log
from tests.parsers.writing import Style

__all__ = ["SPOILS", "Record", "Spoiled", "expected", "held", "whole_log"]

Value = float | str
Record = tuple[float, str, Value]
Pairs = dict[str, list[tuple[float, Value]]]

STEP_S = 0.02
WORDS = ("disabled", "auto", "teleop, slow", 'say "go"', "été")


@dataclass
class Spoiled:
    """A log as lines of text, with the records that each line of data holds.

    `kinds` are the repairs that reading it must name, each with the line it must point to (None: any);
    `tail` are bytes behind the last line, and `ended` says whether that one has its line end.
    """

    style: Style
    head: list[str]
    lines: list[str]
    records: list[list[Record]]
    long: bool
    rng: random.Random
    kinds: dict[str, int | None] = field(default_factory=dict)
    offset_s: float = 0.0
    tail: bytes = b""
    ended: bool = True

    def line_number(self, place: int) -> int:
        """The number in the file of the data line at `place`."""
        before = [*self.style.preamble, *self.head, *self.lines[:place]]
        return sum(line.count("\n") + 1 for line in before) + 1

    def encoded(self) -> bytes:
        """The file's bytes."""
        lines = [*self.style.preamble, *self.head, *self.lines]
        text = self.style.line_end.join(lines) + (self.style.line_end if self.ended else "")
        codec = self.style.encoding
        return text.encode(codec) + self.tail

    def write(self, folder: Path) -> Path:
        """The file in a folder."""
        path = folder / "log.csv"
        path.write_bytes(self.encoded())
        return path


def _text(value: Value | int, style: Style) -> str:
    text = f"{value:.3f}".replace(".", style.decimal) if isinstance(value, float) else str(value)
    special = any(mark in text for mark in (style.delimiter, '"', "\n"))
    return '"' + text.replace('"', '""') + '"' if special or style.quoted else text


def _line(cells: list[Value | int], style: Style) -> str:
    return style.delimiter.join(_text(cell, style) for cell in cells) + style.delimiter * style.trailing


def whole_log(seed: int, style: Style, *, long: bool, rows: int = 40) -> Spoiled:
    """A sound log of a current, a speed, a beam and a mode, all logged at every instant."""
    rng = random.Random(seed)  # noqa: S311 - made to be repeated, not to be secret
    start_s = rng.choice([0.0, 3.1, 1_700_000_000.0])
    names = ["feed_current_a", "wheel speed [rpm]", "beam", "mode"]
    head = [_line(["time_s", "channel", "value"] if long else ["time_s", *names], style)]
    lines, records = [], []
    beam, mode = 0, WORDS[0]
    for index in range(rows):
        t = round(start_s + index * STEP_S, 3)
        beam = 1 - beam if rng.random() < 0.2 else beam
        mode = rng.choice(WORDS) if rng.random() < 0.1 else mode
        values: list[Value | int] = [round(rng.gauss(20, 5), 3), round(rng.gauss(900, 300), 3), beam, mode]
        own = [
            (t, name, float(v) if isinstance(v, int) else v) for name, v in zip(names, values, strict=True)
        ]
        if long:
            lines += [_line([t, name, value], style) for name, value in zip(names, values, strict=True)]
            records += [[record] for record in own]
        else:
            lines.append(_line([t, *values], style))
            records.append(own)
    return Spoiled(style if style.header else replace(style, header=True), head, lines, records, long, rng)


def expected(log: Spoiled) -> Pairs:
    """Values by channel as they must be read, times from the first kept record."""
    kept = [record for line in log.records for record in line]
    first_s = min(t for t, _, _ in kept)
    pairs: Pairs = {}
    for t, name, value in sorted(kept, key=lambda record: record[0]):
        pairs.setdefault(name, []).append((round(t - first_s, 6), value))
    return pairs


def held(log: Log) -> Pairs:
    """Values by channel as they were read."""
    return {
        name: list(zip(np.round(c.t_s, 6).tolist(), _values(c), strict=True))
        for name, c in log.channels.items()
    }


def _values(channel: Channel) -> list[Value]:
    if channel.kind is Kind.TEXT:
        return [channel.labels[int(code)] for code in channel.values]
    return list(channel.values.tolist())


def _inner(log: Spoiled) -> int:
    """A line of data that is neither among the first nor among the last."""
    return log.rng.randrange(6, len(log.lines) - 6)


def _lose(log: Spoiled, place: int, text: str, kind: str) -> None:
    """Puts another text in the place of a line, whose records are lost."""
    log.lines[place], log.records[place] = text, []
    log.kinds[kind] = log.line_number(place)


def _insert(log: Spoiled, place: int, text: str, kind: str | None) -> None:
    log.lines.insert(place, text)
    log.records.insert(place, [])
    if kind is not None:
        log.kinds[kind] = log.line_number(place)


def cut_in_the_last_row(log: Spoiled) -> None:
    last = log.lines[-1]
    marks = [at for at, letter in enumerate(last) if letter == log.style.delimiter]
    at = log.rng.randrange(1, marks[0]) if marks[0] > 1 else 1
    _lose(log, len(log.lines) - 1, last[:at], "truncated_tail")
    log.ended = False


def nuls_behind_half_a_row(log: Spoiled) -> None:
    cut_in_the_last_row(log)
    log.tail = b"\0" * log.rng.choice([16, 512, 4096])


def nuls_behind_the_last_row(log: Spoiled) -> None:
    log.tail = b"\0" * log.rng.choice([16, 512, 4096])
    log.kinds["truncated_tail"] = None


def row_too_short(log: Spoiled) -> None:
    place = _inner(log)
    cells = log.lines[place].split(log.style.delimiter)
    _lose(log, place, log.style.delimiter.join(cells[:1]), "unreadable_row")


def row_too_long(log: Spoiled) -> None:
    place = _inner(log)
    _lose(log, place, log.lines[place] + log.style.delimiter + "7", "unreadable_row")


def garbage_between_rows(log: Spoiled) -> None:
    letters = [chr(c) for c in range(1, 32) if c not in (9, 10, 13)] + list("xyzü#~")
    text = "\x02" + "".join(log.rng.choice(letters) for _ in range(30))
    _insert(log, _inner(log), text, "unreadable_row")


def row_of_nuls(log: Spoiled) -> None:
    _insert(log, _inner(log), "\0" * log.rng.choice([5, 64, 512]), "unreadable_row")


def nuls_before_a_good_record(log: Spoiled) -> None:
    place = _inner(log)
    log.lines[place] = "\0" * log.rng.choice([5, 64, 512]) + log.lines[place]
    log.kinds["unreadable_row"] = log.line_number(place)


def spoiled_number(log: Spoiled) -> None:
    place = _inner(log)
    while log.records[place][0][1] != "feed_current_a":
        place = _inner(log)
    value = log.records[place][0][2]
    sound = _text(value, log.style)
    garbled = sound[:2] + "\x07" + sound[3:]
    log.lines[place] = log.lines[place].replace(sound, garbled, 1)
    log.records[place] = log.records[place][1:]
    log.kinds["unreadable_cell"] = log.line_number(place)


def spoiled_time(log: Spoiled) -> None:
    place = _inner(log)
    _lose(log, place, "\x07" + log.lines[place], "unreadable_row")


def wild_time(log: Spoiled) -> None:
    place = _inner(log)
    stamp = _text(log.records[place][0][0], log.style)
    wild = _text(log.records[place][0][0] + log.rng.choice([5e5, -5e5]), log.style)
    _lose(log, place, log.lines[place].replace(stamp, wild, 1), "unreadable_row")


def header_again(log: Spoiled) -> None:
    _insert(log, _inner(log), log.head[0], "repeated_header")


def two_rows_swapped(log: Spoiled) -> None:
    place = _inner(log)
    other = place + (len({name for line in log.records for _, name, _ in line}) if log.long else 1)
    for part in (log.lines, log.records):
        part[place], part[other] = part[other], part[place]
    log.kinds["reordered_rows"] = None


def rows_that_come_late(log: Spoiled) -> None:
    width = len({name for line in log.records for _, name, _ in line}) if log.long else 1
    first = log.rng.randrange(4, 8) * width
    many, later = 2 * width, 6 * width
    for part in (log.lines, log.records):
        moved = part[first : first + many]
        del part[first : first + many]
        part[first + later : first + later] = moved
    log.kinds["reordered_rows"] = None


def clock_that_starts_over(log: Spoiled) -> None:
    """The logger starts again: header and rows once more, from the first time on."""
    last_s = max(t for line in log.records for t, _, _ in line)
    first_s = min(t for line in log.records for t, _, _ in line)
    again = [[(t - first_s + last_s + 1.0, name, value) for t, name, value in line] for line in log.records]
    log.kinds = {
        "repeated_header": log.line_number(len(log.lines)),
        "clock_reset": log.line_number(len(log.lines)) + 1,
    }
    log.lines += [*log.head, *log.lines]
    log.records += [[], *again]


def clock_that_leaps(log: Spoiled) -> None:
    place = len(log.lines) // 2
    before_s = log.records[place - 1][0][0]
    at_s = log.records[place][0][0]
    for index in range(place, len(log.lines)):
        stamp = log.records[index][0][0]
        log.lines[index] = log.lines[index].replace(
            _text(stamp, log.style), _text(stamp + 5000.0, log.style), 1
        )
        log.records[index] = [
            (t - at_s + before_s + 1.0, name, value) for t, name, value in log.records[index]
        ]
    log.kinds["clock_jump"] = log.line_number(place)


def blank_lines(log: Spoiled) -> None:
    for _ in range(3):
        _insert(log, _inner(log), "", None)


def remarks_between(log: Spoiled) -> None:
    _insert(log, _inner(log), "# battery changed", None)


def no_last_line_end(log: Spoiled) -> None:
    log.ended = False


def words_for_nothing(log: Spoiled) -> None:
    spelled = iter(["NaN", "null", "NA", "-", ""])
    for word in spelled:
        place = _inner(log)
        first = log.records[place][0] if log.records[place] else None
        if first is None or first[1] != "feed_current_a":
            continue
        log.lines[place] = log.lines[place].replace(_text(first[2], log.style), word, 1)
        log.records[place] = log.records[place][1:]


SPOILS: dict[str, Callable[[Spoiled], None]] = {
    spoil.__name__: spoil
    for spoil in (
        cut_in_the_last_row, nuls_behind_half_a_row, nuls_behind_the_last_row, row_too_short, row_too_long,
        garbage_between_rows, row_of_nuls, nuls_before_a_good_record, spoiled_number, spoiled_time, wild_time,
        header_again, two_rows_swapped, rows_that_come_late, clock_that_starts_over, clock_that_leaps,
        blank_lines, remarks_between, no_last_line_end, words_for_nothing,
    )
}  # fmt: skip

"""A table of sixty rows as odd loggers write it, and what a log must hold of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from parsers import read_log
from telemetry.log import Channel, Kind, Log

__all__ = [
    "BEAM", "CURRENT", "EPOCH", "MODE", "ROWS", "TIMES", "Odd", "Truth", "assert_holds", "at", "commas",
    "held", "long", "of_day", "quoted", "read", "table", "wide",
]  # fmt: skip

ROWS = 60
TIMES = [round(i * 0.02, 2) for i in range(ROWS)]
CURRENT = [round(10 + 0.37 * i, 2) for i in range(ROWS)]
BEAM = [i // 7 % 2 for i in range(ROWS)]
MODE = ["auto" if i < 20 else "teleop" for i in range(ROWS)]
EPOCH = 1_772_352_000

Truth = dict[str, list[tuple[float, object]]]


def held(log: Log) -> Truth:
    return {
        name: list(zip(np.round(c.t_s, 6).tolist(), _values(c), strict=True))
        for name, c in log.channels.items()
    }


def _values(channel: Channel) -> list:
    if channel.logged is not None:
        return channel.logged.tolist()
    if channel.kind is Kind.TEXT:
        return [channel.labels[int(code)] for code in channel.values]
    return channel.values.tolist()


def at(times: Sequence[float], cells: Sequence[object]) -> list[tuple[float, object]]:
    return [(round(t - times[0], 6), cell) for t, cell in zip(times, cells, strict=True) if cell is not None]


def table(columns: dict[str, Sequence[object]], mark: str = ",", *, header: bool = True) -> str:
    lines = [mark.join(columns)] if header else []
    lines += [
        mark.join("" if cell is None else str(cell) for cell in row)
        for row in zip(*columns.values(), strict=True)
    ]
    return "\n".join(lines) + "\n"


def wide(time: Sequence[object] = TIMES, name: str = "time_s", mark: str = ",") -> str:
    return table({name: time, "feed_current_a": CURRENT, "beam": BEAM, "mode": MODE}, mark)


def long(names: str, *, extra: str = "", before: str = "") -> str:
    rows = [
        f"{before}{TIMES[i]},{name},{cells[i]}{extra}\n"
        for i in range(ROWS)
        for name, cells in (("feed_current_a", CURRENT), ("beam", BEAM), ("mode", MODE))
    ]
    return names + "\n" + "".join(rows)


def of_day(seconds: float) -> str:
    seconds %= 86400
    return f"{int(seconds // 3600):02d}:{int(seconds // 60 % 60):02d}:{seconds % 60:05.2f}"


def commas(text: str) -> str:
    """Decimal commas and semicolons for decimal points and commas."""
    return text.replace(",", ";").replace(".", ",")


@dataclass(frozen=True)
class Odd:
    """A file, the truth in it, and the kinds of repair that must be told (none: a clean file)."""

    text: str | bytes
    truth: Truth
    kinds: tuple[str, ...] = ()


def quoted(cell: object) -> str:
    return '"' + str(cell).replace('"', '""') + '"'


def read(odd: Odd, folder: Path) -> Log:
    path = folder / "log.csv"
    path.write_bytes(odd.text if isinstance(odd.text, bytes) else odd.text.encode())
    return read_log(path)


def assert_holds(log: Log, truth: Truth) -> None:
    found = held(log)
    for name, pairs in truth.items():
        first_s = pairs[0][0] if pairs and log.channels[name].rows is None else 0.0
        assert found[name] == [(round(t - first_s, 6), value) for t, value in pairs]

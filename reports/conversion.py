"""A log as one wide table on disk, Parquet or CSV: times first, then every channel as it was logged."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reports.log_json import repairs_json
from telemetry.errors import UsageError
from telemetry.log import Channel, Kind, Log, Repair
from telemetry.plain import shown

if TYPE_CHECKING:
    import polars as pl

__all__ = ["conversion_json", "write_conversion"]

Rows = NDArray[np.intp]

_TIME_NAME = "t_s"
_MOST_CELLS = 500_000_000
_BLOCK_CELLS = 8_000_000


def write_conversion(log: Log, source: Path, out: Path) -> tuple[int, tuple[Repair, ...]]:
    """Writes `log`, read from `source`, to `out`, and its repairs to `out` with `.repairs.json` behind it.

    Each file is written beside its place and moved over it when whole. Returns the rows written and the
    repairs. Raises UsageError where `out` ends in neither .parquet nor .csv, cannot be written, or is the
    log itself.
    """
    beside = out.with_name(out.name + ".repairs.json")
    write = _writer(out)
    for path in (out, beside):
        if _is_same(path, source):
            raise UsageError(f"{shown(str(path))}: is the log that is to be read; name another file to write")
    names, renamed = _names(log)
    layout = _Layout(log)
    if layout.rows * (len(names) + 1) > _MOST_CELLS:
        raise UsageError(
            f"{shown(log.file)}: looked for at most {_MOST_CELLS:,} cells to write, {layout.rows:,} rows of "
            f"{len(names) + 1:,} columns are more; split the log"
        )
    repairs = (*log.repairs, *renamed)
    _write_whole(out, lambda part: write(part, layout.blocks(names)))
    text = json.dumps({"schema": 1, "repairs": repairs_json(repairs)}, indent=1, ensure_ascii=False)
    _write_whole(
        beside, lambda part: part.write_text(text + "\n", encoding="utf-8", errors="backslashreplace")
    )
    return layout.rows, repairs


def conversion_json(out: Path, rows: int, channels: int, repairs: tuple[Repair, ...]) -> dict[str, Any]:
    """What `convert --json` prints, schema 1."""
    return {
        "schema": 1,
        "out": str(out),
        "rows": rows,
        "channels": channels,
        "repairs": repairs_json(repairs),
    }


def _is_same(path: Path, source: Path) -> bool:
    try:
        return path.samefile(source)
    except OSError:
        return False


def _names(log: Log) -> tuple[list[str], tuple[Repair, ...]]:
    """The channels' own names; one that is called as the time column gets a number."""
    if _TIME_NAME not in log.channels:
        return list(log.channels), ()
    free = next(name for n in range(2, 10**6) if (name := f"{_TIME_NAME}#{n}") not in log.channels)
    text = f"1 channel with the name of the time column renamed, to {free}."
    names = [free if name == _TIME_NAME else name for name in log.channels]
    return names, (Repair("duplicate_channel", 1, None, text),)


class _Layout:
    """Which row of the table each value stands in.

    A wide log keeps its rows, those aside whose values all gave way to a later row of the same time. A long
    log has one row an instant, or more where a channel has several values there.
    """

    def __init__(self, log: Log) -> None:
        self._channels = list(log.channels.values())
        self._parquet = log.dialect.encoding == "parquet"
        own = [_rows(channel, log) for channel in self._channels]
        if log.shape == "wide":
            kept = _kept_rows(log, own)
            place = np.cumsum(kept) - 1
            self._t_s = log.t_s[kept]
            self._places = [place[rows] for rows in own]
        else:
            self._t_s, self._places = _by_instant(log, own)
        self.rows = len(self._t_s)

    def blocks(self, names: list[str]) -> Iterator[pl.DataFrame]:
        """The table, some rows at a time; at least one block."""
        import polars as pl

        step = max(_BLOCK_CELLS // (len(names) + 1), 1)
        writers = [_logged(channel, boolean=self._parquet) for channel in self._channels]
        for first in range(0, max(self.rows, 1), step):
            past = min(first + step, self.rows)
            columns = [pl.Series(_TIME_NAME, self._t_s[first:past])]
            for name, places, values in zip(names, self._places, writers, strict=True):
                left, right = np.searchsorted(places, (first, past)).tolist()
                columns.append(_spread(values[left:right], places[left:right] - first, past - first, name))
            yield pl.DataFrame(columns)


def _rows(channel: Channel, log: Log) -> Rows:
    if channel.rows is not None:
        return channel.rows.astype(np.intp)
    if len(channel.t_s) == log.rows:
        return np.arange(log.rows)
    return np.searchsorted(log.t_s, channel.t_s)


def _kept_rows(log: Log, own: list[Rows]) -> NDArray[np.bool_]:
    filled = np.zeros(log.rows, dtype=bool)
    for rows in own:
        filled[rows] = True
    followed = np.append(log.t_s[1:] == log.t_s[:-1], False)[: log.rows]
    kept: NDArray[np.bool_] = filled | ~followed
    return kept


def _by_instant(log: Log, own: list[Rows]) -> tuple[NDArray[np.float64], list[Rows]]:
    """Times of the rows of a long log's table, and by channel the row of each value."""
    instant = np.cumsum(np.append(0, log.t_s[1:] != log.t_s[:-1]))[: log.rows]
    most = np.ones(int(instant[-1]) + 1, dtype=np.intp)
    turns = []
    for rows in own:
        at = instant[rows]
        turn = np.arange(len(at)) - np.searchsorted(at, at)
        np.maximum.at(most, at, turn + 1)
        turns.append(turn)
    first = np.cumsum(most) - most
    t_s = np.repeat(log.t_s[np.searchsorted(instant, np.arange(len(most)))], most)
    return t_s, [first[instant[rows]] + turn for rows, turn in zip(own, turns, strict=True)]


def _logged(channel: Channel, *, boolean: bool) -> pl.Series:
    """A channel's values as the file had them; `boolean` says that it had a type for true and false."""
    import polars as pl

    if channel.logged is not None:
        exact = channel.logged
        return pl.Series(exact.tolist(), dtype=pl.String) if exact.dtype == object else pl.Series(exact)
    if channel.kind is Kind.NUMBER:
        return pl.Series(channel.values if _has_fractions(channel) else channel.values.astype(np.int64))
    if channel.labels == ("0", "1"):
        return pl.Series(channel.values.astype(np.int64))
    if boolean and channel.labels == ("false", "true"):
        return pl.Series(channel.values == 1.0)
    return pl.Series(list(channel.labels), dtype=pl.String).gather(channel.values.astype(np.uint32))


def _has_fractions(channel: Channel) -> bool:
    """Whether the numbers must be written as fractions: some are, or whole ones would pass for a switch."""
    values = channel.values
    if (
        np.any(values % 1 != 0)
        or np.any(np.abs(values) >= 2**53)
        or np.any(np.signbit(values) & (values == 0))
    ):
        return True
    return bool(np.all((values == 0) | (values == 1)))


def _spread(values: pl.Series, places: Rows, rows: int, name: str) -> pl.Series:
    """The values at their places among so many rows, null elsewhere."""
    import polars as pl

    if len(values) == rows:
        return values.alias(name)
    index = np.full(rows, len(values), dtype=np.uint32)
    index[places] = np.arange(len(values), dtype=np.uint32)
    padded = pl.concat([values, pl.Series([None], dtype=values.dtype)])
    return padded.gather(index).alias(name)


def _writer(out: Path) -> Callable[[Path, Iterator[pl.DataFrame]], None]:
    ending = out.suffix.lower()
    if ending == ".parquet":
        return _write_parquet
    if ending == ".csv":
        return _write_csv
    raise UsageError(
        f"{shown(str(out))}: looked for a name that ends in .parquet or .csv; let OUT end in one of them"
    )


def _write_parquet(path: Path, blocks: Iterator[pl.DataFrame]) -> None:
    import pyarrow.parquet as pq

    writer = None
    try:
        for block in blocks:
            table = block.to_arrow()
            if writer is None:
                writer = pq.ParquetWriter(path, table.schema)
            writer.write_table(table.cast(writer.schema))
    finally:
        if writer is not None:
            writer.close()


def _write_csv(path: Path, blocks: Iterator[pl.DataFrame]) -> None:
    with path.open("wb") as file:
        for number, block in enumerate(blocks):
            block.write_csv(file, include_header=number == 0)


def _write_whole(path: Path, write: Callable[[Path], object]) -> None:
    """Writes beside the place, syncs, and moves over it; a killed run leaves no half file there."""
    part = path.with_name(f".{path.name[:200]}.{os.getpid()}.part")
    try:
        write(part)
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise UsageError(
            f"{shown(str(path))}: cannot be written ({reason}); choose another place for OUT"
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)

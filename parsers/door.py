"""The one door: a file to a log, whatever wrote it."""

from __future__ import annotations

from collections.abc import Callable
from os import PathLike
from pathlib import Path

from parsers.build import build_log
from parsers.delimited import read_delimited, sniff_delimited
from parsers.ledger import Ledger
from parsers.limits import Limits
from parsers.overrides import LogOverrides, Told
from parsers.parquet import read_parquet, sniff_parquet
from parsers.source import Source, open_source
from parsers.table import Table
from telemetry.dataclass import dataclass
from telemetry.errors import LogError
from telemetry.log import Log

__all__ = ["read_log"]


@dataclass(frozen=True)
class _Reader:
    """`sniff` tells in words why the bytes are not its own, or None; `read` makes a table of them."""

    name: str
    sniff: Callable[[Source], str | None]
    read: Callable[[Source, Ledger, Told, Limits], Table]


_READERS = (
    _Reader("Parquet", sniff_parquet, read_parquet),
    _Reader("CSV", sniff_delimited, read_delimited),
)


def read_log(
    path: str | PathLike[str],
    *,
    overrides: LogOverrides | None = None,
    limits: Limits | None = None,
    told: Told | None = None,
) -> Log:
    """The log in the file at `path`: CSV or Parquet, plain or packed with gzip or zstandard, wide or long.

    `overrides` is the robot file's [log] section; `told`, what was said of this file's format, goes before
    it. Raises LogError, one line, when the file is no usable log.
    """
    said = (told or Told()).over(overrides)
    bounds = Limits() if limits is None else limits
    source = open_source(Path(path), bounds)
    ledger = Ledger(source.file)
    refusals = []
    for reader in _READERS:
        refusal = reader.sniff(source)
        if refusal is None:
            table = reader.read(source, ledger, said, bounds)
            return build_log(table, source, ledger, said, bounds)
        refusals.append(f"no {reader.name}: {refusal}")
    raise LogError(
        f"{source.shown}: looked for CSV or Parquet, found neither ({'; '.join(refusals)}); "
        f"export the log as one of them"
    )

"""Small logs cut at every byte: all rows before the cut are kept, and no value that was not logged."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest
import zstandard

from parsers import read_log
from telemetry.errors import LogError
from tests.parsers.spoiling import Spoiled, Value, expected, held, whole_log
from tests.parsers.writing import Style

LOGS = {
    "wide": whole_log(1, Style(), long=False, rows=8),
    "long": whole_log(2, Style(), long=True, rows=5),
    "decimal commas": whole_log(3, Style(delimiter=";", decimal=",", line_end="\r\n"), long=False, rows=8),
    "quoted": whole_log(4, Style(quoted=True, preamble=("# by the robot",)), long=False, rows=8),
    "UTF-16": whole_log(5, Style(delimiter="\t", encoding="utf-16"), long=False, rows=8),
}


def line_ends(log: Spoiled, data: bytes) -> list[int]:
    """Where each line of data ends, its line end not counted."""
    feed = "\n".encode(log.style.encoding)[-2:] if "16" in log.style.encoding else b"\n"
    ends = [at for at in range(len(data)) if data[at : at + len(feed)] == feed]
    return [end - (log.style.line_end == "\r\n") for end in ends[-len(log.lines) :]]


@pytest.mark.parametrize("name", LOGS)
def test_rows_before_a_cut_are_kept_and_nothing_is_made_up(name: str, tmp_path: Path) -> None:
    log = LOGS[name]
    data, path = log.encoded(), tmp_path / "log.csv"
    ends = line_ends(log, data)
    every = expected(log)
    fewest = ends[len(log.lines) // len(every) * 2 if log.long else 2]
    for cut in range(fewest, len(data)):
        path.write_bytes(data[:cut])
        whole_rows = int(np.searchsorted(ends, cut, side="left"))
        read = held(read_log(path))
        kept = [record for line in log.records[:whole_rows] for record in line]
        for channel in {name for _, name, _ in kept}:
            wanted = every[channel][: sum(name == channel for _, name, _ in kept)]
            assert read[channel][: len(wanted)] == wanted
            assert_no_other(read[channel][len(wanted) :], every[channel][len(wanted) :])


def assert_no_other(more: list[tuple[float, Value]], following: list[tuple[float, Value]]) -> None:
    """At most the row that the cut went through, its last cell the beginning of what it was."""
    assert len(more) <= 1
    for (t, value), (true_t, true_value) in zip(more, following, strict=False):
        assert t == true_t
        assert str(true_value).startswith(str(value).removesuffix(".0"))


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress])
def test_a_packed_log_cut_anywhere_is_read_or_refused(pack: object, tmp_path: Path) -> None:
    data = pack(LOGS["wide"].encoded())  # type: ignore[operator]
    whole = expected(LOGS["wide"])
    path = tmp_path / "log.csv.gz"
    read = 0
    for cut in range(1, len(data)):
        path.write_bytes(data[:cut])
        try:
            log = read_log(path)
        except LogError as error:
            assert str(error).isprintable()  # noqa: PT017 - most cuts leave nothing to unpack
            continue
        read += 1
        for name, pairs in held(log).items():
            assert pairs == whole[name][: len(pairs)]
    assert read > 0 or pack is zstandard.compress

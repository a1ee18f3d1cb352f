"""Files that are refused, each in one line that says what to do; limits on both sides."""

from __future__ import annotations

import gzip
import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl
import pytest
import zstandard

from parsers import Limits, find_logs, read_log
from telemetry.errors import LogError
from tests.parsers.writing import example_columns, long_rows, write_rows, write_wide


@dataclass(frozen=True)
class Told:
    """The [log] section of a robot file."""

    time: str | None = None
    time_unit: str | None = None
    channel: str | None = None
    value: str | None = None
    units: dict[str, str] = field(default_factory=dict)


def a_folder(path: Path) -> None:
    path.mkdir()


def a_pipe(path: Path) -> None:
    os.mkfifo(path)


def nothing(path: Path) -> None:
    """No file at all."""


def holding(content: bytes) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        path.write_bytes(content)

    return make


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (nothing, "cannot be opened"),
        (a_folder, "found a folder"),
        (a_pipe, "found a pipe"),
        (holding(b""), "found an empty file"),
        (holding(b"\n \n\n"), "holds no text"),
        (holding(b"PK\x03\x04" + b"x" * 100), "a workbook"),
        (holding(bytes(range(32)) * 20), "it is binary"),
        (holding(b"hello\nworld\n"), "found none; export the log as CSV"),
        (holding(b"time_s,x\n"), "found a header of 2 names"),
        (holding(b"a,b\nup,down\nleft,right\n"), "found none among 2 columns (a, b)"),
        (holding(b"a,b\n1,1\n2,3\n1,1\n2,2\n"), "looked for a time column that rises"),
        (holding(b"time_s,x\n0,1,5\n1,2,6\n2,3,7\n"), "found 2 names over rows of 3 cells"),
        (holding(b"PAR1" + b"x" * 300 + b"PAR1"), "whole Parquet file"),
        (holding(b"\x1f\x8b" + b"x" * 50), "nothing in it can be unpacked"),
        (holding(b"\x28\xb5\x2f\xfd" + b"x" * 50), "nothing in it can be unpacked"),
    ],
)
def test_what_is_no_log_is_refused_in_one_line(
    make: Callable[[Path], None], words: str, tmp_path: Path
) -> None:
    path = tmp_path / "match.csv"
    make(path)

    with pytest.raises(LogError) as error:
        read_log(path)

    assert str(error.value).startswith("match.csv: looked for ")
    assert words in str(error.value)
    assert str(error.value).isprintable()


@pytest.mark.parametrize("name", ["two\nlines.csv", "\x1b[2J.csv", "\u202egnp.csv", "x" * 200 + ".csv"])
def test_a_hostile_file_name_is_shown_safely(name: str, tmp_path: Path) -> None:
    with pytest.raises(LogError) as error:
        read_log(tmp_path / name)

    assert str(error.value).isprintable()
    assert len(str(error.value)) < 250


def test_a_file_name_with_a_nul_is_refused() -> None:
    with pytest.raises(LogError, match="cannot be opened"):
        read_log("a\0b.csv")


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress])
def test_a_bomb_is_refused_before_it_is_unpacked(pack: Callable[[bytes], bytes], tmp_path: Path) -> None:
    path = tmp_path / "bomb.csv.gz"
    path.write_bytes(pack(b"0" * 30_000_000))

    with pytest.raises(LogError, match="content of at most 1,000,000 bytes"):
        read_log(path, limits=Limits(unpacked_bytes=1_000_000))


@pytest.mark.parametrize(
    ("tight", "enough", "words"),
    [
        (Limits(file_bytes=1_000), Limits(file_bytes=10_000), "at most 1,000 bytes"),
        (Limits(channels=2), Limits(channels=3), "at most 2 channels"),
        (Limits(samples=239), Limits(samples=240), "at most 239 samples"),
        (Limits(line_bytes=30), Limits(line_bytes=40), "at most 30 bytes"),
    ],
)
def test_each_limit_refuses_in_one_line_and_can_be_raised(
    tight: Limits, enough: Limits, words: str, tmp_path: Path
) -> None:
    path = write_wide(tmp_path / "match.csv", example_columns())

    with pytest.raises(LogError, match=words):
        read_log(path, limits=tight)
    assert read_log(path, limits=enough).rows == 60


@pytest.mark.parametrize("limits", [Limits(samples=239), Limits(unpacked_bytes=500)])
def test_limits_hold_for_parquet_too(limits: Limits, tmp_path: Path) -> None:
    pl.DataFrame(example_columns()).write_parquet(tmp_path / "match.parquet")

    with pytest.raises(LogError, match="looked for at most"):
        read_log(tmp_path / "match.parquet", limits=limits)


def test_the_hash_is_that_of_the_file_as_it_lies_there(tmp_path: Path) -> None:
    path = write_wide(tmp_path / "match.csv", example_columns())
    before = path.stat()
    log = read_log(path)

    assert log.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (path.stat().st_mtime_ns, path.stat().st_size) == (before.st_mtime_ns, before.st_size)
    assert log.file == "match.csv"


def test_a_robot_file_names_columns_units_and_the_unit_of_time(tmp_path: Path) -> None:
    rows = [[i * 20, i, "speed", i * 3] for i in range(30)]
    path = write_rows(tmp_path / "log.csv", ["zahl", "i", "was", "wert"], rows)
    told = Told(time="zahl", time_unit="ms", channel="was", value="wert", units={"speed": "RPM"})
    log = read_log(path, overrides=told)

    assert (log.shape, log.dialect.time_column, log.dialect.time_unit) == ("long", "zahl", "ms")
    assert log.channels["speed"].unit == "rpm"
    assert log.span_s == pytest.approx(0.58)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (Told(time="tme_s"), "the nearest name is 'time_s'"),
        (Told(time_unit="hours"), "s, ms, us, ns or iso8601"),
        (Told(channel="channel"), "a long log needs both"),
        (Told(channel="channel", value="valu"), "the nearest name is 'value'"),
        (Told(units={"speed": "furlongs"}), "found 'furlongs'"),
        (Told(time_unit="iso8601"), "no time in them"),
    ],
)
def test_a_robot_file_that_does_not_fit_is_an_error(told: Told, words: str, tmp_path: Path) -> None:
    path = write_rows(tmp_path / "log.csv", ["time_s", "channel", "value"], long_rows(example_columns()))

    with pytest.raises(LogError, match=words):
        read_log(path, overrides=told)


def test_a_folder_stands_for_its_logs_in_name_order(tmp_path: Path) -> None:
    for name in ("b.csv", "a.parquet", "c.csv.gz", "d.tsv.zst"):
        (tmp_path / name).touch()
    for name in (
        "robot.toml",
        "matches.csv",
        "b.csv.repairs.json",
        "b.truth.json",
        "notes.txt",
        ".hidden.csv",
    ):
        (tmp_path / name).touch()
    (tmp_path / "folder.csv").mkdir()

    assert [path.name for path in find_logs([tmp_path])] == ["a.parquet", "b.csv", "c.csv.gz", "d.tsv.zst"]
    assert find_logs([tmp_path / "b.csv", tmp_path / "none.csv"]) == [
        tmp_path / "b.csv",
        tmp_path / "none.csv",
    ]


def test_a_folder_without_a_log_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "matches.csv").touch()

    with pytest.raises(LogError, match="found none; name another folder"):
        find_logs([tmp_path])

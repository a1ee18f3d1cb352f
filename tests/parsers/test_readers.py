"""One contract for all readers: whatever the file, a log with every cell accounted for, or one plain line."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import zstandard

from parsers import read_log
from telemetry.errors import LogError
from telemetry.log import Kind, Log
from tests.parsers.writing import example_columns, long_rows, write_rows, write_wide

Columns = dict[str, list]
Writer = Callable[[Path, Columns], Path]


def as_csv(folder: Path, columns: Columns) -> Path:
    return write_wide(folder / "match.csv", columns)


def as_gzip(folder: Path, columns: Columns) -> Path:
    path = folder / "match.csv.gz"
    path.write_bytes(gzip.compress(as_csv(folder, columns).read_bytes()))
    return path


def as_zstandard(folder: Path, columns: Columns) -> Path:
    path = folder / "match.csv.zst"
    text, engine = as_csv(folder, columns).read_bytes(), zstandard.ZstdCompressor().compressobj()
    pieces = [
        engine.compress(text[at : at + 2000]) + engine.flush(zstandard.COMPRESSOBJ_FLUSH_BLOCK)
        for at in range(0, len(text), 2000)
    ]
    path.write_bytes(b"".join(pieces) + engine.flush())
    return path


def as_parquet(folder: Path, columns: Columns) -> Path:
    path = folder / "match.parquet"
    pl.DataFrame(columns, strict=False).write_parquet(path)
    return path


def as_long_csv(folder: Path, columns: Columns) -> Path:
    return write_rows(folder / "match.csv", ["time_s", "channel", "value"], long_rows(columns))


def as_long_parquet(folder: Path, columns: Columns) -> Path:
    path = folder / "match.parquet"
    rows = [[t, name, None if value is None else str(value)] for t, name, value in long_rows(columns)]
    pl.DataFrame(rows, schema=["time_s", "channel", "value"], orient="row").write_parquet(path)
    return path


WIDE = [as_csv, as_gzip, as_zstandard, as_parquet]
ALL = [*WIDE, as_long_csv, as_long_parquet]
TEXT = [as_csv, as_gzip, as_zstandard, as_long_csv]


def values(log: Log, name: str) -> list:
    channel = log.channels[name]
    if channel.kind is Kind.TEXT:
        return [channel.labels[int(code)] for code in channel.values]
    return channel.values.tolist()


@pytest.mark.parametrize("write", ALL)
def test_every_value_of_every_kind_comes_back(write: Writer, tmp_path: Path) -> None:
    columns = example_columns()

    log = read_log(write(tmp_path, columns))

    assert log.repairs == ()
    assert list(log.channels) == ["feed_current_a", "beam_entry", "mode"]
    assert [channel.kind for channel in log.channels.values()] == [Kind.NUMBER, Kind.SWITCH, Kind.TEXT]
    for name in log.channels:
        assert values(log, name) == columns[name]
        np.testing.assert_allclose(log.channels[name].t_s, columns["time_s"], atol=1e-9)
        assert log.channels[name].missing == 0
    assert log.channels["feed_current_a"].unit == "A"
    assert log.channels["beam_entry"].labels == ("0", "1")
    assert log.span_s == pytest.approx(1.18, abs=1e-9)


@pytest.mark.parametrize("write", WIDE)
def test_a_wide_log_counts_its_rows_and_shares_one_clock(write: Writer, tmp_path: Path) -> None:
    log = read_log(write(tmp_path, example_columns()))

    assert (log.shape, log.rows) == ("wide", 60)
    assert all(channel.t_s is log.t_s and channel.sampled for channel in log.channels.values())
    assert not log.t_s.flags.writeable


@pytest.mark.parametrize("write", ALL)
def test_missing_numbers_are_left_out_and_counted(write: Writer, tmp_path: Path) -> None:
    columns = example_columns()
    columns["feed_current_a"][10] = columns["feed_current_a"][20] = None

    channel = read_log(write(tmp_path, columns)).channels["feed_current_a"]

    assert len(channel.values) == 58
    assert channel.missing == 2
    assert 0.2 not in channel.t_s


@pytest.mark.parametrize("write", ALL)
def test_a_time_that_comes_twice_keeps_the_last_sample(write: Writer, tmp_path: Path) -> None:
    columns = example_columns()
    columns["time_s"][11] = columns["time_s"][10]

    log = read_log(write(tmp_path, columns))

    channel = log.channels["feed_current_a"]
    assert len(channel.values) == 59
    assert channel.values[10] == columns["feed_current_a"][11]
    (repair,) = log.repairs
    assert repair.kind == "duplicate_time"
    assert repair.cells == 3


@pytest.mark.parametrize("write", WIDE)
def test_a_row_out_of_order_is_sorted_in(write: Writer, tmp_path: Path) -> None:
    columns = example_columns()
    sorted_currents = list(columns["feed_current_a"])
    for column in columns.values():
        column.insert(40, column.pop(20))

    log = read_log(write(tmp_path, columns))

    assert values(log, "feed_current_a") == sorted_currents
    assert [(repair.kind, repair.count, repair.cells) for repair in log.repairs] == [("reordered_rows", 1, 0)]


@pytest.mark.parametrize("write", ALL)
def test_a_clock_that_starts_over_is_laid_behind_with_a_seam(write: Writer, tmp_path: Path) -> None:
    first, second = example_columns(), example_columns(30)
    columns = {name: first[name] + second[name] for name in first}

    log = read_log(write(tmp_path, columns))

    assert log.seams_s == (pytest.approx(2.18),)
    assert values(log, "feed_current_a") == columns["feed_current_a"]
    assert log.span_s == pytest.approx(1.18 + 1.0 + 0.58)
    assert [(repair.kind, repair.count) for repair in log.repairs] == [("clock_reset", 1)]


@pytest.mark.parametrize("write", ALL)
def test_a_clock_that_leaps_ten_minutes_is_laid_behind_with_a_seam(write: Writer, tmp_path: Path) -> None:
    columns = example_columns()
    columns["time_s"] = [t if i < 30 else t + 600.1 for i, t in enumerate(columns["time_s"])]

    log = read_log(write(tmp_path, columns))

    assert log.seams_s == (pytest.approx(0.58 + 1.0),)
    assert [repair.kind for repair in log.repairs] == ["clock_jump"]


@pytest.mark.parametrize("write", ALL)
def test_a_gap_of_less_than_ten_minutes_stays(write: Writer, tmp_path: Path) -> None:
    columns = example_columns()
    columns["time_s"] = [t if i < 30 else t + 599.0 for i, t in enumerate(columns["time_s"])]

    log = read_log(write(tmp_path, columns))

    assert log.repairs == ()
    assert log.span_s == pytest.approx(1.18 + 599.0)


@pytest.mark.parametrize("write", WIDE)
def test_a_header_without_rows_is_an_error_of_one_line(write: Writer, tmp_path: Path) -> None:
    path = write(tmp_path, {name: [] for name in example_columns()})

    with pytest.raises(LogError, match=rf"^{path.name}: looked for .*rows") as error:
        read_log(path)

    assert "\n" not in str(error.value)


@pytest.mark.parametrize("write", ALL)
def test_a_file_cut_in_the_middle_is_repaired_or_refused(write: Writer, tmp_path: Path) -> None:
    path = write(tmp_path, example_columns(400))
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * 0.6)])

    if write in (as_parquet, as_long_parquet):
        with pytest.raises(LogError, match="whole Parquet file"):
            read_log(path)
        return
    log = read_log(path)
    (repair,) = log.repairs
    assert repair.kind == "truncated_tail"
    assert log.rows > 0
    kept = values(log, "feed_current_a")
    assert kept == example_columns(400)["feed_current_a"][: len(kept)]


@pytest.mark.parametrize("write", ALL)
def test_the_same_file_gives_the_same_log(write: Writer, tmp_path: Path) -> None:
    path = write(tmp_path, example_columns())
    one, two = read_log(path), read_log(path)

    assert one.sha256 == two.sha256
    assert one.dialect == two.dialect
    np.testing.assert_array_equal(one.t_s, two.t_s)


def test_csv_equals_parquet_on_random_channels(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    frame = pl.DataFrame(
        {
            "time_s": np.round(np.arange(500) * 0.02 + 3.1, 3),
            **{f"current_{i}_a": np.round(rng.normal(20, 5, 500), 3) for i in range(5)},
            "count": rng.integers(0, 9, 500),
            "lit": rng.random(500) > 0.5,
        }
    )
    frame.write_csv(tmp_path / "log.csv")
    frame.write_parquet(tmp_path / "log.parquet")

    text, typed = read_log(tmp_path / "log.csv"), read_log(tmp_path / "log.parquet")

    assert list(text.channels) == list(typed.channels)
    np.testing.assert_array_equal(text.t_s, typed.t_s)
    for name, channel in text.channels.items():
        np.testing.assert_array_equal(channel.values, typed.channels[name].values)
        assert (channel.kind, channel.labels) == (typed.channels[name].kind, typed.channels[name].labels)

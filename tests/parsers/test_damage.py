"""What real logs suffer: each fault is mended or left out, told, and every cell is accounted for."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from parsers import read_log
from telemetry.errors import LogError
from telemetry.log import Log
from tests.parsers.writing import example_columns, write_wide


def lines_of(tmp_path: Path, rows: int = 60) -> list[str]:
    return write_wide(tmp_path / "whole.csv", example_columns(rows)).read_text().splitlines()


def read_text(tmp_path: Path, text: str | bytes) -> Log:
    path = tmp_path / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_log(path)


def read_lines(tmp_path: Path, lines: list[str]) -> Log:
    return read_text(tmp_path, "\n".join(lines) + "\n")


def told(log: Log) -> list[tuple[str, int, int | None, int]]:
    return [(repair.kind, repair.count, repair.line, repair.cells) for repair in log.repairs]


def test_a_last_line_without_its_end_is_kept_without_a_repair(tmp_path: Path) -> None:
    log = read_text(tmp_path, "\n".join(lines_of(tmp_path)))

    assert (log.rows, log.repairs) == (60, ())


@pytest.mark.parametrize("lost", ["teleop", "p", ",teleop", "0,teleop"])
def test_a_half_written_last_line_is_left_out(lost: str, tmp_path: Path) -> None:
    text = "\n".join(lines_of(tmp_path)).removesuffix(lost)
    log = read_text(tmp_path, text)

    cells = text.splitlines()[-1].count(",") + 1
    assert (log.rows, told(log)) == (59, [("truncated_tail", 1, 61, cells)])


def test_lost_digits_show_where_decimals_are_fixed(tmp_path: Path) -> None:
    rows = [f"{i * 0.02:.2f},{i * 0.37:.3f}" for i in range(60)]
    log = read_text(tmp_path, "time_s,x_v\n" + "\n".join(rows)[:-2])

    assert (log.rows, told(log)) == (59, [("truncated_tail", 1, 61, 2)])


def test_a_tail_of_nul_bytes_is_left_out(tmp_path: Path) -> None:
    whole = "\n".join(lines_of(tmp_path)).encode()

    assert told(read_text(tmp_path, whole + b"\n" + b"\0" * 4096)) == [("truncated_tail", 1, 62, 0)]
    assert told(read_text(tmp_path, whole[:-12] + b"\0" * 4096)) == [("truncated_tail", 1, 61, 2)]


@pytest.mark.parametrize(
    ("row", "cells"),
    [("0.58", 1), ("1,2,3,4,5", 5), ("\x00\x01\x02", 1), ("0.5x,1,0,auto", 4), (",1,0,auto", 4)],
)
def test_an_unreadable_row_is_left_out_whole(row: str, cells: int, tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    lines[30] = row
    log = read_lines(tmp_path, lines)

    assert (log.rows, told(log)) == (59, [("unreadable_row", 1, 31, cells)])


@pytest.mark.parametrize(("place", "name"), [(1, "feed_current_a"), (2, "beam_entry"), (3, "mode")])
@pytest.mark.parametrize("garbage", ["1\x022", "\ufffd\x05", "\x1bgo"])
def test_an_unreadable_cell_is_left_out_alone(place: int, name: str, garbage: str, tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    cells = lines[30].split(",")
    lines[30] = ",".join([*cells[:place], garbage, *cells[place + 1 :]])
    log = read_lines(tmp_path, lines)

    assert told(log) == [("unreadable_cell", 1, 31, 1)]
    assert {n: len(channel.values) for n, channel in log.channels.items()} == {
        n: 60 - (n == name) for n in log.channels
    }
    assert name in log.repairs[0].text


def test_an_infinite_number_is_no_value(tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    lines[30] = "0.58,inf,0,auto"

    assert told(read_lines(tmp_path, lines)) == [("unreadable_cell", 1, 31, 1)]


def test_a_repeated_header_is_left_out(tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    log = read_lines(tmp_path, [*lines[:31], lines[0], *lines[31:]])

    assert (log.rows, told(log)) == (60, [("repeated_header", 1, 32, 4)])


def test_other_columns_halfway_are_refused(tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    with pytest.raises(LogError, match="other columns from line 62 on"):
        read_lines(tmp_path, [*lines, "time_s,mode,feed_current_a,beam_entry", *lines[1:]])


def test_a_remark_halfway_holds_no_cells(tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    log = read_lines(tmp_path, [*lines[:31], "# battery changed", *lines[31:]])

    assert (log.rows, log.repairs) == (60, ())


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_blank_lines_hold_no_cells_and_shift_no_row(end: str, tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    lines[40] = "0.78,1x,0,auto"
    log = read_text(tmp_path, end.join([*lines[:31], "", "", *lines[31:]]) + end + end)

    assert (log.rows, told(log)) == (60, [("unreadable_cell", 1, 43, 1)])


def test_a_second_channel_of_one_name_is_renamed(tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    log = read_lines(tmp_path, ["time_s,x,x,x", *lines[1:]])

    assert list(log.channels) == ["x", "x#2", "x#3"]
    assert [(repair.kind, repair.count) for repair in log.repairs] == [("duplicate_channel", 2)]


def test_one_wild_time_takes_its_row_out_and_no_more(tmp_path: Path) -> None:
    lines = lines_of(tmp_path)
    lines[30] = "99999.9,1,0,auto"
    log = read_lines(tmp_path, lines)

    assert (log.rows, told(log)) == (59, [("unreadable_row", 1, 31, 4)])
    assert log.span_s == pytest.approx(1.18)


def test_a_packed_log_that_breaks_off_keeps_what_came_before(tmp_path: Path) -> None:
    whole = gzip.compress(("\n".join(lines_of(tmp_path, 4000)) + "\n").encode())
    path = tmp_path / "log.csv.gz"
    path.write_bytes(whole[: len(whole) // 2])
    log = read_log(path)

    assert 1000 < log.rows < 3999
    assert [repair.kind for repair in log.repairs] == ["truncated_tail"]


def read_or_refuse(path: Path) -> None:
    """Reads a file that may be spoiled: a log in order, or a refusal that fits on one line."""
    try:
        log = read_log(path)
    except LogError as error:
        refusal = str(error)
    else:
        refusal = ""
        assert (log.t_s[1:] >= log.t_s[:-1]).all()
        assert all(repair.text.isprintable() for repair in log.repairs)
        assert all(np.isfinite(channel.values).all() for channel in log.channels.values())
    assert refusal.isprintable()


FORMS = st.sampled_from(["csv", "gz", "long", "utf16", "quoted"])


def whole_log(form: str) -> bytes:
    if form == "long":
        names = (b"x_v", b"beam")
        return b"t,channel,value\n" + b"".join(b"%.2f,%s,%d\n" % (i / 50, names[i % 2], i) for i in range(90))
    rows = [f"{i * 0.02:.2f},{i % 7 * 1.5},{i // 9 % 2},auto" for i in range(60)]
    if form == "quoted":
        rows = [row.replace("auto", '"say ""go"", now"') for row in rows]
    return ("time_s,x_v,beam,mode\n" + "\n".join(rows) + "\n").encode(
        "utf-16" if form == "utf16" else "utf-8"
    )


@settings(max_examples=60, deadline=None)
@given(place=st.integers(0, 2000), lost=st.integers(0, 60), garbage=st.binary(max_size=40), form=FORMS)
@example(place=0, lost=0, garbage=b'"', form="csv")
@example(place=700, lost=3, garbage=b"\r", form="csv")
def test_any_spoiled_bytes_give_a_log_or_one_plain_line(
    place: int, lost: int, garbage: bytes, form: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    whole = whole_log(form)
    spoiled = whole[:place] + garbage + whole[place + lost :]
    path = tmp_path_factory.getbasetemp() / "fuzz.csv"
    path.write_bytes(gzip.compress(spoiled, 1) if form == "gz" else spoiled)

    read_or_refuse(path)


@settings(max_examples=40, deadline=None)
@given(place=st.integers(4, 4000), garbage=st.binary(min_size=1, max_size=30))
def test_a_spoiled_parquet_file_gives_a_log_or_one_plain_line(
    place: int, garbage: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.getbasetemp() / "fuzz.parquet"
    pl.DataFrame(example_columns()).write_parquet(path)
    whole = path.read_bytes()
    path.write_bytes(whole[:place] + garbage + whole[place + len(garbage) :])

    read_or_refuse(path)


@pytest.mark.parametrize("last", ["nan", "NaN", "null"])
def test_a_last_cell_that_says_nothing_in_a_whole_word_is_whole(last: str, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time_s,feed_a\n" + "".join(f"{i},{i}.25\n" for i in range(30)) + f"30,{last}")
    log = read_log(path)

    assert (log.rows, log.repairs) == (31, ())


def test_a_last_cell_that_no_number_is_and_rows_above_say_too_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f'"{i}","{i}.25"\n' if i % 5 else f'"{i}","None"\n' for i in range(60)]
    path.write_text('"time_s","feed_a"\n' + "".join(rows) + '"60","None"')
    log = read_log(path)

    assert log.rows == 61
    assert "truncated_tail" not in {repair.kind for repair in log.repairs}


@pytest.mark.parametrize("kept", [3, 8, 18])
@pytest.mark.parametrize("tail", ["", "\0" * 200])
def test_a_last_time_that_lacks_digits_is_half_written(kept: int, tail: str, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    times = [1_793_376_199_000_000_000 + i * 20_000_000 for i in range(60)]
    rows = "".join(f"{i}.5;{t}\n" for i, t in enumerate(times[:-1]))
    path.write_text(f"feed_a;epoch_ns\n{rows}59.5;{str(times[-1])[:kept]}{tail}")
    log = read_log(path)

    assert log.rows == 59
    assert [repair.kind for repair in log.repairs] == ["truncated_tail"]

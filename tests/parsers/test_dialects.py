"""Any log, written in any dialect, comes back the same."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parsers import read_log
from telemetry.errors import LogError
from telemetry.log import Kind, Log
from tests.parsers.writing import Style, example_columns, long_rows, write_rows, write_wide

STYLES = st.builds(
    Style,
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    decimal=st.just("."),
    quoted=st.booleans(),
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    trailing=st.booleans(),
    preamble=st.sampled_from([(), ("# made by the robot",), ("logger 3", "", "robot: Jay")]),
)
COMMA_STYLES = st.builds(
    Style,
    delimiter=st.sampled_from([";", "\t", "|"]),
    decimal=st.just(","),
    quoted=st.booleans(),
    line_end=st.sampled_from(["\n", "\r\n"]),
)
NUMBERS = st.lists(
    st.one_of(st.none(), st.floats(allow_nan=False, allow_infinity=False, width=64)), min_size=30, max_size=30
)
WORDS = st.lists(
    st.sampled_from(["auto", "teleop", "a;b", 'say "go"', "two\nlines", "né|e", " padded ", "x,y"]),
    min_size=30,
    max_size=30,
)
STATES = st.sampled_from([("0", "1"), ("false", "true"), ("Low", "High"), ("OFF", "ON")]).flatmap(
    lambda pair: st.lists(st.sampled_from(pair), min_size=30, max_size=30)
)


def read(columns: dict[str, list], style: Style, *, long: bool = False) -> Log:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        if long:
            write_rows(path, ["time_s", "channel", "value"], long_rows(columns), style)
        else:
            write_wide(path, columns, style)
        return read_log(path)


def assert_same(log: Log, columns: dict[str, list]) -> None:
    assert log.repairs == ()
    np.testing.assert_allclose(log.channels["steady_v"].values, columns["steady_v"], rtol=0, atol=0)
    given_numbers = [number for number in columns["odd_v"] if number is not None]
    odd = log.channels["odd_v"]
    assert odd.values.tolist() == given_numbers
    labels = log.channels["word"].labels
    assert [labels[int(code)] for code in log.channels["word"].values] == columns["word"]
    state = log.channels["state"]
    assert state.kind is Kind.SWITCH
    assert [state.labels[int(code)] for code in state.values] == columns["state"]


def some_log(numbers: list, words: list, states: list) -> dict[str, list]:
    return {
        "time_s": [round(3.1 + i * 0.02, 3) for i in range(30)],
        "steady_v": [round(12.5 - i * 0.01, 2) for i in range(30)],
        "odd_v": numbers,
        "word": words,
        "state": states,
    }


@settings(max_examples=30, deadline=None)
@given(STYLES, NUMBERS, WORDS, STATES)
def test_a_wide_log_comes_back_from_any_dialect(
    style: Style, numbers: list, words: list, states: list
) -> None:
    columns = some_log(numbers, words, states)
    if style.line_end == "\r" and "two\nlines" in words:
        columns["word"] = [word.replace("\n", " ") for word in words]

    assert_same(read(columns, style), columns)


@settings(max_examples=30, deadline=None)
@given(COMMA_STYLES, NUMBERS, STATES)
def test_a_decimal_comma_is_told_from_a_delimiter(style: Style, numbers: list, states: list) -> None:
    columns = some_log(numbers, ["auto"] * 30, states)

    log = read(columns, style)

    assert (log.dialect.delimiter, log.dialect.decimal) == (style.delimiter, ",")
    assert_same(log, columns)


@settings(max_examples=25, deadline=None)
@given(STYLES, NUMBERS, WORDS, STATES)
def test_a_long_log_comes_back_from_any_dialect(
    style: Style, numbers: list, words: list, states: list
) -> None:
    columns = some_log(numbers, [word.replace("\n", " ") for word in words], states)

    log = read(columns, style, long=True)

    assert log.shape == "long"
    assert_same(log, columns)


def test_a_decimal_comma_may_stand_in_quotes_between_commas(tmp_path: Path) -> None:
    columns = example_columns()
    log = read_log(write_wide(tmp_path / "log.csv", columns, Style(decimal=",")))

    assert (log.dialect.delimiter, log.dialect.decimal) == (",", ",")
    assert log.channels["feed_current_a"].values.tolist() == columns["feed_current_a"]


def test_a_log_without_header_names_channels_by_their_place(tmp_path: Path) -> None:
    log = read_log(write_wide(tmp_path / "log.csv", example_columns(), Style(header=False)))

    assert log.dialect.time_column == "column 1"
    assert list(log.channels) == ["column 2", "column 3", "column 4"]
    assert log.rows == 60


def test_the_time_column_need_not_be_the_first(tmp_path: Path) -> None:
    columns = example_columns()
    log = read_log(write_wide(tmp_path / "log.csv", dict(reversed(columns.items()))))

    assert log.dialect.time_column == "time_s"
    assert list(log.channels) == ["mode", "beam_entry", "feed_current_a"]


def test_a_header_may_be_a_comment(tmp_path: Path) -> None:
    columns = example_columns()
    columns = {"# time_s" if name == "time_s" else name: cells for name, cells in columns.items()}
    log = read_log(write_wide(tmp_path / "log.csv", columns, Style(preamble=("# written, by the robot",))))

    assert log.dialect.time_column == "time_s"
    assert log.rows == 60


def test_a_row_of_units_below_the_header_gives_the_units(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(
        "time,feed current,mode\ns,mA,\n" + "".join(f"{i / 50},{i * 3},auto\n" for i in range(20))
    )
    log = read_log(path)

    assert log.channels["feed current"].unit == "mA"
    assert log.rows == 20


def test_names_stay_whole_and_blanks_around_them_go(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time_s, battery current [A], speed (rpm)\n0.0, 1.5, 10\n0.02, 2.5, 11\n")
    log = read_log(path)

    assert list(log.channels) == ["battery current [A]", "speed (rpm)"]
    assert [channel.unit for channel in log.channels.values()] == ["A", "rpm"]
    assert log.channels["battery current [A]"].values.tolist() == [1.5, 2.5]


@pytest.mark.parametrize(
    "spoiled", ["a;b;c;d;e;f", "1;2;3", "\x01\x02\x7f\x10", '"never closed', ",,,,,,,,,,,,,"]
)
@pytest.mark.parametrize("place", [1, 2, 30, 60])
def test_one_spoiled_row_never_changes_the_dialect(spoiled: str, place: int, tmp_path: Path) -> None:
    path = write_wide(tmp_path / "log.csv", example_columns())
    lines = path.read_text().splitlines()
    lines.insert(place, spoiled)
    path.write_text("\n".join(lines) + "\n")

    log = read_log(path)

    assert log.dialect.delimiter == ","
    assert log.rows == 60
    assert [(r.kind, r.count, r.line) for r in log.repairs] == [("unreadable_row", 1, place + 1)]


@pytest.mark.parametrize(
    ("name", "stamps", "unit", "span_s"),
    [
        ("time_s", ["5", "5.5", "6"], "s", 1.0),
        ("t_ms", ["500", "1000", "1500"], "ms", 1.0),
        ("time [us]", ["0", "500000", "1000000"], "us", 1.0),
        ("stamp_ns", ["7", "500000007", "1000000007"], "ns", 1.0),
        ("timestamp", ["1700000000.0", "1700000000.5", "1700000001.0"], "s", 1.0),
        ("timestamp", ["1700000000000", "1700000000500", "1700000001000"], "ms", 1.0),
        ("timestamp", ["1700000000000000000", "1700000000000000500", "1700000001000000000"], "ns", 1.0),
        ("t", ["0", "20", "40"], "ms", 0.04),
        ("t", ["0", "20000", "40000"], "us", 0.04),
        ("CPUTimeMs", ["0", "500", "1000"], "ms", 1.0),
        ("RobotTimeUs", ["0", "500000", "1000000"], "us", 1.0),
        ("t", ["1200000000", "1200001000", "1200002000"], "us", 0.002),
        ("time", ["2026-03-01T10:00:00Z", "2026-03-01T10:00:00.5Z", "2026-03-01T10:00:01Z"], "iso8601", 1.0),
        ("time", ["2026-03-01 10:00:00", "2026-03-01 10:00:00.5", "2026-03-01 10:00:01"], "iso8601", 1.0),
        ("when", ["23:59:59.5", "23:59:59.9", "00:00:00.5"], "clock", 1.0),
    ],
)
def test_time_is_read_in_any_unit(
    name: str, stamps: list[str], unit: str, span_s: float, tmp_path: Path
) -> None:
    path = tmp_path / "log.csv"
    path.write_text("\n".join([f"{name},x_v", *(f"{stamp},{i}.5" for i, stamp in enumerate(stamps))]) + "\n")
    log = read_log(path)

    assert log.dialect.time_unit == unit
    assert log.span_s == pytest.approx(span_s, abs=1e-9)
    assert log.rows == 3


def test_stamps_in_nanoseconds_keep_every_digit(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{1_700_000_000_000_000_000 + i * 1_000_003},{i}" for i in range(50)]
    path.write_text("timestamp,x_v\n" + "\n".join(rows) + "\n")

    np.testing.assert_allclose(read_log(path).t_s, np.arange(50) * 0.001000003, rtol=0, atol=1.1e-9)


@pytest.mark.parametrize(
    ("stamp", "epoch"), [("2026-03-01T10:00:00+02:00", 1772352000), ("1772352000", 1772352000)]
)
def test_the_file_tells_when_the_log_began(stamp: str, epoch: float, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(f"timestamp,x_v\n{stamp},1\n")

    assert read_log(path).start_epoch_s == epoch


def test_a_clock_that_was_not_set_does_not_tell_the_date(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time,x_v\n1970-01-01T00:00:05Z,1\n2026-03-01T10:00:00Z,2\n")
    log = read_log(path)

    assert log.start_epoch_s is None
    assert [repair.kind for repair in log.repairs] == ["clock_jump"]


def test_a_clock_set_in_the_last_readings_tells_the_unit(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    unset, is_set = [43_200_000_000 + 1_000 * n for n in range(500)], range(6)
    stamps = [*unset, *(1_791_000_000_000_000 + 1_000 * n for n in is_set)]
    path.write_text("timestamp,x_v\n" + "".join(f"{stamp},{n}\n" for n, stamp in enumerate(stamps)))
    log = read_log(path)

    assert log.dialect.time_unit == "us"
    np.testing.assert_allclose(np.diff(log.t_s[:500]), 0.001, rtol=0, atol=1e-9)
    assert [repair.kind for repair in log.repairs] == ["clock_jump"]


def test_a_clock_that_counts_from_zero_does_not_tell_the_date(tmp_path: Path) -> None:
    assert read_log(write_wide(tmp_path / "log.csv", example_columns())).start_epoch_s is None


def test_what_is_no_log_is_refused_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "letter.csv"
    path.write_text("Dear crew,\nthe robot, as you know, is well.\nYours, Jay\n")

    with pytest.raises(LogError, match=r"^letter\.csv: looked for a time column that rises"):
        read_log(path)

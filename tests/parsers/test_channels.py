"""What a column's cells make of it: kind, labels, unit, cadence, what is missing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from parsers import read_log
from telemetry.log import Channel, Kind
from tests.parsers.writing import write_rows, write_wide


def channel_of(tmp_path: Path, cells: list, name: str = "x") -> Channel:
    columns = {"time_s": [round(i * 0.02, 3) for i in range(len(cells))], name: cells}
    columns["steady_v"] = [12.5] * len(cells)
    return read_log(write_wide(tmp_path / "log.csv", columns)).channels[name]


@pytest.mark.parametrize(
    ("cells", "name", "kind", "labels"),
    [
        (["0", "1", "1"], "beam", Kind.SWITCH, ("0", "1")),
        (["0", "0", "0"], "beam", Kind.SWITCH, ("0", "1")),
        (["0.0", "1.0", "0.0"], "beam", Kind.SWITCH, ("0", "1")),
        (["0.0", "0.0", "0.0"], "duty", Kind.NUMBER, ()),
        (["0", "1", "1"], "arm_current_a", Kind.NUMBER, ()),
        (["0", "1", "2"], "count", Kind.NUMBER, ()),
        (["true", "false", "true"], "beam", Kind.SWITCH, ("false", "true")),
        (["TRUE", "TRUE", "TRUE"], "beam", Kind.SWITCH, ("FALSE", "TRUE")),
        (["High", "Low", "High"], "beam", Kind.SWITCH, ("Low", "High")),
        (["off", "off", "on"], "beam", Kind.SWITCH, ("off", "on")),
        (["clear", "broken", "clear"], "beam", Kind.TEXT, ("clear", "broken")),
        (["auto", "1", "2"], "mode", Kind.TEXT, ("auto", "1", "2")),
        (["+1.5", "-2e3", ".5"], "x", Kind.NUMBER, ()),
    ],
)
def test_kind_and_labels_follow_from_the_values(
    cells: list[str], name: str, kind: Kind, labels: tuple[str, ...], tmp_path: Path
) -> None:
    channel = channel_of(tmp_path, cells, name)

    assert (channel.kind, channel.labels) == (kind, labels)


def test_a_switch_is_logged_as_zero_and_one(tmp_path: Path) -> None:
    assert channel_of(tmp_path, ["High", "Low", "High"]).values.tolist() == [1.0, 0.0, 1.0]


def test_a_boolean_column_is_a_switch(tmp_path: Path) -> None:
    frame = pl.DataFrame({"time_s": [0.0, 0.1, 0.2], "beam": [True, None, True], "steps": [0, 1, 0]})
    frame.write_parquet(tmp_path / "log.parquet")
    log = read_log(tmp_path / "log.parquet")

    assert (log.channels["beam"].kind, log.channels["beam"].labels) == (Kind.SWITCH, ("false", "true"))
    assert log.channels["beam"].values.tolist() == [1.0, 1.0]
    assert log.channels["steps"].kind is Kind.SWITCH


@pytest.mark.parametrize("spelling", ["", "NaN", "nan", "null", "NULL", "NA", "-"])
def test_what_says_nothing_is_missing(spelling: str, tmp_path: Path) -> None:
    channel = channel_of(tmp_path, ["1.5", "2.5", spelling, "3.5", "4.5", "5.5"])

    assert channel.kind is Kind.NUMBER
    assert channel.values.tolist() == [1.5, 2.5, 3.5, 4.5, 5.5]
    assert channel.t_s.tolist() == [0.0, 0.02, 0.06, 0.08, 0.1]
    assert (channel.sampled, channel.missing) == (True, 1)


def test_a_sparse_switch_is_logged_on_change_and_misses_nothing(tmp_path: Path) -> None:
    cells = [None] * 100
    for row, state in ((0, 0), (7, 1), (9, 0), (40, 1), (41, 0), (90, 1)):
        cells[row] = state
    channel = channel_of(tmp_path, cells)

    assert (channel.sampled, channel.missing) == (False, 0)
    assert channel.values.tolist() == [0, 1, 0, 1, 0, 1]


def test_a_slow_number_is_sampled_at_its_own_rate(tmp_path: Path) -> None:
    cells = [20.0 + i if i % 10 == 0 and i != 50 else None for i in range(200)]
    channel = channel_of(tmp_path, cells)

    assert channel.sampled
    assert channel.missing == 1
    assert np.median(np.diff(channel.t_s)) == pytest.approx(0.2)


def test_a_number_that_dies_misses_the_rest(tmp_path: Path) -> None:
    channel = channel_of(tmp_path, [float(i) if i < 60 else None for i in range(100)])

    assert (channel.sampled, channel.missing) == (True, 40)


def test_a_channel_without_a_value_misses_all(tmp_path: Path) -> None:
    channel = channel_of(tmp_path, [None] * 50)

    assert (len(channel.values), channel.missing) == (0, 50)


def test_the_last_of_two_equal_times_wins_for_samples_and_both_stay_for_changes(tmp_path: Path) -> None:
    rows = [[round(i * 0.02, 2), "speed_rpm", 100 + i] for i in range(30)]
    rows += [[0.1, "beam", 1], [0.1, "beam", 0], [0.5, "beam", 1]]
    rows.append([0.1, "speed_rpm", 7])
    rows.sort(key=lambda row: row[0])
    log = read_log(write_rows(tmp_path / "log.csv", ["t", "channel", "value"], rows))

    assert log.channels["beam"].t_s.tolist() == [0.1, 0.1, 0.5]
    assert log.channels["speed_rpm"].values[5] == 7
    assert len(log.channels["speed_rpm"].values) == 30


def test_a_long_log_tells_cadence_by_each_channels_own_rows(tmp_path: Path) -> None:
    rows = [[round(i * 0.02, 2), "speed_rpm", i] for i in range(200)]
    rows += [[t, "beam", i % 2] for i, t in enumerate((0.1, 0.12, 0.9, 2.5, 2.52, 2.54, 3.7, 3.9, 3.95))]
    rows.sort(key=lambda row: row[0])
    log = read_log(write_rows(tmp_path / "log.csv", ["t", "channel", "value"], rows))

    assert log.channels["speed_rpm"].sampled
    assert not log.channels["beam"].sampled
    assert log.rows == 209


def test_a_long_log_written_channel_by_channel_needs_no_repair(tmp_path: Path) -> None:
    rows = [[round(i * 0.02, 2), name, i] for name in ("b", "a") for i in range(40)]
    log = read_log(write_rows(tmp_path / "log.csv", ["t", "channel", "value"], rows))

    assert list(log.channels) == ["b", "a"]
    assert log.repairs == ()
    assert np.all(np.diff(log.t_s) >= 0)


def test_a_wide_log_of_three_columns_is_not_taken_for_a_long_one(tmp_path: Path) -> None:
    columns = {
        "time_s": [i / 50 for i in range(60)],
        "mode": ["auto"] * 20 + ["teleop"] * 40,
        "battery_v": [12.5 - i / 100 for i in range(60)],
    }
    log = read_log(write_wide(tmp_path / "log.csv", columns))

    assert (log.shape, list(log.channels)) == ("wide", ["mode", "battery_v"])


def test_letters_that_number_things_are_no_units(tmp_path: Path) -> None:
    columns = {"time_s": [i / 50 for i in range(20)]}
    columns |= {name: [i % 3 for i in range(20)] for name in ("beam_a", "beam_b", "beam_c", "arm_a")}
    log = read_log(write_wide(tmp_path / "log.csv", columns))

    assert [channel.unit for channel in log.channels.values()] == [None, None, None, "A"]


HOSTILE = [
    "__proto__",
    "constructor",
    "=HYPERLINK(0)",
    "<script>alert(1)</script>",
    "../../etc/passwd",
    "a\x1b[31mred",
    "\u202eevil",
    "{count} {where} {0.__class__}",
    "%s%n",
    "x" * 5000,
    'say "hi", you',
]


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_stay_whole_in_the_log_and_safe_in_repairs(name: str, tmp_path: Path) -> None:
    cells = [["0.5", "1.5", "2.5", "bad\x07", "4.5", "5.5"], ["1"] * 6]
    rows = list(zip(["0", "0.1", "0.2", "0.3", "0.4", "0.5"], *cells, strict=True))
    log = read_log(write_rows(tmp_path / "log.csv", ["time_s", name, name], rows))

    assert list(log.channels) == [name, f"{name}#2"]
    assert [repair.kind for repair in log.repairs] == ["duplicate_channel", "unreadable_cell"]
    assert all(repair.text.isprintable() and len(repair.text) < 200 for repair in log.repairs)

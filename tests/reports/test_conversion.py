"""Conversion: values as logged, nothing lost, the input untouched, files whole or not there."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parsers import read_log
from reports.conversion import write_conversion
from telemetry.errors import UsageError
from telemetry.log import Log

OUTS = ["x.csv", "x.parquet"]


def written(folder: Path, text: str, name: str = "log.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8", newline="")
    return path


def convert(source: Path, out: Path) -> pl.DataFrame:
    write_conversion(read_log(source), source, out)
    if out.suffix == ".csv":
        return pl.read_csv(out, infer_schema_length=None)
    return pl.read_parquet(out)


@pytest.mark.parametrize("out", OUTS)
def test_values_stand_as_logged_behind_the_time(out: str, tmp_path: Path) -> None:
    source = written(
        tmp_path,
        "stamp;arm current [mA];beam;mode;lit\n"
        "100,5;1500,5;0;auto;Off\n100,52;-20;1;teleop, slow;On\n100,54;;1;teleop, slow;On\n",
    )
    frame = convert(source, tmp_path / out)

    assert frame.columns == ["t_s", "arm current [mA]", "beam", "mode", "lit"]
    assert frame.rows() == [
        (0.0, 1500.5, 0, "auto", "Off"),
        (0.02, -20.0, 1, "teleop, slow", "On"),
        (0.04, None, 1, "teleop, slow", "On"),
    ]


@pytest.mark.parametrize("out", OUTS)
def test_whole_numbers_keep_every_digit(out: str, tmp_path: Path) -> None:
    stamps = [1_772_352_000_123_456_789 + i * 20_000_001 for i in range(5)]
    rows = "".join(f"{i / 50},{stamp}\n" for i, stamp in enumerate(stamps))
    frame = convert(written(tmp_path, "time_s,timestamp_ns\n" + rows), tmp_path / out)

    assert frame["timestamp_ns"].to_list() == stamps


@pytest.mark.parametrize("out", OUTS)
def test_states_spelled_in_several_ways_keep_their_spelling(out: str, tmp_path: Path) -> None:
    spelled = ["true", "TRUE", "False", "false", "1", "0"]
    rows = "".join(f"{i / 50},{word},{i}.5\n" for i, word in enumerate(spelled))
    source = written(tmp_path, "time_s,beam,x_v\n" + rows)
    frame = convert(source, tmp_path / out)

    assert [str(value) for value in frame["beam"].to_list()] == spelled
    assert read_log(source).channels["beam"].values.tolist() == [1, 1, 0, 0, 1, 0]


def test_booleans_of_parquet_stay_booleans(tmp_path: Path) -> None:
    source = tmp_path / "log.parquet"
    pl.DataFrame({"time_s": [0.0, 0.1, 0.2], "beam": [True, None, False]}).write_parquet(source)

    assert convert(source, tmp_path / "x.parquet")["beam"].to_list() == [True, None, False]


@pytest.mark.parametrize("out", OUTS)
def test_a_long_log_becomes_one_row_an_instant_and_more_where_a_channel_has_more(
    out: str, tmp_path: Path
) -> None:
    source = written(
        tmp_path,
        "time_s,channel,value\n0,a,0\n0,b,1\n1.5,a,1\n1.5,a,0\n1.5,b,0\n4,b,1\n6,a,1\n6,b,0\n9,b,1\n",
    )
    frame = convert(source, tmp_path / out)

    assert frame.rows() == [
        (0.0, 0, 1),
        (1.5, 1, 0),
        (1.5, 0, None),
        (4.0, None, 1),
        (6.0, 1, 0),
        (9.0, None, 1),
    ]


def test_repairs_stand_beside_it(tmp_path: Path) -> None:
    source = written(
        tmp_path, "time_s,x_v\n" + "".join(f"{i / 50},{i}.5\n" for i in range(9)) + "0.18,1\x05\n"
    )
    convert(source, tmp_path / "x.parquet")
    beside = json.loads((tmp_path / "x.parquet.repairs.json").read_text())

    assert beside == {
        "schema": 1,
        "repairs": [
            {
                "kind": "unreadable_cell",
                "count": 1,
                "line": 11,
                "text": "1 unreadable cell (line 11) left out, in x_v.",
            }
        ],
    }


def test_a_channel_called_as_the_time_column_is_renamed_and_told(tmp_path: Path) -> None:
    source = written(tmp_path, "time,t_s\n" + "".join(f"{i / 50},{i}\n" for i in range(9)))
    frame = convert(source, tmp_path / "x.csv")
    beside = json.loads((tmp_path / "x.csv.repairs.json").read_text())

    assert frame.columns == ["t_s", "t_s#2"]
    assert frame["t_s#2"].to_list() == list(range(9))
    assert [repair["kind"] for repair in beside["repairs"]] == ["duplicate_channel"]


@pytest.mark.parametrize("make", ["itself", "a link", "a second name", "its repairs"])
def test_the_log_itself_is_never_written_over(make: str, tmp_path: Path) -> None:
    source = written(tmp_path, "time_s,x_v\n0,1.5\n1,2.5\n", "x.csv")
    out = tmp_path / "out.csv"
    if make == "itself":
        out = source
    elif make == "a link":
        out.symlink_to(source)
    elif make == "a second name":
        out.hardlink_to(source)
    else:
        (tmp_path / "out.csv.repairs.json").hardlink_to(source)
    before = source.read_bytes()

    with pytest.raises(UsageError, match="is the log that is to be read"):
        write_conversion(read_log(source), source, out)
    assert source.read_bytes() == before


@pytest.mark.parametrize(
    ("out", "words"),
    [
        ("x.xlsx", "ends in .parquet or .csv"),
        ("x", "ends in .parquet or .csv"),
        ("none/x.csv", "cannot be written"),
    ],
)
def test_an_unfit_place_is_one_plain_line(out: str, words: str, tmp_path: Path) -> None:
    source = written(tmp_path, "time_s,x_v\n0,1.5\n1,2.5\n")

    with pytest.raises(UsageError, match=words) as error:
        write_conversion(read_log(source), source, tmp_path / out)
    assert str(error.value).isprintable()


def test_a_writing_that_fails_leaves_the_old_file_and_no_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = written(tmp_path, "time_s,x_v\n0,1.5\n1,2.5\n")
    out = written(tmp_path, "old", "x.csv")

    def no_room(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pl.DataFrame, "write_csv", no_room)
    with pytest.raises(UsageError, match="No space left"):
        write_conversion(read_log(source), source, out)
    assert out.read_text() == "old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["log.csv", "x.csv"]


def test_the_same_log_gives_the_same_bytes(tmp_path: Path) -> None:
    source = written(tmp_path, "time_s,x_v,m\n" + "".join(f"{i / 50},{i}.5,auto\n" for i in range(99)))
    for out in ("a.csv", "b.csv", "a.parquet", "b.parquet"):
        convert(source, tmp_path / out)

    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
    assert (tmp_path / "a.parquet").read_bytes() == (tmp_path / "b.parquet").read_bytes()


NUMBERS = st.lists(
    st.one_of(st.none(), st.floats(-1e12, 1e12, allow_nan=False), st.integers(-5, 5)),
    min_size=40,
    max_size=40,
)
CELLS = {
    "x_v": NUMBERS,
    "count": st.lists(st.integers(0, 2**62), min_size=40, max_size=40),
    "beam": st.lists(st.sampled_from(["0", "1"]), min_size=40, max_size=40),
    "switch": st.lists(st.sampled_from(["on", "off", None]), min_size=40, max_size=40),
    "mode": st.lists(
        st.sampled_from(["auto", "a,b", 'say "x"', " padded ", "two\nlines", "=1+1", "#5", "nan?", None]),
        min_size=40,
        max_size=40,
    ),
}


def same(one: Log, other: Log) -> None:
    assert list(one.channels) == list(other.channels)
    for name, channel in one.channels.items():
        twin = other.channels[name]
        assert channel.values.tolist() == twin.values.tolist()
        assert channel.t_s.tolist() == twin.t_s.tolist()
        assert (channel.kind, channel.labels, channel.unit) == (twin.kind, twin.labels, twin.unit)
        assert (channel.logged is None) == (twin.logged is None)
        assert channel.logged is None or channel.logged.tolist() == twin.logged.tolist()


@settings(max_examples=40, deadline=None)
@given(cells=st.fixed_dictionaries(CELLS), long=st.booleans(), out=st.sampled_from(OUTS))
def test_a_clean_log_read_again_is_the_same(
    cells: dict[str, list], long: bool, out: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("again")
    instants = range(40)
    wide = pl.DataFrame({"time_s": [i / 50 for i in instants], **cells}, strict=False)
    if long:
        rows = [
            (i / 50, name, None if cells[name][i] is None else str(cells[name][i]))
            for i in instants
            for name in cells
        ]
        wide = pl.DataFrame(rows, schema=["time_s", "channel", "value"], orient="row")
    wide.write_csv(folder / "log.csv")
    first = read_log(folder / "log.csv")
    assert first.repairs == ()
    write_conversion(first, folder / "log.csv", folder / out)
    again = read_log(folder / out)

    assert again.repairs == ()
    same(first, again)

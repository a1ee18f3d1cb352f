"""What is said of a file's format goes before what is recognised and what the robot file says."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from parsers import Told, read_log, told_format
from telemetry.errors import UsageError


@dataclass(frozen=True)
class Section:
    """The [log] section of a robot file."""

    time: str | None = None
    time_unit: str | None = None
    channel: str | None = None
    value: str | None = None
    units: dict[str, str] = field(default_factory=dict)


def test_settings_are_read_by_key() -> None:
    told = told_format(
        ["delimiter=semicolon", "decimal=comma", "time=stamp [ms]", "time-unit=ms", "shape=wide"]
    )

    assert told == Told(delimiter=";", decimal=",", time="stamp [ms]", time_unit="ms", shape="wide")
    assert told_format(["delimiter=\t", "encoding=UTF8"]) == Told(delimiter="\t", encoding="utf-8")
    assert told_format([]) == Told()


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ("delimiter", "looked for KEY=VALUE"),
        ("delimeter=comma", "the nearest is delimiter"),
        ("delimiter=dash", "one of comma, semicolon, tab, bar"),
        ("decimal=;", "one of point, comma"),
        ("time_unit=hours", "one of s, ms, us, ns, iso8601"),
        ("shape=tall", "one of wide, long"),
        ("encoding=klingon", "an encoding such as utf-8"),
        ("\x1b[2J=1", "looked for KEY=VALUE"),
    ],
)
def test_a_setting_that_says_nothing_is_one_plain_line(setting: str, words: str) -> None:
    with pytest.raises(UsageError, match=words) as error:
        told_format([setting])

    assert str(error.value).isprintable()


def written(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "log.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_delimiter_and_decimal_sign_are_taken_as_told(tmp_path: Path) -> None:
    path = written(tmp_path, "time_s,a\n" + "".join(f"{i},{i};{i}\n" for i in range(30)))
    log = read_log(path, told=Told(delimiter=",", decimal="."))

    assert (log.dialect.delimiter, log.dialect.decimal) == (",", ".")
    assert log.channels["a"].labels[:2] == ("0;0", "1;1")


def test_the_encoding_is_taken_as_told(tmp_path: Path) -> None:
    path = written(tmp_path, "время,ток [A]\n" + "".join(f"{i},{i}.5\n" for i in range(30)), "cp1251")
    log = read_log(path, told=Told(encoding="cp1251", time="время"))

    assert (list(log.channels), log.dialect.encoding) == (["ток [A]"], "cp1251")


def test_a_long_log_may_be_told_to_be_wide(tmp_path: Path) -> None:
    path = written(tmp_path, "t,channel,value\n" + "".join(f"{i},{'ab'[i % 2]},{i}\n" for i in range(30)))

    assert read_log(path).shape == "long"
    assert list(read_log(path, told=Told(shape="wide")).channels) == ["channel", "value"]
    section = Section(channel="channel", value="value")
    assert read_log(path, overrides=section, told=Told(shape="wide")).shape == "wide"


def test_what_is_told_goes_before_the_robot_file(tmp_path: Path) -> None:
    path = written(tmp_path, "one,two,x_v\n" + "".join(f"{i},{i * 20},{i % 7}.5\n" for i in range(30)))
    section = Section(time="one", time_unit="s", units={"x_v": "mV"})
    log = read_log(path, overrides=section, told=Told(time="two", time_unit="ms"))

    assert (log.dialect.time_column, log.span_s) == ("two", 0.58)
    assert log.channels["x_v"].unit == "mV"


def test_columns_beside_those_that_are_named_are_left_out_and_told(tmp_path: Path) -> None:
    path = written(
        tmp_path, "i,zahl,was,wert,note\n" + "".join(f"{i},{i * 20},v,{i * 3},x\n" for i in range(30))
    )
    log = read_log(path, overrides=Section(time="zahl", time_unit="ms", channel="was", value="wert"))

    assert list(log.channels) == ["v"]
    assert [(r.kind, r.count, r.cells) for r in log.repairs] == [("left_out_column", 2, 60)]

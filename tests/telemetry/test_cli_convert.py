"""The commands that read a log and no more: `convert`, and how `--format` helps where a log is misread."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from telemetry.cli import main

Run = Callable[..., tuple[int, str, list[str]]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    monkeypatch.chdir(tmp_path)

    def call(*words: object) -> tuple[int, str, list[str]]:
        monkeypatch.setattr(sys, "argv", ["rattletrace", *map(str, words)])
        with pytest.raises(SystemExit) as end:
            main()
        said = capsys.readouterr()
        return int(end.value.code or 0), said.out, said.err.splitlines()

    return call


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(
        "stamp_ms;feed [mA];beam\n" + "".join(f"{i * 20};{i},5;{i % 2}\n" for i in range(50)) + "9;9\n"
    )
    return path


@pytest.mark.parametrize("name", ["out.csv", "out.parquet"])
def test_convert_writes_the_table_and_its_repairs(run: Run, log: Path, name: str) -> None:
    before = log.read_bytes()
    status, said, complaints = run("convert", log, name, "--json")
    frame = pl.read_csv(name) if name.endswith(".csv") else pl.read_parquet(name)

    assert (status, complaints) == (0, [])
    assert frame.columns == ["t_s", "feed [mA]", "beam"]
    assert frame.row(49) == (0.98, 49.5, 1)
    told = json.loads(said)
    assert (told["schema"], told["rows"], told["channels"]) == (1, 50, 2)
    beside = json.loads(Path(name + ".repairs.json").read_text())
    assert beside["repairs"] == told["repairs"]
    assert [(repair["kind"], repair["line"]) for repair in beside["repairs"]] == [("unreadable_row", 52)]
    assert log.read_bytes() == before


def test_convert_for_people_says_what_it_wrote(run: Run, log: Path) -> None:
    assert run("convert", log, "out.csv")[1] == "out.csv: 50 rows of 2 channels, 1 kind of repair\n"


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["convert", "log.csv", "log.csv"], "is the log that is to be read"),
        (["convert", "log.csv", "out.txt"], "ends in .parquet or .csv"),
        (["convert", "log.csv", "no/such/out.csv"], "cannot be written"),
        (["convert", "none.csv", "out.csv"], "cannot be opened"),
        (["convert", "log.csv", "out.csv", "--format", "delimeter=,"], "the nearest is delimiter"),
        (["convert", "log.csv", "out.csv", "--max-samples", "10"], "at most 10 samples"),
        (["channels", "log.csv", "--format", "time=stamp"], "the nearest name is 'stamp_ms'"),
    ],
)
def test_what_cannot_be_done_is_one_line_and_status_2(
    run: Run, log: Path, words: list[str], complaint: str
) -> None:
    before = sorted(path.name for path in log.parent.iterdir())
    status, said, complaints = run(*words)

    assert (status, said, len(complaints)) == (2, "", 1)
    assert complaints[0].startswith("rattletrace: ")
    assert complaint in complaints[0]
    assert sorted(path.name for path in log.parent.iterdir()) == before


def test_channels_tells_the_dialect_the_runner_up_and_why(run: Run, log: Path) -> None:
    _, said, _ = run("channels", log)

    assert "Chosen: semicolon between cells, decimal comma: " in said
    assert "Next best: semicolon between cells, decimal point: " in said
    dialect = json.loads(run("channels", log, "--json")[1])["log"]["dialect"]
    assert dialect["delimiter"] == ";"
    assert dialect["why"].startswith("semicolon between cells")
    assert dialect["runner_up"].startswith("semicolon between cells, decimal point")


def test_format_goes_before_what_is_recognised(run: Run, log: Path) -> None:
    told = json.loads(
        run("channels", log, "--json", "--format", "time_unit=us", "--format", "decimal=point")[1]
    )

    assert told["log"]["dialect"]["time_unit"] == "us"
    assert told["log"]["dialect"]["decimal"] == "."

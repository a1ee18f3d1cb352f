"""The commands that look at many logs: report --jobs, compare, whatif, precheck and watch."""

from __future__ import annotations

import json
import shutil
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from telemetry.cli import main
from telemetry.commands import batch

SAMPLES = Path(__file__).parents[2] / "sample_logs"
ROBOT = SAMPLES / "robot.toml"
FIRST, THIRD = SAMPLES / "match-01.csv", SAMPLES / "match-03.parquet"
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    monkeypatch.chdir(tmp_path)

    def call(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["rattletrace", *map(str, words)])
        with pytest.raises(SystemExit) as end:
            main()
        said = capsys.readouterr()
        return int(end.value.code or 0), said.out, said.err

    return call


def _contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*.*") if path.is_file()
    }


def test_neither_the_order_of_the_logs_nor_the_processes_change_a_byte(run: Run, tmp_path: Path) -> None:
    run("report", FIRST, THIRD, "--robot", ROBOT, "--out", "one")
    run("report", THIRD, FIRST, THIRD, "--robot", ROBOT, "--out", "two", "--jobs", 2)
    assert _contents(tmp_path / "one") == _contents(tmp_path / "two")


def test_a_log_that_breaks_the_judge_stops_no_other(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    honest = batch.judged

    def breaks(path: Path, *rest: object, **named: object) -> object:
        if path.name == "match-01.csv":
            raise ZeroDivisionError("by nothing")
        return honest(path, *rest, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(batch, "judged", breaks)
    status, out, err = run("report", FIRST, THIRD, "--robot", ROBOT)
    assert status == 2
    assert "match-03:" in out
    (line,) = err.splitlines()
    assert line.startswith("rattletrace: match-01.csv: ")
    assert "by nothing" in line
    event = json.loads((tmp_path / "report" / "event.json").read_text(encoding="utf-8"))
    assert [file["file"] for file in event["unusable"]] == ["match-01.csv"]


def test_the_sheet_beside_the_logs_orders_them(run: Run, tmp_path: Path) -> None:
    shutil.copytree(SAMPLES, tmp_path / "logs", ignore=lambda _, names: [n for n in names if "match-0" in n])
    for log in (FIRST, THIRD):
        shutil.copy(log, tmp_path / "logs")
    sheet = "file,start time,driver,note\nmatch-01.csv,10:30,Ari,=1+1\nmatch-03.parquet,10:00,Bo,<b>\n"
    (tmp_path / "logs" / "matches.csv").write_text(sheet, encoding="utf-8")
    assert run("report", "logs")[0] == 0
    event = json.loads((tmp_path / "report" / "event.json").read_text(encoding="utf-8"))
    assert event["ordered_by"] == "match sheet"
    assert [match["name"] for match in event["matches"]] == ["match-03", "match-01"]
    assert 1500 < event["matches"][1]["pause_before_s"] < 1800
    assert event["matches"][1]["heat"]["launcher"]["start"] > 0
    page = (tmp_path / "report" / "index.html").read_text(encoding="utf-8")
    assert "<b>" not in page
    assert "&lt;b&gt;" in page


def test_a_match_starts_with_the_heat_that_the_pause_left(run: Run, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("file,start time\nmatch-03.parquet,10:00\nmatch-01.csv,10:07\n", encoding="utf-8")
    told = ("--robot", ROBOT, "--sheet", sheet)
    run("report", FIRST, "--robot", ROBOT, "--out", "cold")
    run("report", FIRST, THIRD, *told, "--out", "one")
    run("report", THIRD, FIRST, *told, "--out", "two", "--jobs", 2)
    assert _contents(tmp_path / "one") == _contents(tmp_path / "two")

    def analysis(*folders: str) -> dict[str, Any]:
        return dict(json.loads(tmp_path.joinpath(*folders, "analysis.json").read_text(encoding="utf-8")))

    cold, warm = analysis("cold", "match-01"), analysis("one", "match-01")
    assert cold["start_heat"] is analysis("one", "match-03")["start_heat"] is None
    assert warm["start_heat"]["after"] == "match-03"
    assert warm["start_heat"]["levels"]["launcher"] > 0.02
    assert warm["motors"]["launcher"]["peak_heat"] > cold["motors"]["launcher"]["peak_heat"] + 0.01
    event = json.loads((tmp_path / "one" / "event.json").read_text(encoding="utf-8"))
    assert event["matches"][1]["heat"]["launcher"]["peak"] == pytest.approx(
        warm["motors"]["launcher"]["peak_heat"], rel=0.01
    )
    page = (tmp_path / "one" / "match-01" / "index.html").read_text(encoding="utf-8")
    assert "Heat is carried over from match-03, 4\u00a0min without current before" in page
    assert "Heat is counted from a cold start" in (tmp_path / "cold" / "match-01" / "index.html").read_text(
        encoding="utf-8"
    )


def test_a_bad_sheet_is_said_and_the_logs_are_judged(run: Run, tmp_path: Path) -> None:
    (tmp_path / "m.csv").write_text("weather\nrain\n", encoding="utf-8")
    status, out, err = run("report", FIRST, "--robot", ROBOT, "--sheet", "m.csv")
    assert (status, "match-01:" in out) == (2, True)
    assert err.startswith("rattletrace: m.csv: looked for a match sheet")


def test_compare_gives_its_verdict_as_json(run: Run) -> None:
    second = next(SAMPLES.glob("match-02.*csv*"))
    status, out, err = run("compare", "--before", second, "--after", FIRST, THIRD, "--robot", ROBOT, "--json")
    assert (status, err) == (0, "")
    told = json.loads(out)
    assert (told["before"]["matches"], told["after"]["matches"]) == (1, 2)
    entry = next(one for one in told["sensors"] if (one["subject"], one["kind"]) == ("entry", "dropout"))
    assert entry["verdict"] in ("improved", "undecided")
    assert entry["before"]["faults"] > entry["after"]["faults"] == 0
    assert {"rate_ratio", "low", "high", "p", "clean_matches_needed", "text"} <= entry.keys()


def test_compare_refuses_a_log_on_both_sides(run: Run) -> None:
    status, _, err = run("compare", "--before", FIRST, "--after", FIRST, "--robot", ROBOT)
    assert status == 2
    assert err.startswith("rattletrace: match-01.csv: named both before and after")


def test_whatif_prints_a_table_and_draws(run: Run, tmp_path: Path) -> None:
    words = ("--debounce", "5ms,0.06s", "--stall-current", "30A", "--figure", "w.png")
    status, out, _ = run("whatif", THIRD, "--robot", ROBOT, *words)
    assert status == 0
    assert "       5 ms: " in out
    assert "healthy work stopped" in out
    assert (tmp_path / "w.png").read_bytes().startswith(b"\x89PNG")
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.parametrize("value", ["5", "5kg", "ms", "-5ms", "0ms", "5ms,,6ms"])
def test_whatif_refuses_what_is_no_time(run: Run, value: str) -> None:
    status, _, err = run("whatif", FIRST, f"--debounce={value}")
    assert status == 2
    assert "no value like 5ms" in err


def test_precheck_says_what_was_not_seen_and_ends_with_1(run: Run, tmp_path: Path) -> None:
    status, out, _ = run("precheck", FIRST, "--robot", ROBOT)
    assert status == 1
    lines = out.splitlines()
    assert lines[0].startswith("Caution: Put the robot on blocks")
    assert any(line.startswith("[x] seen") and "beam entry" in line for line in lines)
    assert any(line.startswith("[ ] not seen") and "motor intake" in line for line in lines)
    page = (tmp_path / "report" / "precheck-match-01.html").read_text(encoding="utf-8")
    assert page.index("on blocks") < page.index("intake")


def test_watch_reports_what_lands_and_survives_a_bad_log(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    shutil.copy(ROBOT, folder)
    (folder / "notes.csv").write_text("no log\n", encoding="utf-8")

    def land() -> None:
        time.sleep(0.4)
        shutil.copy(FIRST, folder)

    landing = threading.Thread(target=land)
    landing.start()
    status, out, err = run("watch", folder, "--every", "0.1", "--rest", "0.3", "--for", "2.5")
    landing.join()
    assert status == 0
    assert "match-01: " in out
    assert "rattletrace: notes.csv: " in err
    event = json.loads((tmp_path / "report" / "event.json").read_text(encoding="utf-8"))
    assert [match["name"] for match in event["matches"]] == ["match-01"]
    assert [file["file"] for file in event["unusable"]] == ["notes.csv"]


def test_watch_reads_a_log_again_that_went_away_while_it_was_read(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    shutil.copy(FIRST, stick)
    honest, pulled = batch.judged, []

    def pulls_once(path: Path, *rest: object, **named: object) -> object:
        if not pulled:
            pulled.append(path)
            path.rename(tmp_path / "away.csv")
            try:
                return honest(path, *rest, **named)  # type: ignore[arg-type]
            finally:
                threading.Timer(0.3, lambda: (tmp_path / "away.csv").rename(path)).start()
        return honest(path, *rest, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(batch, "judged", pulls_once)
    words = ("--robot", ROBOT, "--every", 0.1, "--rest", 0.1, "--for", 2.5)
    status, out, err = run("watch", stick, *words)
    assert (status, out.count("match-01: ")) == (0, 1)
    assert "match-01.csv: went away while it was read" in err


def test_watch_carries_heat_from_match_to_match(run: Run, tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    shutil.copy(THIRD, stick / "match-00.parquet")
    shutil.copy(FIRST, stick)
    sheet = "file,start time\nmatch-00.parquet,10:00\nmatch-01.csv,10:07\n"
    (stick / "matches.csv").write_text(sheet, encoding="utf-8")
    run("watch", stick, "--robot", ROBOT, "--every", 0.1, "--rest", 0, "--for", 0.2)
    told = json.loads((tmp_path / "report" / "match-01" / "analysis.json").read_text(encoding="utf-8"))
    assert told["start_heat"]["after"] == "match-00"


def test_watch_carries_heat_into_a_match_whose_predecessor_lands_after_it(run: Run, tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    shutil.copy(FIRST, stick)
    sheet = "file,start time\nmatch-03.parquet,10:00\nmatch-01.csv,10:07\n"
    (stick / "matches.csv").write_text(sheet, encoding="utf-8")
    landing = threading.Timer(1.2, lambda: shutil.copy(THIRD, stick))
    landing.start()
    run("watch", stick, "--robot", ROBOT, "--every", 0.1, "--rest", 0.2, "--for", 3)
    landing.join()
    told = json.loads((tmp_path / "report" / "match-01" / "analysis.json").read_text(encoding="utf-8"))
    assert told["start_heat"]["after"] == "match-03"


def test_watch_says_that_a_file_is_still_being_copied(run: Run, tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    whole = FIRST.read_bytes()

    def copies_slowly() -> None:
        with (stick / "match-01.csv").open("wb") as file:
            for part in range(4):
                file.write(whole[part * len(whole) // 4 : (part + 1) * len(whole) // 4])
                file.flush()
                time.sleep(0.2)

    copying = threading.Thread(target=copies_slowly)
    copying.start()
    status, out, err = run("watch", stick, "--robot", ROBOT, "--every", 0.1, "--rest", 0.5, "--for", 3)
    copying.join()
    assert (status, err) == (0, "")
    assert out.count("match-01.csv is still being copied") == 1
    assert out.index("still being copied") < out.index("match-01: 0 to fix")


def test_compare_without_a_robot_file_says_what_that_costs(run: Run) -> None:
    status, out, _ = run("compare", "--before", FIRST, "--after", THIRD)
    assert status == 0
    assert "Before: 1 match, " in out
    assert "name the robot file with --robot" in out


def test_watch_needs_a_folder(run: Run) -> None:
    status, _, err = run("watch", "nowhere")
    assert status == 2
    assert err.startswith("rattletrace: nowhere: looked for a folder")

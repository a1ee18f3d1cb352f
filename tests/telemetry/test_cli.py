"""The command by its contract: what it writes, what it says, and with which status it ends."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from telemetry.cli import main
from telemetry.robot_file import read_robot

SAMPLES = Path(__file__).parents[2] / "sample_logs"
ROBOT = SAMPLES / "robot.toml"


class Ended(NamedTuple):
    """How a call ended: exit status, standard output, lines of standard error."""

    status: int
    out: str
    complaints: list[str]


Run = Callable[..., Ended]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    monkeypatch.chdir(tmp_path)

    def call(*words: object) -> Ended:
        monkeypatch.setattr(sys, "argv", ["rattletrace", *map(str, words)])
        with pytest.raises(SystemExit) as end:
            main()
        said = capsys.readouterr()
        return Ended(int(end.value.code or 0), said.out, said.err.splitlines())

    return call


@pytest.fixture(scope="module")
def one_log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("one")
    shutil.copy(SAMPLES / "match-01.csv", folder)
    shutil.copy(ROBOT, folder)
    return folder


def _json(path: Path) -> dict[str, Any]:
    return json.loads(path.read_text(encoding="utf-8"))


class TestReport:
    def test_makes_a_page_a_match_and_one_for_the_event(self, run: Run, tmp_path: Path) -> None:
        logs = [SAMPLES / "match-01.csv", SAMPLES / "match-03.parquet"]
        ended = run("report", *logs, "--robot", ROBOT, "--out", "out")
        assert ended.status == 0
        assert ended.complaints == []
        written = {path.relative_to(tmp_path / "out").as_posix() for path in (tmp_path / "out").rglob("*.*")}
        per_match = {"index.html", "analysis.json", "findings.csv"}
        assert written == {"index.html", "event.json"} | {
            f"{match}/{name}" for match in ("match-01", "match-03") for name in per_match
        }

    def test_a_folder_stands_for_its_logs_and_brings_its_robot_file(
        self, run: Run, one_log: Path, tmp_path: Path
    ) -> None:
        assert run("report", one_log, "--out", "out").status == 0
        analysis = _json(tmp_path / "out" / "match-01" / "analysis.json")
        assert analysis["robot"] == "Jay"
        assert analysis["guesses"] == []

    def test_without_a_robot_file_roles_are_guessed_and_each_guess_is_named(
        self, run: Run, tmp_path: Path
    ) -> None:
        assert run("report", SAMPLES / "match-01.csv", "--out", "out").status == 0
        analysis = _json(tmp_path / "out" / "match-01" / "analysis.json")
        assert {"key": "supply.voltage", "channel": "battery_v"}.items() <= analysis["guesses"][
            0
        ].items() or any(
            guess["key"] == "supply.voltage" and guess["channel"] == "battery_v" and guess["why"]
            for guess in analysis["guesses"]
        )

    def test_a_wrong_file_among_them_costs_one_line_and_status_2_and_no_other_page(
        self, run: Run, tmp_path: Path
    ) -> None:
        (tmp_path / "shopping.csv").write_text("apples, pears\n", encoding="utf-8")
        ended = run("report", SAMPLES / "match-01.csv", "shopping.csv", "--robot", ROBOT, "--out", "out")
        assert ended.status == 2
        (line,) = ended.complaints
        assert line.startswith("rattletrace: ")
        assert "shopping.csv" in line
        assert (tmp_path / "out" / "match-01" / "index.html").is_file()
        event = _json(tmp_path / "out" / "event.json")
        assert [match["name"] for match in event["matches"]] == ["match-01"]

    def test_a_robot_file_with_mistakes_tells_them_all_and_judges_nothing(
        self, run: Run, tmp_path: Path
    ) -> None:
        wrong = ROBOT.read_text(encoding="utf-8").replace("capacity = 3", "capacity = -3\nwheels = 4", 1)
        (tmp_path / "robot.toml").write_text(wrong, encoding="utf-8")
        ended = run("report", SAMPLES / "match-01.csv", "--robot", "robot.toml", "--out", "out")
        assert ended.status == 2
        assert len(ended.complaints) == 2
        assert all(line.startswith("rattletrace: robot.toml") for line in ended.complaints)
        assert "wheels" in ended.complaints[1] or "wheels" in ended.complaints[0]

    def test_a_channel_that_the_log_lacks_names_the_nearest(self, run: Run, tmp_path: Path) -> None:
        wrong = ROBOT.read_text(encoding="utf-8").replace('"battery_v"', '"batery_v"', 1)
        (tmp_path / "robot.toml").write_text(wrong, encoding="utf-8")
        ended = run("report", SAMPLES / "match-01.csv", "--robot", "robot.toml", "--out", "out")
        assert ended.status == 2
        (line,) = ended.complaints
        assert "supply.voltage" in line
        assert '"battery_v"' in line

    @pytest.mark.parametrize(("level", "status"), [("fix", 1), ("watch", 1), ("note", 1)])
    def test_fail_on_ends_with_1_where_a_finding_is_that_grave(
        self, run: Run, level: str, status: int
    ) -> None:
        log = SAMPLES / "match-03.parquet"
        assert run("report", log, "--robot", ROBOT, "--out", "out", "--fail-on", level).status == status

    def test_fail_on_ends_with_0_on_a_clean_match(self, run: Run) -> None:
        log = SAMPLES / "match-01.csv"
        assert run("report", log, "--robot", ROBOT, "--out", "out", "--fail-on", "watch").status == 0

    def test_json_prints_the_event(self, run: Run, tmp_path: Path) -> None:
        ended = run("report", SAMPLES / "match-01.csv", "--robot", ROBOT, "--out", "out", "--json")
        assert json.loads(ended.out) == json.loads(
            (tmp_path / "out" / "event.json").read_text(encoding="utf-8")
        )

    def test_the_same_input_gives_the_same_bytes(self, run: Run, tmp_path: Path) -> None:
        for out in ("first", "second"):
            run("report", SAMPLES / "match-03.parquet", "--robot", ROBOT, "--out", out)
        for path in (tmp_path / "first").rglob("*.*"):
            assert (
                path.read_bytes() == (tmp_path / "second" / path.relative_to(tmp_path / "first")).read_bytes()
            )

    def test_inputs_are_left_as_they_were(self, run: Run, one_log: Path) -> None:
        before = {path.name: path.read_bytes() for path in one_log.iterdir()}
        run("report", one_log, "--out", "out")
        assert {path.name: path.read_bytes() for path in one_log.iterdir()} == before

    def test_two_logs_of_one_name_do_not_overwrite_each_other(
        self, run: Run, one_log: Path, tmp_path: Path
    ) -> None:
        shutil.copytree(one_log, tmp_path / "again")
        assert run("report", one_log, tmp_path / "again", "--out", "out").status == 0
        assert {path.name for path in (tmp_path / "out").iterdir() if path.is_dir()} == {
            "match-01",
            "match-01-2",
        }


class TestOtherCommands:
    def test_channels_tells_the_contract_in_json(self, run: Run) -> None:
        ended = run("channels", SAMPLES / "match-01.csv", "--robot", ROBOT, "--json")
        told = json.loads(ended.out)
        assert ended.status == 0
        assert told["schema"] == 1
        by_name = {channel["name"]: channel for channel in told["channels"]}
        assert by_name["battery_v"]["role"] == "supply.voltage"
        assert by_name["battery_v"]["rate_hz"] == pytest.approx(50, rel=0.05)

    def test_channels_for_people_names_every_channel_whole(self, run: Run) -> None:
        ended = run("channels", SAMPLES / "match-02.csv.gz")
        assert ended.status == 0
        assert "drive_right_current_a" in ended.out

    def test_a_draft_reads_back_as_a_robot_file(self, run: Run, tmp_path: Path) -> None:
        ended = run("draft", SAMPLES / "match-01.csv")
        (tmp_path / "robot.toml").write_text(ended.out, encoding="utf-8")
        robot = read_robot(tmp_path / "robot.toml")
        assert ended.status == 0
        assert robot.supply.voltage == "battery_v"
        assert set(robot.beams) == {"entry", "middle", "gate"}

    def test_simulate_writes_logs_that_report_can_read(self, run: Run, tmp_path: Path) -> None:
        assert run("simulate", "--matches", 1, "--seed", 9, "--out", "practice").status == 0
        assert run("report", "practice", "--out", "out").status == 0
        assert (tmp_path / "practice" / "match-01.truth.json").is_file()


@pytest.mark.parametrize(
    "words",
    [
        ["report"],
        ["report", "nothing-here.csv"],
        ["report", "."],
        ["channels", "nothing-here.csv"],
        ["draft", "nothing-here.parquet"],
        ["channels", str(SAMPLES / "match-01.csv"), "--robot", "nothing-here.toml"],
        ["channels", str(SAMPLES / "match-01.csv"), "--max-channels", "3"],
        ["simulate", "--matches", "0", "--out", "x"],
        ["no-such-command"],
        ["report", "--no-such-option", "x"],
    ],
)
def test_every_error_is_one_line_with_our_name_and_status_2(run: Run, words: list[str]) -> None:
    ended = run(*words)
    assert ended.status == 2
    (line,) = ended.complaints
    assert line.startswith("rattletrace: ")
    assert len(line) > len("rattletrace: ") + 10

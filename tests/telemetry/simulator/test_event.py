"""The small event: its forms, its troubles, its bytes."""

import json
from pathlib import Path
from typing import Any

import pytest

from telemetry.simulator import MatchPlan, simulate_event

PLAN = MatchPlan(autonomous_s=1.0, teleop_s=20.0, hits=10.0, endgame_s=0.0, climbs=False)


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return simulate_event(tmp_path_factory.mktemp("event"), matches=3, seed=7, plan=PLAN)


def faults(log: Path) -> list[dict[str, Any]]:
    stem = log.name.split(".")[0]
    truth = json.loads((log.parent / f"{stem}.truth.json").read_text(encoding="utf-8"))
    return list(truth["faults"])


def test_forms_take_turns(logs: list[Path]) -> None:
    assert [log.name for log in logs] == [
        "match-01.csv",
        "match-02.csv.gz",
        "match-03.parquet",
    ]
    assert (logs[0].parent / "robot.toml").exists()


def test_first_match_is_clean(logs: list[Path]) -> None:
    assert faults(logs[0]) == []


def test_second_match_has_a_beam_that_drops_out_after_hits(logs: list[Path]) -> None:
    dropouts = faults(logs[1])
    assert dropouts
    assert {(fault["kind"], fault["subject"]) for fault in dropouts} == {("dropout", "entry")}
    assert {fault["detail"]["state"] for fault in dropouts} == {"intermittent"}


def test_third_match_has_chatter_and_a_jam(logs: list[Path]) -> None:
    assert {fault["kind"] for fault in faults(logs[2])} == {"chatter", "stall"}


def test_same_seed_gives_the_same_bytes(logs: list[Path], tmp_path: Path) -> None:
    again = simulate_event(tmp_path, matches=2, seed=7, plan=PLAN)
    assert [log.read_bytes() for log in again] == [log.read_bytes() for log in logs[:2]]

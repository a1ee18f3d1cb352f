"""The sample event that comes with the sources: what it promises, and that the simulator still makes it."""

import json
from pathlib import Path
from typing import Any

import pytest

from telemetry.simulator import simulate_event

FOLDER = Path(__file__).parents[3] / "sample_logs"
SEED = 4


def truth(folder: Path, number: int) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(
        (folder / f"match-{number:02d}.truth.json").read_text(encoding="utf-8")
    )
    return loaded


def kinds(number: int) -> set[str]:
    return {fault["kind"] for fault in truth(FOLDER, number)["faults"]}


def test_sample_event_holds_logs_truth_and_robot_file_and_is_small() -> None:
    names = sorted(path.name for path in FOLDER.iterdir())
    truths = [f"match-{number:02d}.truth.json" for number in range(1, 7)]
    logs = [name for name in names if name.endswith((".csv", ".csv.gz", ".parquet"))]
    assert names == sorted([*logs, *truths, "robot.toml"])
    assert [name.split(".")[0] for name in logs] == [name.split(".")[0] for name in truths]
    assert sum(path.stat().st_size for path in FOLDER.iterdir()) < 6_000_000


def test_sample_event_holds_a_clean_match_and_the_promised_troubles() -> None:
    assert kinds(1) == set()
    assert kinds(2) == {"dropout"}
    assert kinds(3) == {"chatter", "stall"}


def test_sample_dropouts_falsify_rows_of_their_logs() -> None:
    faults = truth(FOLDER, 2)["faults"]
    assert len(faults) >= 3
    assert all(fault["detail"]["wrong_rows"] > 0 for fault in faults)


def test_sample_truth_tells_how_many_passes_each_dropout_hid() -> None:
    """A dropout while no piece went by shows in no log: the truth says so."""
    dropouts = [
        fault
        for number in range(1, 7)
        for fault in truth(FOLDER, number)["faults"]
        if fault["kind"] == "dropout"
    ]
    lost = [
        fault["detail"]["passes_lost"] for fault in dropouts if fault["detail"].get("state") == "intermittent"
    ]
    assert min(lost) >= 0
    assert max(lost) > 0


def test_sample_event_is_what_the_simulator_makes(tmp_path: Path) -> None:
    simulate_event(tmp_path, matches=1, seed=SEED)
    again, sample = truth(tmp_path, 1), truth(FOLDER, 1)
    assert again["robot"] == sample["robot"]
    assert again["contacts"] == sample["contacts"]
    assert again["releases_s"] == pytest.approx(sample["releases_s"], abs=0.005)
    assert again["supply"] == pytest.approx(sample["supply"], rel=0.001)
    assert (tmp_path / "robot.toml").read_bytes() == (FOLDER / "robot.toml").read_bytes()

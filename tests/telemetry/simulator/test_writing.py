"""The three forms of a log hold the same match; the robot file fits each."""

import gzip
import json
import math
import tomllib
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from telemetry.simulator import (
    BeamSpec,
    HoistSpec,
    LimitSpec,
    LoggerSpec,
    MatchPlan,
    RobotSpec,
    SimulatedMatch,
    TowerSpec,
    relog,
    simulate_match,
    write_match,
)

BRIEF = MatchPlan(disabled_before_s=1.0, autonomous_s=4.0, teleop_s=12.0, endgame_s=0.0, climbs=False)


@pytest.fixture(scope="module")
def brief() -> SimulatedMatch:
    return simulate_match(seed=2, plan=BRIEF, name="match-01")


def test_wide_csv_and_parquet_hold_the_same_table(brief: SimulatedMatch, tmp_path: Path) -> None:
    text = pl.read_csv(write_match(brief, tmp_path, "wide"), infer_schema_length=None)
    packed = pl.read_parquet(write_match(brief, tmp_path, "parquet"))
    assert text.columns == packed.columns
    assert text.equals(packed)
    assert text.height == len(brief.table.steps)


def test_long_csv_holds_every_number_and_each_change_of_a_switch(
    brief: SimulatedMatch, tmp_path: Path
) -> None:
    rows = pl.read_csv(write_match(brief, tmp_path, "long"), infer_schema=False)
    wide = pl.read_parquet(write_match(brief, tmp_path, "parquet"))
    feed = rows.filter(pl.col("channel") == "feed_current_a")["value"].cast(pl.Float64)
    assert feed.to_list() == wide["feed_current_a"].to_list()
    beam = wide["beam_entry"].to_list()
    changes = [value for n, value in enumerate(beam) if n == 0 or value != beam[n - 1]]
    logged = rows.filter(pl.col("channel") == "beam_entry")["value"].cast(pl.Int64).to_list()
    assert logged == changes
    assert len(changes) > 3
    assert rows["time_s"].cast(pl.Float64).is_sorted()


def test_compressed_log_holds_the_plain_one(brief: SimulatedMatch, tmp_path: Path) -> None:
    plain = write_match(brief, tmp_path, "long")
    packed = write_match(brief, tmp_path, "long", compressed=True)
    assert packed.name == "match-01.csv.gz"
    assert gzip.decompress(packed.read_bytes()) == plain.read_bytes()


def test_switches_on_change_leave_empty_cells(brief: SimulatedMatch, tmp_path: Path) -> None:
    match = relog(brief, LoggerSpec(switches_on_change=True))
    frame = pl.read_csv(write_match(match, tmp_path), infer_schema_length=None)
    assert frame["beam_entry"].null_count() > 0.9 * frame.height
    filled = frame["beam_entry"].forward_fill().to_list()
    assert filled == match.table.column("beam.entry").values.tolist()


@pytest.mark.parametrize(("unit", "second"), [("s", 1.0), ("ms", 1000), ("us", 1_000_000)])
def test_clock_runs_in_its_unit_from_its_start(
    brief: SimulatedMatch, unit: Any, second: float, tmp_path: Path
) -> None:
    match = relog(brief, LoggerSpec(time_unit=unit, clock_start_s=100.0))
    times = pl.read_csv(write_match(match, tmp_path))[f"time_{unit}"]
    assert times[0] == 100 * second
    assert times[-1] - times[0] == pytest.approx(match.truth["log"]["span_s"] * second)


def test_decimal_commas_come_with_their_delimiter(brief: SimulatedMatch, tmp_path: Path) -> None:
    logger = LoggerSpec(delimiter=";", decimal_comma=True)
    match = relog(brief, logger)
    header, first, *_ = write_match(match, tmp_path).read_text(encoding="utf-8").splitlines()
    assert first.count(";") == header.count(";")
    assert first.startswith("0,0;disabled;")
    assert "." not in first


def test_same_seed_gives_the_same_bytes(brief: SimulatedMatch, tmp_path: Path) -> None:
    again = simulate_match(seed=2, plan=BRIEF, name="match-01")
    other = simulate_match(seed=3, plan=BRIEF, name="match-01")
    for form in ("wide", "long", "parquet"):
        paths = [write_match(match, tmp_path / str(n), form) for n, match in enumerate((brief, again, other))]
        first, second, third = (path.read_bytes() for path in paths)
        assert first == second
        assert first != third
    truths = [(tmp_path / str(n) / "match-01.truth.json").read_bytes() for n in (0, 1)]
    assert truths[0] == truths[1]


def test_files_are_replaced_whole_and_nothing_is_left_beside_them(
    brief: SimulatedMatch, tmp_path: Path
) -> None:
    (tmp_path / "match-01.csv").write_text("old")
    write_match(brief, tmp_path)
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["match-01.csv", "match-01.truth.json", "robot.toml"]
    assert (tmp_path / "match-01.csv").stat().st_size > 10_000


def test_truth_is_json_without_nan(brief: SimulatedMatch, tmp_path: Path) -> None:
    write_match(brief, tmp_path)

    def refuse(word: str) -> None:
        raise AssertionError(word)

    truth = json.loads((tmp_path / "match-01.truth.json").read_text(encoding="utf-8"), parse_constant=refuse)
    assert truth["schema"] == 1
    assert truth == json.loads(json.dumps(brief.truth))


def test_robot_file_names_only_channels_of_the_log(brief: SimulatedMatch) -> None:
    robot = tomllib.loads(brief.robot_toml)
    names = {column.name for column in brief.table.columns}
    used = {motor[key] for motor in robot["motors"].values() for key in ("current", "command", "speed")}
    used |= {part["signal"] for kind in ("beams", "limits") for part in robot[kind].values()}
    used |= {*robot["contact"]["accelerometer"], robot["supply"]["voltage"], robot["supply"]["current"]}
    used |= {robot["match"]["phase"], robot["indicator"]["signal"]}
    assert used <= names
    assert len(used) == 18 + 3 + 2 + 2 + 2 + 2


def test_robot_file_tells_the_data_sheet_and_the_polarity(brief: SimulatedMatch) -> None:
    robot = tomllib.loads(brief.robot_toml)
    feed, entry = robot["motors"]["feed"], robot["beams"]["entry"]
    assert (feed["free_speed_rpm"], feed["stall_current_a"], feed["reduction"]) == (5300, 130, 5)
    resistance, speed = 12 / 130, 5300 * math.pi / 30
    constant = (12 - 1.8 * resistance) / speed
    assert feed["stall_torque_nm"] == pytest.approx(constant * (130 - 1.8), rel=1e-3)
    assert entry == {
        "signal": "beam_entry",
        "broken": 0,
        "station": 1,
        "unplugged": "clear",
        "harness": "tower loom",
    }


def test_a_strange_robot_gets_a_robot_file_that_fits_it() -> None:
    beams = (
        BeamSpec(name='b "1"', position_m=0.2, broken="zu", clear="auf", unplugged="broken", harness=None),
    )
    arm = HoistSpec(low=LimitSpec(name="unten", pressed=False, released=True))
    logger = LoggerSpec(
        names={"feed.current": "Band [x]", "time": "Zeit"},
        time_unit="ms",
        current_unit="mA",
        omit=("mode", "loaded", "accel"),
    )
    spec = RobotSpec(name="Zaunkönig", tower=TowerSpec(beams=beams), arm=arm)
    match = simulate_match(spec, seed=2, plan=BRIEF, logger=logger)
    robot = tomllib.loads(match.robot_toml)
    assert robot["robot"]["name"] == "Zaunkönig"
    assert robot["log"] == {"time": "Zeit", "time_unit": "ms", "units": {"Band [x]": "mA"}}
    assert "phase" not in robot["match"]
    assert "indicator" not in robot
    assert "accelerometer" not in robot["contact"]
    assert robot["beams"]['b "1"']["broken"] == "zu"
    assert robot["limits"]["unten"]["pressed"] is False

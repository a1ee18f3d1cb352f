"""Readers that know nothing of the simulator understand what it writes."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from parsers import read_log
from telemetry.robot_file import read_robot
from telemetry.simulator import LoggerSpec, SimulatedMatch, relog, write_match
from telemetry.simulator.machine import STEP_S


@pytest.mark.parametrize("form", ["wide", "long", "parquet"])
def test_every_form_is_read_as_it_was_meant(troubled: SimulatedMatch, tmp_path: Path, form: Any) -> None:
    log = read_log(write_match(troubled, tmp_path, form))
    assert log.repairs == ()
    assert log.shape == ("long" if form == "long" else "wide")
    assert log.channels["feed_current_a"].t_s == pytest.approx(troubled.table.steps * STEP_S, abs=1e-6)
    assert set(log.channels) == {column.name for column in troubled.table.columns}
    feed = log.channels["feed_current_a"]
    assert np.array_equal(feed.values, troubled.table.column("feed.current").values)


def test_robot_file_is_accepted_with_the_channels_of_its_log(clean: SimulatedMatch, tmp_path: Path) -> None:
    log = read_log(write_match(clean, tmp_path))
    robot = read_robot(tmp_path / "robot.toml", channels=log.channels)
    assert robot.robot.name == "Jay"
    assert robot.motors["feed"].stall_current_a == 130
    assert robot.beams["gate"].station == 3


def test_clock_and_units_of_another_logger_are_understood(clean: SimulatedMatch, tmp_path: Path) -> None:
    logger = LoggerSpec(
        rate_hz=20.0,
        time_unit="us",
        clock_start_s=500.0,
        current_unit="mA",
        delimiter=";",
        decimal_comma=True,
    )
    match = relog(clean, logger)
    log = read_log(write_match(match, tmp_path))
    assert log.t_s == pytest.approx(match.table.steps * STEP_S, abs=1e-6)
    current = log.channels["feed_current_ma"]
    assert current.canonical() == pytest.approx(match.table.column("feed.current").values / 1000)

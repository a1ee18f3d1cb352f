from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given

from reports.draft import draft_text
from telemetry.guessing import guess_robot
from telemetry.log import Log
from telemetry.robot import Robot
from telemetry.robot_file import read_robot
from tests.telemetry.logs import log_of, numbers, switch, words
from tests.telemetry.test_guessing import any_logs

JAY = log_of(
    words("mode", ["disabled", "auto", "teleop"], [0, 3, 18]),
    numbers("battery_v", [12.5, 11.0]),
    numbers("feed_current_a", [0.0, 20.0]),
    numbers("feed_duty", [0.0, 0.7]),
    numbers("hoist_current_a", [0.0, 20.0]),
    numbers("accel_x_g", [0.0, 0.1]),
    switch("beam_entry", [1, 0, 1, 1], [0, 10, 11, 40]),
    switch("beam_gate", [1, 0, 1, 1], [0, 12, 13, 40]),
    switch("limit_hoist_low", [0, 1, 0, 0], [0, 12, 13, 40]),
    numbers("hopper_range_mm", [80.0, 60.0]),
    switch("loaded_light", [0, 1]),
    numbers("gyro_temperature_c", [30.0]),
)


def drafted(log: Log) -> tuple[str, Robot]:
    robot, guesses = guess_robot(log)
    return draft_text(log, robot, guesses), robot


def read_back(text: str) -> Robot:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "robot.toml"
        path.write_text(text, encoding="utf-8")
        return read_robot(path)


def test_it_reads_back_as_the_guessed_robot() -> None:
    text, robot = drafted(JAY)
    assert read_back(text) == robot
    assert len(robot.references()) == 11


@given(any_logs())
def test_whatever_the_log_it_reads_back_as_the_guessed_robot(log: Log) -> None:
    text, robot = drafted(log)
    assert read_back(text) == robot


@given(any_logs())
def test_whatever_the_log_it_is_safe_to_print(log: Log) -> None:
    text, _ = drafted(log)
    assert all(line.isprintable() for line in text.split("\n"))


def test_each_guess_stands_with_its_reason() -> None:
    robot, guesses = guess_robot(JAY)
    lines = draft_text(JAY, robot, guesses).split("\n")
    for guess in guesses:
        assert any(f'"{guess.channel}"' in line and guess.why[:60] in line for line in lines), guess


def test_what_is_left_to_fill_in_stands_as_comments_that_work_when_uncommented() -> None:
    text, robot = drafted(JAY)
    wanted = (
        "# stall_current_a = 130",
        '# unplugged = "clear"',
        "# near = 60",
        "# capacity = 3",
        "# [robot]",
    )
    for line in wanted:
        assert line in text
        text = text.replace(line, line.removeprefix("# "))
    filled = read_back(text)
    assert filled.motors["feed"].stall_current_a == 130
    assert filled.beams["gate"].unplugged == "clear"
    assert filled.ranges["hopper"].near == 60
    assert filled.robot.capacity == 3
    assert filled.references() == robot.references()


def test_every_commented_example_is_valid_toml_of_a_robot_file() -> None:
    text, _ = drafted(log_of(switch("beam_entry", [0, 1])))
    examples = [line.removeprefix("# ") for line in text.split("\n") if line.startswith("# ")]
    table = examples.index("[robot]")
    assert read_back("\n".join(examples[table : table + 6])).robot.name == "Jay"


def test_channels_without_a_role_are_listed() -> None:
    text, _ = drafted(JAY)
    assert text.endswith("# Channels without a role:\n#   gyro_temperature_c\n")


@pytest.mark.parametrize("name", ['beam "\\"\n[motors.x]\x1b[2J\u202e', "beam_'''\"\"\"", "beam \u2028 # ]"])
def test_hostile_names_are_escaped(name: str) -> None:
    text, robot = drafted(log_of(switch(name, [0, 1, 0, 0])))
    assert [beam.signal for beam in read_back(text).beams.values()] == [name]
    assert read_back(text) == robot


def test_a_channel_of_numbers_named_like_a_phase_is_pointed_at() -> None:
    text, _ = drafted(log_of(numbers("mode", [0.0, 1.0])))
    assert '# phase = "mode"  # named like a phase, but only you know its numbers:' in text

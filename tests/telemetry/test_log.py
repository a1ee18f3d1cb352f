"""Channels in canonical units, values of the robot file in them, and the parts of a log."""

from __future__ import annotations

import dataclasses

import pytest

from telemetry.log import Channel, Log
from tests.telemetry.logs import log_of, numbers, switch, words


def _change_log() -> Log:
    """A switch that changes at 2, 5 and 9 s, beside a number read every second."""
    changes = switch("beam", [0, 1, 0, 1], [0, 2, 5, 9])
    return log_of(dataclasses.replace(changes, sampled=False), numbers("load_a", range(11)))


# Units


@pytest.mark.parametrize(
    ("name", "value", "canonical"),
    [
        ("feed_current_ma", 1500.0, 1.5),
        ("feed_rpm", 60.0, 6.283185307179586),
        ("accel_m_s2", 9.80665, 1.0),
        ("hopper_cm", 6.0, 60.0),
        ("feed_c", 41.0, 41.0),
        ("load [%]", 35.0, 0.35),
        ("mystery", 7.0, 7.0),
    ],
)
def test_a_number_is_brought_to_the_canonical_unit(name: str, value: float, canonical: float) -> None:
    assert numbers(name, [value]).canonical().tolist() == pytest.approx([canonical])


def test_the_logged_values_stay_as_they_are() -> None:
    channel = numbers("feed_current_ma", [1500.0, 20.0])
    channel.canonical()
    assert channel.values.tolist() == [1500.0, 20.0]


# Values of the robot file


@pytest.mark.parametrize("value", [1, True, 1.0, "1", " 1 "])
def test_a_switch_of_noughts_and_ones(value: bool | int | float | str) -> None:
    assert switch("beam", [0, 1, 1]).equals(value).tolist() == [False, True, True]


@pytest.mark.parametrize("value", [1, True, "true", "TRUE"])
def test_a_switch_of_true_and_false(value: bool | int | str) -> None:
    assert switch("beam", [0, 1], labels=("False", "True")).equals(value).tolist() == [False, True]


@pytest.mark.parametrize(
    ("value", "expected"), [("open", [True, False]), ("Shut", [False, True]), ("ajar", [False, False])]
)
def test_a_switch_of_words(value: str, expected: list[bool]) -> None:
    assert switch("door", [0, 1], labels=("open", "shut")).equals(value).tolist() == expected


def test_a_text_by_its_words() -> None:
    mode = words("mode", ["Disabled", "auto", "teleop", "auto"])
    assert mode.equals("AUTO").tolist() == [False, True, False, True]
    assert mode.equals("endgame").tolist() == [False] * 4
    assert mode.code_of("endgame") is None


@pytest.mark.parametrize(("value", "spelling"), [(2, "2"), (True, "true"), (1.5, "1.5")])
def test_a_text_that_spells_a_number(value: bool | int | float, spelling: str) -> None:
    assert words("mode", ["off", spelling]).equals(value).tolist() == [False, True]


def test_a_number_by_its_value() -> None:
    assert numbers("mode", [0, 1, 2, 1]).equals(1).tolist() == [False, True, False, True]


def test_a_number_is_never_a_word() -> None:
    assert numbers("mode", [0, 1]).equals("auto").tolist() == [False, False]


# Parts of a log


def test_a_part_is_half_open_and_keeps_the_clock() -> None:
    part = log_of(numbers("load_a", range(11))).between(3, 6)
    assert part.t_s.tolist() == [3, 4, 5]
    assert part.rows == 3
    assert part.channels["load_a"].t_s.tolist() == [3, 4, 5]
    assert part.channels["load_a"].values.tolist() == [3, 4, 5]


def test_a_change_logs_state_is_carried_into_a_part() -> None:
    beam = _change_log().between(3, 8).channels["beam"]
    assert beam.t_s.tolist() == [3, 5]
    assert beam.values.tolist() == [1, 0]


def test_a_part_without_a_change_still_has_the_state() -> None:
    beam = _change_log().between(6, 8).channels["beam"]
    assert (beam.t_s.tolist(), beam.values.tolist()) == ([6], [0])


def test_a_change_just_where_a_part_begins_is_not_doubled() -> None:
    beam = _change_log().between(5, 8).channels["beam"]
    assert (beam.t_s.tolist(), beam.values.tolist()) == ([5], [0])


def test_nothing_is_carried_in_before_the_first_record() -> None:
    log = log_of(dataclasses.replace(switch("beam", [1], [4]), sampled=False), numbers("load_a", range(11)))
    assert log.between(1, 3).channels["beam"].t_s.tolist() == []
    assert log.between(1, 6).channels["beam"].t_s.tolist() == [4]


def test_a_sampled_channel_carries_nothing_in() -> None:
    log = log_of(switch("beam", [1, 0], [0, 9]), numbers("load_a", range(11)))
    assert log.between(3, 8).channels["beam"].t_s.tolist() == []


def test_the_span_runs_to_the_last_record() -> None:
    assert log_of(numbers("load_a", [1, 2, 3], [0, 2, 7])).span_s == 7
    assert log_of().span_s == 0


def test_the_parts_of_a_log_make_the_whole() -> None:
    log = _change_log()
    parts = [log.between(*window).channels["load_a"] for window in ((0, 4), (4, 7.5), (7.5, 99))]
    assert [load for part in parts for load in part.values.tolist()] == list(range(11))


def test_a_channel_of_one_name_is_found_by_it_whole() -> None:
    hostile = "=cmd|' /C calc'!A0 [A]"
    channel: Channel = log_of(numbers(hostile, [1])).channels[hostile]
    assert channel.unit == "A"

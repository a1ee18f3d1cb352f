"""Cycles: from volley to volley, and where the time went."""

from __future__ import annotations

from dataclasses import replace

import pytest

from telemetry.estimators.cycles import SAME_VOLLEY_S, find_cycles
from telemetry.match import Match
from telemetry.records.pieces import Count, Pieces, PieceStep

MATCH = Match("match-01", 10.0, 100.0, (0.0, 110.0), (), "channel")


def _pieces(entries_s: list[float], releases_s: list[float]) -> Pieces:
    none = Count(0, 0, 0)
    return Pieces(none, none, (), tuple(entries_s), tuple(releases_s))


def test_a_match_written_out() -> None:
    """Two pieces in, a volley of two; three in, one out and two more four seconds later; one left aboard."""
    story = _pieces([12.0, 15.0, 40.0, 41.5, 44.0, 80.0], [20.0, 20.8, 60.0, 64.0, 65.0])
    first, second, third, last = find_cycles(story, MATCH)
    assert (first.number, first.start_s, first.end_s, first.pieces) == (1, 10.0, 20.8, 2)
    assert first.stages == pytest.approx({"collect": 2.0, "load": 3.0, "carry": 5.0, "release": 0.8})
    assert (second.start_s, second.end_s, second.pieces) == (20.8, 60.0, 1)
    assert second.stages == pytest.approx({"collect": 19.2, "load": 4.0, "carry": 16.0, "release": 0.0})
    assert (third.start_s, third.end_s, third.pieces) == (60.0, 65.0, 2)
    assert third.stages == pytest.approx({"collect": 0.0, "load": 0.0, "carry": 4.0, "release": 1.0})
    assert (last.number, last.start_s, last.end_s, last.pieces, last.open) == (4, 65.0, 100.0, 0, True)
    assert last.stages == pytest.approx({"collect": 15.0, "load": 0.0, "carry": 20.0})
    assert not any(cycle.open for cycle in (first, second, third))


@pytest.mark.parametrize(("apart_s", "volleys"), [(SAME_VOLLEY_S - 0.01, 1), (SAME_VOLLEY_S, 2), (4.01, 2)])
def test_releases_less_than_four_seconds_apart_are_one_volley(apart_s: float, volleys: int) -> None:
    cycles = find_cycles(_pieces([], [20.0, 20.0 + apart_s]), MATCH)
    assert sum(not cycle.open for cycle in cycles) == volleys


def test_a_piece_collected_between_parts_two_volleys() -> None:
    cycles = find_cycles(_pieces([12.0, 21.0], [20.0, 22.0]), MATCH)
    assert [cycle.end_s for cycle in cycles] == [20.0, 22.0, 100.0]


def test_a_volley_counts_from_release_to_release() -> None:
    """Each is less than four seconds after the one before, though the last is seven after the first."""
    first, _last = find_cycles(_pieces([], [20.0, 23.5, 27.0]), MATCH)
    assert (first.pieces, first.stages["release"]) == (3, 7.0)


def test_the_stages_make_the_cycle() -> None:
    story = _pieces([12.0, 15.0, 40.0, 41.5, 44.0, 80.0], [20.0, 20.8, 60.0, 64.0, 65.0])
    for cycle in find_cycles(story, MATCH):
        assert sum(cycle.stages.values()) == pytest.approx(cycle.end_s - cycle.start_s)


def test_a_match_without_a_release_is_one_open_cycle() -> None:
    (cycle,) = find_cycles(_pieces([30.0], []), MATCH)
    assert (cycle.start_s, cycle.end_s, cycle.open) == (10.0, 100.0, True)


def test_a_release_after_the_end_leaves_no_open_cycle() -> None:
    (cycle,) = find_cycles(_pieces([], [100.4]), MATCH)
    assert (cycle.end_s, cycle.open) == (100.4, False)


def _emptied(aboard: int) -> Pieces:
    steps = (PieceStep(10.0, 1 + aboard, 0.9, 1, 3), PieceStep(20.1, aboard, 0.9, 0, 2))
    return replace(_pieces([], [20.0]), timeline=steps)


def test_an_empty_robot_collects_until_the_end_and_carries_nothing() -> None:
    assert find_cycles(_emptied(0), MATCH)[-1].stages == pytest.approx({"collect": 80.0})


def test_a_piece_left_aboard_is_carried_until_the_end() -> None:
    assert find_cycles(_emptied(1), MATCH)[-1].stages["carry"] == pytest.approx(80.0)


def test_pieces_that_came_in_before_the_start_are_not_collected() -> None:
    first, _open = find_cycles(_pieces([4.0], [30.0]), MATCH)
    assert first.stages == pytest.approx({"collect": 0.0, "load": 0.0, "carry": 20.0, "release": 0.0})


def test_no_story_no_cycles() -> None:
    assert find_cycles(None, MATCH) == ()

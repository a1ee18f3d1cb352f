"""Times and numbers as they stand in sentences."""

from __future__ import annotations

import pytest

from telemetry.match import Match
from telemetry.wording import counted, match_clock, when

MATCH = Match("match-01", 3.1, 153.1, (0.0, 160.0), (), "channel")


@pytest.mark.parametrize(
    ("t_s", "spelled"),
    [
        (3.1, "0:00.0"),
        (3.149, "0:00.0"),
        (3.151, "0:00.1"),
        (61.4, "0:58.3"),
        (63.04, "0:59.9"),
        (63.06, "1:00.0"),
        (123.1, "2:00.0"),
        (703.1, "11:40.0"),
        (2.1, "-0:01.0"),
        (3.08, "0:00.0"),
    ],
)
def test_match_time(t_s: float, spelled: str) -> None:
    assert match_clock(MATCH, t_s) == spelled


def test_an_interval_is_told_by_both_ends_unless_they_look_the_same() -> None:
    assert when(MATCH, 61.4, 74.1) == "0:58.3 to 1:11.0"
    assert when(MATCH, 61.40, 61.42) == "0:58.3"


@pytest.mark.parametrize(("number", "spelled"), [(0, "0 dips"), (1, "1 dip"), (2, "2 dips")])
def test_plural(number: int, spelled: str) -> None:
    assert counted(number, "dip") == spelled


def test_a_plural_of_its_own() -> None:
    assert counted(2, "match", "matches") == "2 matches"
    assert counted(1, "match", "matches") == "1 match"

"""The order of an event's matches, by sheet, clock or name."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.event_records import event_json
from reports.json_values import json_text
from telemetry.event import Unusable, event_from
from telemetry.match_sheet import MatchSheet, SheetRow, clock_s, natural_key, ordered
from tests.telemetry.facts import match_facts, motor_facts


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("14:05", 50700.0),
        ("9:05:30", 32730.0),
        ("2:05 pm", 50700.0),
        ("1970-01-05T00:00", 345600.0),
        ("1970-01-05T02:00+02:00", 345600.0),
        ("25:00", None),
        ("soon", None),
        ("", None),
    ],
)
def test_a_start_time(text: str, seconds: float | None) -> None:
    assert clock_s(text) == seconds


def test_names_sort_as_people_do() -> None:
    names = ["match-10", "Match-2", "match-1", "final"]
    assert sorted(names, key=natural_key) == ["final", "match-1", "Match-2", "match-10"]


def _names(facts: list, sheet: MatchSheet | None = None) -> tuple[list[str], str]:  # type: ignore[type-arg]
    found, told = ordered(facts, sheet)
    return [one.name for one in found], told


def test_the_sheet_goes_first_then_the_clock_then_the_name() -> None:
    clocked = [match_facts("b", start_epoch_s=1.0), match_facts("a", start_epoch_s=2.0)]
    assert _names(clocked) == (["b", "a"], "clock")
    assert _names([*clocked, match_facts("c")]) == (["a", "b", "c"], "name")
    sheet = MatchSheet((SheetRow("a.csv", start_s=60.0), SheetRow("b.csv", start_s=30.0)))
    assert _names([*clocked, match_facts("c")], sheet) == (["b", "a", "c"], "match sheet")


def test_without_times_the_rows_of_the_sheet_are_the_order() -> None:
    sheet = MatchSheet((SheetRow("b.csv"), SheetRow("a.csv", start_s=30.0)))
    assert _names([match_facts("a"), match_facts("b")], sheet)[0] == ["b", "a"]


def test_a_row_without_a_time_keeps_its_place_below_the_row_above_it() -> None:
    rows = (SheetRow("c.csv", start_s=90.0), SheetRow("d.csv"), SheetRow("a.csv", start_s=30.0))
    facts = [match_facts(name) for name in "abcd"]
    assert _names(facts, MatchSheet(rows))[0] == ["a", "c", "d", "b"]
    mixed = MatchSheet((SheetRow("b.csv", start_s=1.8e9), SheetRow("a.csv", start_s=30.0)))
    assert _names(facts, mixed)[0] == ["b", "a", "c", "d"]


def test_lines_without_a_log_are_said_and_so_is_what_was_mended() -> None:
    rows = (*(SheetRow(f"m{n}.csv") for n in range(3)), SheetRow("", match="Q9"))
    event = event_from([match_facts("m0")], unusable=[Unusable("m1.csv", "empty")], sheet=MatchSheet(rows))
    assert event.sheet_notes == ("2 lines are of a match that no log was given of: m2.csv, Q9.",)
    assert event_from([match_facts("m0")], sheet=MatchSheet(rows[:1])).sheet_notes == ()


def test_the_sheets_battery_and_driver_group_the_matches() -> None:
    facts = [match_facts(f"m{n}", cycles=[(10.0 + 5 * (n % 2), False)] * 4) for n in range(4)]
    rows = tuple(SheetRow(f"m{n}.csv", driver="AB"[n % 2], start_s=600.0 * n) for n in range(4))
    event = event_from(facts, sheet=MatchSheet(rows))
    drivers = {group.name: group for group in event.groups if group.by == "driver"}
    assert drivers["A"].matches == ("m0", "m2")
    assert drivers["B"].shift_s == pytest.approx(5.0)
    assert [record.pause_s for record in event.records] == [None, 444.0, 444.0, 444.0]


@given(st.randoms(use_true_random=False))
def test_the_order_in_which_files_are_given_changes_nothing(chance: random.Random) -> None:
    facts = [
        match_facts(f"m{n}", faults={("dropout", "entry"): n}, motors={"feed": motor_facts(4.0 + n)})
        for n in range(6)
    ]
    unusable = [Unusable("x.csv", "x.csv: empty"), Unusable("y.csv", "y.csv: empty")]
    expected = json_text(event_json(event_from(facts, unusable=unusable)))
    chance.shuffle(facts)
    chance.shuffle(unusable)
    assert json_text(event_json(event_from(facts, unusable=unusable))) == expected

"""Tables of limits and distance sensors: figures with units, and where they are not known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from reports.page import match_page
from reports.sensor_tables import range_table, travel_table
from reports.tables import Table
from telemetry.records.sensors import RangeUse, Travel
from tests.reports.pages import read_page
from tests.reports.synthetic_match import synthetic_analysis
from tests.telemetry.building import analysis_of, robot_of
from tests.telemetry.logs import log_of, numbers

RANGED = analysis_of(
    robot_of('[ranges.hopper]\nsignal = "hopper_mm"\nnear = 60\n'), log_of(numbers("hopper_mm", [1.0] * 101))
)
USE = RangeUse(2.12, 40.0, 150.0, np.empty(0), 0.0, 60.0, 30, 20, 95.0, 44.0, 21)


def _texts(table: Table) -> list[list[str]]:
    return [[cell.text for cell in row] for row in table.rows]


def test_a_way_from_limit_to_limit_with_its_time_and_charge() -> None:
    known = replace(
        RANGED,
        travels=(
            Travel("arm", "low", "high", 61.0, 62.4, 31.3, 44.0, 300.0),
            Travel("arm", "a", "b", 5.0, 7.0),
        ),
    )
    first, second = _texts(travel_table(known))
    assert [first[0], first[1], *first[3:]] == ["low to high", "arm", "1.4 s", "31.3 A·s", "44.0 A"]
    assert second[3:] == ["2.0 s", "–", "–"]


def test_a_distance_sensor_with_the_setting_that_would_have_worked() -> None:
    (row,) = _texts(range_table(replace(RANGED, range_use={"hopper": USE})))
    assert row == ["hopper", "2.1 mm", "40.0 and 150 mm", "60.0 mm", "30", "20", "95.0 mm, hysteresis 44 mm"]


def test_one_level_has_no_setting_that_works() -> None:
    flat = replace(USE, near_level=None, far_level=None, better_threshold=None)
    (row,) = _texts(range_table(replace(RANGED, range_use={"hopper": flat})))
    assert (row[2], row[-1]) == ("one level only", "–")


def test_the_page_shows_ways_only_where_there_are_some() -> None:
    known = synthetic_analysis()
    caption = "Travel from one limit to the other"
    assert caption not in read_page(match_page(replace(known, travels=()))).words
    way = Travel("hoist", "<low>", "high", 61.0, 62.4)
    words = read_page(match_page(replace(known, travels=(way,)))).words
    assert caption in words
    assert "<low> to high" in words

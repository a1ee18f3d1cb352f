"""What the cursor reads, unpacked the way the page's script does."""

from __future__ import annotations

from typing import Any

import numpy as np

from reports.drawing import Axis
from reports.readings import Grid, grid_of, number_reading, words_reading


def unpacked(reading: dict[str, Any]) -> list[float | None]:
    value, values = 0, []
    for step in reading["steps"]:
        value += step or 0
        values.append(None if step is None else value / 10 ** reading["places"])
    return values


def told(reading: dict[str, Any]) -> list[tuple[int, str]]:
    """(milliseconds, text) in turn."""
    return [
        (ms, reading["words"][n]) for ms, n in zip(reading["runs"][::2], reading["runs"][1::2], strict=True)
    ]


def test_the_grid_stands_on_round_match_times() -> None:
    grid = grid_of(Axis(0.05, 10.0, 3.12))

    assert np.allclose((grid.times_s() - 3.12) * 10, np.round((grid.times_s() - 3.12) * 10))
    assert 0.05 <= grid.times_s()[0] < 0.15
    assert 9.9 < grid.times_s()[-1] <= 10.0


def test_a_long_log_gets_a_wider_grid() -> None:
    grid = grid_of(Axis(0.0, 3600.0, 0.0))

    assert grid.step_s == 2.0
    assert grid.count == 1801


def test_the_latest_value_at_or_before_each_instant() -> None:
    reading = number_reading(
        Grid(0.0, 0.1, 4),
        np.array([0.0, 0.1, 0.16, 0.3]),
        np.array([1.0, 2.0, 3.26, 4.0]),
        unit="A",
        places=1,
    )

    assert unpacked(reading) == [1.0, 2.0, 3.3, 4.0]


def test_no_value_stands_inside_a_gap_or_where_none_is_known() -> None:
    t_s = np.array([0.1, 0.2, 0.3, 0.9, 1.0])
    values = np.array([1.0, 2.0, np.nan, 4.0, 5.0])

    reading = number_reading(Grid(0.0, 0.1, 11), t_s, values, unit="A", places=0)

    assert unpacked(reading) == [None, 1, 2, None, None, None, None, None, None, 4, 5]


def test_negative_values_come_back() -> None:
    reading = number_reading(
        Grid(0.0, 1.0, 3), np.arange(3.0), np.array([-1.5, 2.0, -3.0]), unit="A", places=1
    )

    assert unpacked(reading) == [-1.5, 2.0, -3.0]


def test_texts_stand_at_their_millisecond_and_the_last_of_several_counts() -> None:
    changes = [(-1.0, "before"), (0.1, "one"), (0.2101, "two"), (0.2104, "three"), (0.6, "after the end")]

    reading = words_reading(Grid(0.0, 0.1, 6), changes, "none")

    assert told(reading) == [(0, "before"), (100, "one"), (210, "three")]


def test_hostile_texts_are_made_visible() -> None:
    reading = words_reading(Grid(0.0, 0.1, 2), [(0.0, "a\u202eb")])

    assert reading["words"] == ["a\\u202eb"]

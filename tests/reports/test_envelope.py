"""Paths that keep every spike, show every gap, and grow with pixels, not with rows."""

from __future__ import annotations

import re

import numpy as np
import pytest

from reports.drawing import COLUMNS, LEVELS, Axis
from reports.envelope import band_path, bars_path, line_path, steps_path

AXIS = Axis(0.0, 120.0, 0.0)


def points(path: str) -> list[list[tuple[float, float]]]:
    """The corners of each unbroken stretch of a path, read back from its text."""
    stretches = []
    for part in path.rstrip("z").split("M")[1:]:
        start, _, rest = part.partition("l")
        x, y = (float(word) for word in re.findall(r"-?\d+", start.partition("h")[0]))
        steps = [int(word) for word in re.findall(r"-?\d+", rest)]
        corners = [(x, y)]
        for dx, dy in zip(steps[::2], steps[1::2], strict=True):
            corners.append((corners[-1][0] + dx, corners[-1][1] + dy))
        stretches.append(corners)
    return stretches


def test_few_samples_are_drawn_as_they_are() -> None:
    path = line_path(np.array([0.0, 60.0, 120.0]), np.array([0.0, 10.0, 5.0]), AXIS, 0, 10)

    assert points(path) == [[(0, 100), (600, 0), (1200, 50)]]


def test_one_spike_among_many_rows_is_kept() -> None:
    t_s = np.arange(0, 120, 0.001)
    values = np.zeros(len(t_s))
    values[77_777] = 10.0

    highest = min(points(line_path(t_s, values, AXIS, 0, 10))[0], key=lambda corner: corner[1])

    assert highest == (777, 0)


def test_every_column_reaches_its_least_and_greatest_value() -> None:
    rng = np.random.default_rng(3)
    t_s, values = np.arange(0, 120, 0.01), rng.uniform(0, 10, 12_000)
    drawn = points(line_path(t_s, values, AXIS, 0, 10))[0]

    for column in (0, 1, 500, 1199):
        inside = values[np.floor(t_s / 120 * COLUMNS) == column]
        levels = [y for x, y in drawn if x == column]
        assert (min(levels), max(levels)) == (
            round(LEVELS * (1 - inside.max() / 10)),
            round(LEVELS * (1 - inside.min() / 10)),
        )


def test_a_gap_is_not_drawn_across() -> None:
    t_s = np.concatenate([np.arange(0, 40, 0.02), np.arange(80, 120, 0.02)])

    left, right = points(line_path(t_s, np.full(len(t_s), 5.0), AXIS, 0, 10))

    assert left[-1][0] <= 400
    assert right[0][0] == 800


def test_missing_values_are_a_gap() -> None:
    t_s = np.arange(0, 120, 0.02)
    values = np.where((t_s > 40) & (t_s < 80), np.nan, 5.0)

    assert len(points(line_path(t_s, values, AXIS, 0, 10))) == 2
    assert line_path(t_s, np.full(len(t_s), np.nan), AXIS, 0, 10) == ""


def test_twice_the_rows_do_not_make_a_longer_path() -> None:
    def length(rows: int) -> int:
        t_s = np.linspace(0, 120, rows)
        return len(line_path(t_s, 5 + 5 * np.sin(t_s * 40), AXIS, 0, 10))

    assert length(32_000) <= 1.05 * length(16_000)
    assert length(400_000) <= 1.05 * length(200_000)


def test_samples_off_the_axis_are_left_out() -> None:
    axis = Axis(10.0, 20.0, 10.0)
    t_s = np.arange(0, 30, 1.0)

    (corners,) = points(line_path(t_s, np.arange(30.0), axis, 0, 30))

    assert (corners[0][0], corners[-1][0]) == (0, 1200)


def test_nothing_is_changed() -> None:
    t_s, values = np.arange(0, 120, 0.02), np.zeros(6000)
    for array in (t_s, values):
        array.setflags(write=False)

    assert line_path(t_s, values, AXIS, 0, 10) == line_path(t_s, values, AXIS, 0, 10)


def test_steps_hold_until_the_next() -> None:
    path = steps_path(np.array([0.0, 60.0]), np.array([0.0, 10.0]), 120.0, AXIS, 0, 10)

    assert points(path) == [[(0, 100), (600, 100), (600, 0), (1200, 0)]]


def test_a_band_goes_there_and_back() -> None:
    path = band_path(np.array([0.0]), np.array([2.0]), np.array([8.0]), 120.0, AXIS, 0, 10)

    assert points(path) == [[(0, 20), (1200, 20), (1200, 80), (0, 80)]]
    assert path.endswith("z")


@pytest.mark.parametrize(
    ("starts", "ends", "path"),
    [([], [], ""), ([60.0], [72.0], "M600 50h120"), ([60.0], [60.0001], "M600 50h0.5"),
     ([10.0, 10.02, 60.0], [10.01, 10.03, 72.0], "M100 50h0.5M600 50h120"), ([-5.0], [500.0], "M0 50h1200"),
     ([130.0], [140.0], "")],
)  # fmt: skip
def test_bars(starts: list[float], ends: list[float], path: str) -> None:
    assert bars_path(np.array(starts), np.array(ends), AXIS) == path


def test_a_hundred_thousand_bars_stay_short() -> None:
    starts = np.linspace(0, 120, 100_000)

    assert len(bars_path(starts, starts + 0.0004, AXIS)) < 60_000

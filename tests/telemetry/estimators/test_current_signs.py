"""The way of a current whose log has no signs."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from telemetry.estimators.current_signs import likeliest_signs


def test_a_motor_that_turns_on_while_its_voltage_falls_brakes() -> None:
    """Back-EMF stays at 6 V: the drop is fed less 6, and its sign turns as fed passes 6."""
    fed_v = np.array([9.0, 8.0, 7.0, 6.5, 5.5, 4.0, 2.0, 0.0, 3.0, 8.0])
    signs = likeliest_signs(fed_v, np.abs(fed_v - 6.0))
    assert signs.tolist() == [1, 1, 1, 1, -1, -1, -1, -1, -1, 1]


def test_one_reading_and_none() -> None:
    assert likeliest_signs(np.array([3.0]), np.array([1.0])).tolist() == [1]
    assert len(likeliest_signs(np.zeros(0), np.zeros(0))) == 0


@given(st.lists(st.tuples(st.integers(-12, 12), st.integers(0, 9)), min_size=2, max_size=9))
def test_no_path_changes_less(readings: list[tuple[int, int]]) -> None:
    """Against every path there is."""
    fed_v, drop_v = (np.array(column, dtype=float) for column in zip(*readings, strict=True))

    def change(signs: tuple[float, ...]) -> float:
        return float(np.abs(np.diff(fed_v - drop_v * np.array(signs))).sum())

    least = min(change(signs) for signs in itertools.product((1.0, -1.0), repeat=len(fed_v)))
    told = likeliest_signs(fed_v, drop_v)
    ways = [way for way in itertools.product((1.0, -1.0), repeat=len(fed_v)) if change(way) == least]
    for place, sign in enumerate(told):
        assert any(way[place] == sign for way in ways)

"""Dips found by the shape of those that stand out."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.dip_shape import noise_by_bends, with_matched_dips
from telemetry.log import FloatArray
from tests.telemetry.building import clock

DEEP_S, SHALLOW_S = (8.0, 10.0, 12.0, 14.0), (16.0, 18.0)
RUNNING_FROM_S = 5.0


def _speed(t_s: FloatArray, *, shallow: float = 0.3, noise: float = 0.01) -> FloatArray:
    """Unit dips that are won back within a third of a second, and some not as deep."""
    speed = noise * np.random.default_rng(7).standard_normal(len(t_s))
    for at_s, depth in [*((at, 1.0) for at in DEEP_S), *((at, shallow) for at in SHALLOW_S)]:
        speed -= depth * np.where(t_s >= at_s, np.exp(-np.maximum(t_s - at_s, 0) / 0.1), 0)
    return speed


def _found_s(
    t_s: FloatArray, speed: FloatArray, known_s: tuple[float, ...] = DEEP_S, *, shallowest: float = 0.0
) -> list[float]:
    running = t_s >= RUNNING_FROM_S
    found = with_matched_dips(t_s, speed, running, np.array(known_s), shallowest=shallowest)
    return [float(at) for at in found]


@pytest.mark.parametrize("rate_hz", [20.0, 50.0, 250.0])
def test_shallow_dips_of_the_same_shape_are_found(rate_hz: float) -> None:
    t_s = clock(24, rate_hz)
    assert _found_s(t_s, _speed(t_s)) == pytest.approx([*DEEP_S, *SHALLOW_S], abs=1 / rate_hz + 1e-9)


@pytest.mark.parametrize(("shallow", "number"), [(0.16, 4), (0.24, 6)])
def test_a_dip_is_at_least_a_fifth_as_deep_as_the_usual_one(shallow: float, number: int) -> None:
    t_s = clock(24, 100)
    assert len(_found_s(t_s, _speed(t_s, shallow=shallow, noise=0.0))) == number


@pytest.mark.parametrize(("shallowest", "number"), [(0.2, 6), (0.4, 4)])
def test_what_is_shallower_than_asked_for_is_no_dip(shallowest: float, number: int) -> None:
    t_s = clock(24, 100)
    assert len(_found_s(t_s, _speed(t_s, shallow=0.3), shallowest=shallowest)) == number


def test_a_shape_of_few_readings_tells_nothing() -> None:
    t_s = clock(24, 10)
    assert _found_s(t_s, _speed(t_s)) == list(DEEP_S)


def test_what_noise_could_do_is_no_dip() -> None:
    t_s = clock(24, 50)
    assert _found_s(t_s, _speed(t_s, shallow=0.0, noise=0.2)) == list(DEEP_S)


def test_nothing_is_learned_of_too_few_or_of_those_that_do_not_stand_alone() -> None:
    t_s = clock(24, 50)
    speed = _speed(t_s)
    assert _found_s(t_s, speed, DEEP_S[:3]) == list(DEEP_S[:3])
    crowded = (8.0, 8.1, 8.2, 8.3)
    assert _found_s(t_s, speed, crowded) == list(crowded)


def test_dips_are_looked_for_only_where_the_wheel_runs() -> None:
    t_s = clock(24, 50)
    until_s = t_s < 17
    found = with_matched_dips(t_s, _speed(t_s), until_s, np.array(DEEP_S), shallowest=0.0)
    assert found.tolist() == pytest.approx([*DEEP_S, SHALLOW_S[0]], abs=0.021)


def test_noise_is_told_beside_steady_change() -> None:
    line = np.linspace(0, 500, 4000)
    noisy = line + 0.3 * np.random.default_rng(1).standard_normal(len(line))
    assert noise_by_bends(line) == pytest.approx(0.0, abs=1e-9)
    assert noise_by_bends(noisy) == pytest.approx(0.3, rel=0.1)
    assert noise_by_bends(line[:5]) == 0.0

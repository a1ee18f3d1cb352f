"""Pieces that an intake grips, told by its current."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from telemetry.estimators.grips import NO_GRIPS, find_grips
from telemetry.log import FloatArray
from telemetry.records.motors import MotorTrace
from tests.telemetry.building import RATES_HZ, clock, inside, passing, switching

END_S = 60.0
RUNS_S = [(2.0, 28.0), (32.0, 58.0)]
COMES_S = (5.0, 9.0, 14.0, 20.0, 35.0, 41.0, 50.0)
BEFORE_S = 0.1
"""The roller takes hold of a piece so long before it breaks the beam."""


def _intake(rate_hz: float, gripped_s: Sequence[float], *, more_a: float = 6.0) -> MotorTrace:
    """A roller that draws 5 A, more for 0.2 s as it takes hold of a piece, and 40 A as it starts."""
    t_s = clock(END_S, rate_hz)
    driven = inside(t_s, RUNS_S)
    current = np.where(driven, 5.0, 0.0)
    for start, _end in RUNS_S:
        current += 35 * np.where(t_s >= start, np.exp(-np.maximum(t_s - start, 0) / 0.1), 0) * driven
    current += more_a * inside(t_s, passing([at - BEFORE_S for at in gripped_s], 0.2))
    current += 0.3 * np.random.default_rng(5).standard_normal(len(t_s)) * driven
    nothing = np.full(len(t_s), np.nan)
    return MotorTrace(t_s, np.abs(current), nothing, nothing, nothing, nothing, nothing, driven, "none")


def _found_s(trace: MotorTrace, seen_s: Sequence[float]) -> FloatArray:
    return find_grips({"intake": trace}, switching(passing(seen_s), END_S)).t_s


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_pieces_that_the_first_beam_missed_are_told_as_those_it_saw(rate_hz: float) -> None:
    missed_s = (24.0, 45.0, 55.0)
    found_s = _found_s(_intake(rate_hz, sorted((*COMES_S, *missed_s))), COMES_S)
    assert found_s == pytest.approx(sorted((*COMES_S, *missed_s)), abs=0.1)


def test_a_start_is_no_grip() -> None:
    found_s = _found_s(_intake(50, COMES_S), COMES_S)
    assert found_s == pytest.approx(COMES_S, abs=0.05)


@pytest.mark.parametrize(("seen", "told"), [(4, False), (5, True)])
def test_it_takes_five_that_the_beam_saw(seen: int, told: bool) -> None:
    grips = find_grips({"intake": _intake(50, COMES_S)}, switching(passing(COMES_S[:seen]), END_S))
    assert (grips.found > 0) == told


def test_a_current_that_rises_at_other_times_tells_nothing() -> None:
    others_s = [at + 2.0 for at in COMES_S]
    assert not len(_found_s(_intake(50, others_s), COMES_S))


def test_a_current_that_rises_all_the_time_tells_nothing() -> None:
    always_s = np.arange(2.6, 57.5, 0.5).tolist()
    assert not len(_found_s(_intake(50, always_s), COMES_S))


def test_the_motor_that_tells_best_is_taken() -> None:
    motors = {"belt": _intake(50, COMES_S[:3], more_a=4.0), "intake": _intake(50, COMES_S)}
    beam = switching(passing(COMES_S), END_S)
    assert find_grips(motors, beam).t_s == pytest.approx(COMES_S, abs=0.05)
    assert find_grips({}, beam) is NO_GRIPS


def test_where_the_intake_rests_it_would_show_nothing() -> None:
    t_s, driven = find_grips({"intake": _intake(50, COMES_S)}, switching(passing(COMES_S), END_S)).driven
    asked_s = np.array([1.0, 2.2, 10.0, 30.0, 40.0, 59.0])
    assert driven[np.searchsorted(t_s, asked_s, side="right") - 1].tolist() == [0, 0, 1, 0, 1, 0]

"""How pieces go from beam to beam, learned from passes written by hand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from telemetry.estimators.piece_ways import Ways, learn_ways
from telemetry.records.sensors import Switching
from tests.telemetry.building import switching

END_S = 60.0
STARTS_S = (5.0, 15.0, 25.0, 35.0)
ALWAYS = np.zeros(1), np.ones(1)
AT_REST = np.zeros(1), np.zeros(1)


def _beam(*broken: tuple[float, float]) -> Switching:
    return switching(list(broken), END_S)


def _passing(after_s: float, lasting_s: float) -> Switching:
    """A beam that each piece breaks that long after it came in."""
    return _beam(*((at + after_s, at + after_s + lasting_s) for at in STARTS_S))


def _learned(
    *beams: Switching, launcher: tuple[np.ndarray, np.ndarray] = AT_REST, dips_s: Sequence[float] = ()
) -> Ways:
    return learn_ways(beams, ALWAYS, launcher, np.array(dips_s))


def test_the_time_from_clearing_one_beam_to_breaking_the_next() -> None:
    ways = _learned(_passing(0.0, 0.2), _passing(0.9, 0.2))
    assert ways.travel_s[0] == pytest.approx([0.7 / np.log(2)])
    assert ways.passing_s[0] == pytest.approx([0.3, 0.3])  # no less than half as much again as a pass


@pytest.mark.parametrize(("after_s", "spanned"), [(0.15, True), (0.25, False)])
def test_a_piece_that_reaches_the_next_beam_before_it_leaves_one_stands_at_both(
    after_s: float, spanned: bool
) -> None:
    assert _learned(_passing(0.0, 0.2), _passing(after_s, 0.2)).spanned == (spanned,)


def test_a_piece_that_waits_at_the_next_beam_does_not_make_the_one_behind_it_stand_at_both() -> None:
    first = _beam(*((at + wait, at + wait + 0.2) for at in STARTS_S for wait in (0.0, 3.0)))
    second = _beam(*((at + 0.5, at + 8.0) for at in STARTS_S))
    assert _learned(first, second).spanned == (False,)


@pytest.mark.parametrize(("alone", "spanned"), [(0, True), (1, True), (3, False)])
def test_a_piece_pushed_on_by_the_next_one_does_not_stand_at_both_beams(alone: int, spanned: bool) -> None:
    """On a belt that stops once a piece is in: the first of each train clears a beam and rests behind it."""
    first = _beam(*((at, at + 0.2) for at in (*STARTS_S, *(at + 4.0 for at in STARTS_S[:alone]))))
    second = _beam(*((at + 0.15, at + 0.35) for at in STARTS_S))
    assert _learned(first, second).spanned == (spanned,)


@pytest.mark.parametrize(("back", "spanned"), [(True, True), (False, False)])
def test_pieces_that_a_belt_takes_back_off_the_first_beam_do_not_deny_that_others_stand_at_both(
    back: bool, spanned: bool
) -> None:
    leaves_s = tuple(at + 5.0 for at in STARTS_S[:2])
    first = _beam(*sorted((at, at + 0.2) for at in (*STARTS_S, *leaves_s)))
    second = _beam(*((at + 0.15, at + 0.35) for at in STARTS_S))
    changes_s = np.array([0.0, *(at + late for at in leaves_s for late in (-1.0, 1.0))])
    belt = changes_s, np.array([1.0, *(-1.0 if back else 1.0, 1.0) * len(leaves_s)])
    assert learn_ways((first, second), belt, AT_REST, np.empty(0)).spanned == (spanned,)


def test_pieces_that_leave_only_with_the_launcher_up_are_held() -> None:
    launcher = (
        np.array([0.0, *(at + shift for at in STARTS_S for shift in (4.0, 6.0))]),
        np.array([0.0, *(1.0, 0.0) * len(STARTS_S)]),
    )
    gate = _beam(*((at + 0.5, at + 5.0) for at in STARTS_S))
    past = _passing(5.2, 0.2)
    ways = _learned(_passing(0.0, 0.2), gate, past, launcher=launcher)
    assert ways.held.tolist() == [[False, False, True], [False, True, True]]
    assert np.isinf(ways.travel_s[0, 1])
    assert np.isfinite(ways.travel_s[1, 1])


@pytest.mark.parametrize(("period_s", "missed"), [(0.02, 0.0), (0.1, 0.0), (0.15, 0.25), (0.4, 0.5)])
def test_a_pass_as_short_as_readings_are_apart_may_be_missed(period_s: float, missed: float) -> None:
    beam = _passing(0.0, 0.2)
    sampled = Switching(beam.t_s, beam.on, beam.end_s, period_s)
    assert _learned(sampled).missed.tolist() == pytest.approx([missed])


def test_without_a_pass_the_usual_is_taken_and_nothing_is_held() -> None:
    never = Switching(np.zeros(1), np.zeros(1, dtype=bool), END_S, 0.02)
    ways = _learned(never, never)
    assert ways.room == (None,)
    assert ways.spanned == (False,)
    assert not ways.held.any()
    assert np.isinf(ways.travel_s[0, 0])
    assert np.isfinite(ways.passing_s[0, 0])


@pytest.mark.parametrize(("way_s", "room"), [(0.25, 1), (0.5, 2), (0.7, 3)])
def test_room_between_is_told_by_pieces_that_find_none_on_the_way(way_s: float, room: int) -> None:
    """Pieces 0.2 s long come in threes that touch; the next beam breaks first by the one ahead."""
    trains_s = [at + late for at in (5.0, 15.0, 25.0) for late in (0.0, 0.22, 0.44)]
    first = switching([(at, at + 0.2) for at in trains_s], END_S, period_s=0.005)
    second = switching([(at + way_s, at + way_s + 0.2) for at in trains_s], END_S, period_s=0.005)
    assert _learned(first, second).room == (room,)


MANY_S = tuple(5.0 + 8.0 * number for number in range(6))


def _last(dips_after_clear_s: float, *, launcher: tuple[np.ndarray, np.ndarray] = ALWAYS) -> Ways:
    """What a last beam tells that single pieces break for 0.2 s each, with dips so long after it clears."""
    passes = [(at, at + 0.2) for at in MANY_S]
    beam = switching(passes, END_S, period_s=0.02)
    return _learned(beam, launcher=launcher, dips_s=[at + 0.2 + dips_after_clear_s for at in MANY_S])


@pytest.mark.parametrize(("late_s", "tail_s"), [(-0.1, 0.14), (0.0, 0.04), (0.1, 0.0)])
def test_the_tail_of_a_piece_that_left_breaks_the_beam_until_it_clears(late_s: float, tail_s: float) -> None:
    assert _last(late_s).tail_s == pytest.approx(tail_s)


def test_a_beam_that_clears_near_few_of_the_dips_shows_no_tail() -> None:
    passes = [(at, at + 0.2) for at in np.arange(2.0, 58.0, 4.0)]
    beam = switching(passes, END_S, period_s=0.02)
    dips_s = [at + (0.1 if number < 3 else 2.0) for number, (at, _) in enumerate(passes)]
    assert _learned(beam, launcher=ALWAYS, dips_s=dips_s).tail_s == 0.0


@pytest.mark.parametrize(("late_s", "room"), [(-0.1, 1), (0.1, 1), (0.2, 2), (0.5, 4)])
def test_room_past_the_last_beam_is_its_way_to_the_launcher_in_lengths(late_s: float, room: int) -> None:
    assert _last(late_s).room_past == room  # the way is 1 + late / 0.2 lengths, with a fifth to spare


def test_room_past_the_last_beam_is_not_known_without_dips_or_before_the_launcher_runs() -> None:
    assert _learned(_beam(*((at, at + 0.2) for at in MANY_S)), launcher=ALWAYS).room_past is None
    assert _last(0.1, launcher=AT_REST).room_past is None


@pytest.mark.parametrize(("late_s", "wait"), [(0.1, False), (0.5, False), (3.0, True)])
def test_pieces_that_the_launcher_meets_long_after_the_last_beam_wait_past_it(
    late_s: float, wait: bool
) -> None:
    ways = _last(late_s)
    assert np.isinf(ways.gripped_s) == wait
    assert (ways.room_past is None) == wait


def test_a_launcher_that_hardly_shows_a_dip_does_not_tell_that_pieces_wait() -> None:
    ways = _learned(switching([(at, at + 0.2) for at in MANY_S], END_S, period_s=0.02), dips_s=MANY_S[:2])
    assert np.isfinite(ways.gripped_s)


def _launched_from(begins_s: float) -> tuple[np.ndarray, np.ndarray]:
    """A launcher that is up for two seconds, so long after each piece came."""
    changes_s = [at + shift for at in MANY_S for shift in (begins_s, begins_s + 2.0)]
    return np.array([0.0, *changes_s]), np.array([0.0, *(1.0, 0.0) * len(MANY_S)])


@pytest.mark.parametrize(("begins_s", "kept"), [(3.0, True), (-1.0, False)])
def test_pieces_that_pass_the_last_beam_before_the_launcher_runs_are_kept(
    begins_s: float, kept: bool
) -> None:
    beam = switching([(at, at + 0.2) for at in MANY_S], END_S, period_s=0.02)
    assert _learned(beam, launcher=_launched_from(begins_s)).kept == kept


def test_a_launcher_that_never_runs_keeps_nothing() -> None:
    assert not _learned(switching([(at, at + 0.2) for at in MANY_S], END_S, period_s=0.02)).kept

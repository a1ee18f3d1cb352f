"""Switching too quick for a piece or a hand; touching pieces, fast volleys and settling switches are not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from telemetry.estimators.bursts import (
    find_bursts,
    find_limit_bursts,
    shortest_honest_dwell_s,
    usual_pass_s,
    without_bursts,
    without_short,
)
from telemetry.estimators.switches import read_beams
from telemetry.records.sensors import Switching
from tests.telemetry.building import RATES_HZ, clock, passing, robot_of, sampled_switch, switching
from tests.telemetry.logs import log_of

Intervals = list[tuple[float, float]]
PASSES: Intervals = passing([2, 5, 8, 11, 14, 17, 40, 43, 46, 49], 0.15)
ROBOT = robot_of('[beams.entry]\nsignal = "b"\n')


def _sampled(on: Intervals, rate_hz: float, *, jitter: float = 0.0, length_s: float = 60.0) -> Switching:
    t_s = clock(length_s, rate_hz, jitter=jitter)
    return read_beams(log_of(sampled_switch("b", t_s, on)), ROBOT, length_s)["entry"]


def _blinks(at_s: float, number: int, *, on_s: float = 0.01, off_s: float = 0.015) -> Intervals:
    return [(at_s + k * (on_s + off_s), at_s + k * (on_s + off_s) + on_s) for k in range(number)]


def _with_blinks(*blinks: Intervals) -> Switching:
    return switching(sorted([*PASSES, *(one for several in blinks for one in several)]), 60.0)


# The shortest honest dwell


def test_sixty_milliseconds_where_nothing_tells_it() -> None:
    assert shortest_honest_dwell_s(switching([(1, 2)], 10.0)) == 0.06
    assert shortest_honest_dwell_s(switching([], 10.0)) == 0.06


@pytest.mark.parametrize(("length_m", "honest_s"), [(0.06, 0.04), (0.09, 0.06), (0.18, 0.06), (0.02, 0.03)])
def test_a_short_piece_is_by_sooner(length_m: float, honest_s: float) -> None:
    """On a belt of 1.5 m/s; what lasts less than 30 ms is no piece at all."""
    signal = switching([(1, 2)], 10.0)
    assert shortest_honest_dwell_s(signal, piece_length_m=length_m) == pytest.approx(honest_s)


def test_passes_alone_are_one_hump() -> None:
    near_alike = [(at, at + 0.12 + 0.01 * (k % 5)) for k, at in enumerate(np.arange(1, 59, 0.35).tolist())]
    assert shortest_honest_dwell_s(switching(near_alike, 60.0)) == 0.06


def test_the_valley_between_two_humps_is_held_within_30_to_100_ms() -> None:
    random = np.random.default_rng(1)
    at_s = np.arange(2.0, 58.0, 1.0)
    blinking = [(at, at + d) for at, d in zip(at_s, random.lognormal(np.log(0.008), 0.3, 56), strict=True)]
    assert 0.03 <= shortest_honest_dwell_s(switching(blinking, 60.0)) <= 0.10


@pytest.mark.parametrize(("pass_s", "honest_s"), [(0.05, 0.03), (0.1, 0.04), (0.15, 0.06), (0.4, 0.06)])
def test_no_more_than_four_tenths_of_a_pass(pass_s: float, honest_s: float) -> None:
    assert shortest_honest_dwell_s(switching([(1, 2)], 10.0), pass_s) == pytest.approx(honest_s)


@pytest.mark.parametrize(
    ("rate_hz", "honest_s"), [(10, 0.15), (20, 0.075), (25, 0.06), (50, 0.06), (1000, 0.06)]
)
def test_no_less_than_one_and_a_half_readings(rate_hz: float, honest_s: float) -> None:
    signal = switching([(1, 2)], 10.0, period_s=1 / rate_hz)
    assert shortest_honest_dwell_s(signal) == pytest.approx(honest_s)


def test_the_usual_pass_is_the_median_over_the_beams() -> None:
    quick, usual, slow = (switching(passing([1, 2, 3, 4], lasting), 10.0) for lasting in (0.01, 0.15, 0.2))
    assert usual_pass_s([quick, usual, slow]) == pytest.approx(0.15)


def test_a_piece_that_rests_in_a_beam_is_no_pass() -> None:
    assert usual_pass_s([switching([(1, 4), (6, 6.2)], 10.0)]) == pytest.approx(0.2)
    assert usual_pass_s([switching([(1, 4)], 10.0)]) is None
    assert usual_pass_s([]) is None


# Bursts


def test_a_burst_written_out() -> None:
    """Five blinks of 10 ms, 15 ms apart: ten edges that should not be there."""
    (burst,) = find_bursts(_with_blinks(_blinks(30.0, 5)), 0.06, 3)
    assert burst.start_s == pytest.approx(30.0)
    assert burst.end_s == pytest.approx(30.11)
    assert burst.edges == 10
    assert burst.shortest_s == pytest.approx(0.010)
    assert burst.median_s == pytest.approx(0.010)


@pytest.mark.parametrize(("off_s", "blinks"), [(0.005, 8), (0.02, 8), (0.1, 8), (0.2, 10)])
def test_extra_edges_are_two_for_each_blink(off_s: float, blinks: int) -> None:
    (burst,) = find_bursts(_with_blinks(_blinks(25.0, blinks, off_s=off_s)), 0.06, 3)
    assert burst.edges == 2 * blinks


def test_a_chattering_pass_has_one_honest_pair_of_edges() -> None:
    """Broken for 0.3 s with three clear moments in it: six edges too many."""
    chattering = [(30.0, 30.02), (30.03, 30.05), (30.06, 30.08), (30.09, 30.3)]
    (burst,) = find_bursts(_with_blinks(chattering), 0.06, 3)
    assert burst.edges == 6


@pytest.mark.parametrize(("blinks", "number"), [(2, 0), (3, 1)])
def test_more_than_three_short_dwells_in_a_second(blinks: int, number: int) -> None:
    assert len(find_bursts(_with_blinks(_blinks(30.0, blinks)), 0.06, 3)) == number


@pytest.mark.parametrize(("capacity", "number"), [(1, 1), (3, 1), (8, 1), (9, 0)])
def test_more_than_a_robot_full_of_pieces(capacity: int, number: int) -> None:
    """Nine short dwells."""
    assert len(find_bursts(_with_blinks(_blinks(30.0, 5)), 0.06, capacity)) == number


@pytest.mark.parametrize(("capacity", "on_s", "number"), [(3, 0.055, 0), (2, 0.055, 1), (3, 0.025, 1)])
def test_a_volley_that_a_launcher_pulls_through_is_none(capacity: int, on_s: float, number: int) -> None:
    """Three breaks of 55 ms, 45 ms apart, are three pieces; not with room for two, nor of 25 ms each."""
    volley = _blinks(30.0, 3, on_s=on_s, off_s=0.045)
    assert len(find_bursts(_with_blinks(volley), 0.08, capacity)) == number


def test_no_capacity_hides_a_beam_that_never_keeps_still() -> None:
    assert len(find_bursts(_with_blinks(_blinks(30.0, 40)), 0.06, 20)) == 1


@pytest.mark.parametrize(("apart_s", "number"), [(0.9, 1), (1.2, 2)])
def test_bursts_no_more_than_a_second_apart_are_one(apart_s: float, number: int) -> None:
    first = _blinks(25.0, 5)
    second = _blinks(first[-1][0] + apart_s, 5)
    assert len(find_bursts(_with_blinks(first, second), 0.06, 3)) == number


@pytest.mark.parametrize("rate_hz", [50.0, 250.0, 1000.0])
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_a_burst_at_any_rate_that_shows_it(rate_hz: float, jitter: float) -> None:
    signal = _sampled(sorted([*PASSES, *_blinks(30.0, 10, on_s=0.03, off_s=0.03)]), rate_hz, jitter=jitter)
    (burst,) = find_bursts(signal, shortest_honest_dwell_s(signal, 0.15), 3)
    within = (1 + 2 * jitter) / rate_hz + 1e-9
    assert (burst.start_s, burst.end_s) == pytest.approx((30.0, 30.57), abs=within)
    assert burst.edges == 20


# What is no burst


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("capacity", [1, 3, 5])
@pytest.mark.parametrize(("pass_s", "between_s"), [(0.10, 0.10), (0.12, 0.06), (0.12, 0.03), (0.15, 0.10)])
def test_a_fast_volley_is_no_burst(rate_hz: float, capacity: int, pass_s: float, between_s: float) -> None:
    volleys = [
        (
            5.0 * k + 0.0137 * k + n * (pass_s + between_s),
            5.0 * k + 0.0137 * k + n * (pass_s + between_s) + pass_s,
        )
        for k in range(1, 11)
        for n in range(capacity)
    ]
    signal = _sampled(volleys, rate_hz)
    assert find_bursts(signal, shortest_honest_dwell_s(signal, usual_pass_s([signal])), capacity) == ()


def test_pieces_that_touch_are_no_burst() -> None:
    """Three pieces in 0.5 s with clear moments of 10 ms between them."""
    signal = switching([(5, 5.15), (5.16, 5.31), (5.32, 5.47), (9, 9.15)], 20.0)
    assert find_bursts(signal, 0.06, 3) == ()


@pytest.mark.parametrize("on", [[], [(1.0, 2.0)]])
def test_a_quiet_beam_has_no_burst(on: Intervals) -> None:
    assert find_bursts(switching(on, 10.0), 0.06, 3) == ()
    assert find_limit_bursts(switching(on, 10.0), 0.06) == ()


# Limits


def _pressed(at_s: float, until_s: float) -> Intervals:
    """Pressed, with bounces of 0.5 to 3 ms as it closes and as it opens."""
    closing = [(at_s, at_s + 0.002), (at_s + 0.003, at_s + 0.004), (at_s + 0.0055, at_s + 0.006)]
    return [*closing, (at_s + 0.008, until_s), (until_s + 0.001, until_s + 0.004)]


def _presses(at_s: Sequence[float], lasting_s: float) -> Intervals:
    return [interval for at in at_s for interval in _pressed(at, at + lasting_s)]


@pytest.mark.parametrize("lasting_s", [0.05, 0.3, 2.0])
def test_a_switch_that_settles_in_some_milliseconds_is_no_burst(lasting_s: float) -> None:
    limit = switching(_presses([3, 8, 13, 18, 23], lasting_s), 60.0)
    assert find_limit_bursts(limit, shortest_honest_dwell_s(limit)) == ()


def test_a_limit_that_bounces_under_load_is_a_burst() -> None:
    limit = switching([(5.0, 6.0), *_blinks(10.0, 6, on_s=0.02, off_s=0.03), (10.4, 12.0)], 60.0)
    (burst,) = find_limit_bursts(limit, 0.06)
    assert burst.start_s == pytest.approx(10.0)


def test_a_loose_limit_that_never_settles_is_a_burst() -> None:
    limit = switching([(5.0, 6.0), *_blinks(10.0, 60, on_s=0.003, off_s=0.004)], 60.0)
    (burst,) = find_limit_bursts(limit, 0.06)
    assert burst.edges > 90


@pytest.mark.parametrize("rate_hz", [20.0, 25.0, 50.0, 250.0])
def test_a_limit_that_bounces_under_load_at_any_rate_that_shows_it(rate_hz: float) -> None:
    """Opened for 60 ms eight times in a second."""
    pressed = [(10.0 + 0.12 * k, 10.06 + 0.12 * k) for k in range(8)] + [(10.96, 12.0)]
    limit = _sampled(pressed, rate_hz)
    (burst,) = find_limit_bursts(limit, shortest_honest_dwell_s(limit))
    assert burst.start_s == pytest.approx(10.0, abs=0.1)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_an_arm_that_touches_twice_does_not_bounce(rate_hz: float) -> None:
    limit = _sampled([(10.0, 10.12), (10.3, 12.0)], rate_hz)
    assert find_limit_bursts(limit, shortest_honest_dwell_s(limit)) == ()


# Cleaning


def test_short_dwells_are_taken_out_of_bursts_and_nowhere_else() -> None:
    blink_elsewhere = (20.0, 20.01)
    signal = _with_blinks([blink_elsewhere], _blinks(30.0, 5))
    cleaned = without_bursts(signal, find_bursts(signal, 0.06, 3), 0.06)
    assert cleaned.t_s.tolist() == [
        0.0,
        *(edge for one in sorted([*PASSES, blink_elsewhere]) for edge in one),
    ]


def test_a_chattering_pass_is_cleaned_to_one_pass() -> None:
    signal = _with_blinks([(30.0, 30.02), (30.03, 30.05), (30.06, 30.08), (30.09, 30.3)])
    cleaned = without_bursts(signal, find_bursts(signal, 0.06, 3), 0.06)
    inside = cleaned.t_s[(cleaned.t_s > 29) & (cleaned.t_s < 31)]
    assert len(inside) == 2
    assert inside == pytest.approx([30.0, 30.3], abs=0.1)


def test_steps_that_last_long_enough_stay() -> None:
    signal = switching([(1, 1.05), (2, 2.5), (3, 3.02)], 10.0)
    everywhere = np.ones(len(signal.t_s), dtype=bool)
    assert without_short(signal, 0.04, everywhere).t_s.tolist() == [0, 1, 1.05, 2, 2.5]
    assert without_short(signal, 0.1, everywhere).t_s.tolist() == [0, 2, 2.5]
    assert without_short(signal, 0.1, ~everywhere).t_s.tolist() == signal.t_s.tolist()


def test_nothing_to_clean() -> None:
    nothing = Switching(np.empty(0), np.empty(0, dtype=bool), 10.0, 0.0)
    assert without_bursts(nothing, (), 0.06).transitions == 0
    assert find_bursts(nothing, 0.06, 3) == find_limit_bursts(nothing, 0.06) == ()


@pytest.mark.parametrize(("changes", "number"), [(8, 0), (9, 1)])
def test_more_changes_than_a_full_robot_makes_are_a_burst_however_long_each_lasts(
    changes: int, number: int
) -> None:
    """Three pieces in and out of a beam in a second and a half are six dwells; three more are not theirs."""
    t_s = np.concatenate(([0.0], 10.0 + 0.16 * np.arange(changes + 1)))
    signal = Switching(t_s, np.arange(len(t_s)) % 2 == 1, 60.0, 0.04)
    assert len(find_bursts(signal, 0.06, 3, pass_s=0.16)) == number

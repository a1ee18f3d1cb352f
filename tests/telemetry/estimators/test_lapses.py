"""Missing and frozen channels, by their own rate and noise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.estimators.lapses import find_lapses
from telemetry.log import Channel, FloatArray
from telemetry.records.sensors import Lapse
from tests.telemetry.building import clock, inside, match_of, robot_of
from tests.telemetry.logs import log_of, numbers, switch

RATES_HZ = (10.0, 50.0, 60.0, 1000.0)
NO_GAPS = np.empty((0, 2))
ROBOT = robot_of(
    '[motors.feed]\ncurrent = "feed_a"\nspeed = "feed_rpm"\ncommand = "duty"\n'
    '[ranges.hopper]\nsignal = "hopper_mm"\n[beams.entry]\nsignal = "entry"\n'
)


def _noisy(t_s: FloatArray, *, step: float = 0.1, noise: float = 0.3, level: float = 5.0) -> FloatArray:
    read = level + noise * np.random.default_rng(3).standard_normal(len(t_s))
    return np.round(read / step) * step


def _found(*channels: Channel, gaps_s: FloatArray = NO_GAPS) -> dict[str, list[Lapse]]:
    steady = clock(100.0, 50.0)
    log = log_of(numbers("other_v", _noisy(steady).tolist(), steady.tolist()), *channels)
    return {name: list(lapses) for name, lapses in find_lapses(log, ROBOT, match_of(), gaps_s).items()}


def _frozen(name: str, rate_hz: float, from_s: float, to_s: float, jitter: float = 0.0) -> Channel:
    t_s = clock(100.0, rate_hz, jitter=jitter)
    read = _noisy(t_s)
    stands = inside(t_s, [(from_s, to_s)])
    read[stands] = read[np.argmax(stands)]
    return numbers(name, read.tolist(), t_s.tolist())


def _missing(channel: Channel, from_s: float, to_s: float) -> Channel:
    there = ~inside(channel.t_s, [(from_s, to_s)])
    return replace(channel, t_s=channel.t_s[there], values=channel.values[there])


# Frozen


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_a_number_that_trembles_and_then_stands_still_is_frozen(rate_hz: float, jitter: float) -> None:
    lapses = _found(_frozen("hopper_mm", rate_hz, 40.0, 46.0, jitter))
    ((lapse,),) = lapses.values()
    assert (lapse.channel, lapse.kind) == ("hopper_mm", "frozen")
    assert (lapse.start_s, lapse.end_s) == pytest.approx((40.0, 46.0), abs=(2 + 2 * jitter) / rate_hz)


@pytest.mark.parametrize(("lasting_s", "number"), [(0.4, 0), (0.7, 1)])
def test_half_a_second_is_the_least(lasting_s: float, number: int) -> None:
    lapses = _found(_frozen("hopper_mm", 50.0, 40.0, 40.0 + lasting_s))
    assert len(lapses.get("hopper_mm", [])) == number


def test_a_quantised_reading_that_often_repeats_is_not_frozen() -> None:
    t_s = clock(100.0, 50.0)
    read = _noisy(t_s, step=10.0, noise=2.0, level=50.0)
    assert _found(numbers("hopper_mm", read.tolist(), t_s.tolist())) == {}


def test_an_idle_motor_at_zero_is_not_frozen() -> None:
    t_s = clock(100.0, 50.0)
    current = np.where(inside(t_s, [(20, 30), (50, 60)]), _noisy(t_s), 0.0)
    assert _found(numbers("feed_a", current.tolist(), t_s.tolist())) == {}


def test_a_level_at_which_it_stands_more_than_once_is_where_it_rests() -> None:
    t_s = clock(100.0, 50.0)
    read = _noisy(t_s)
    read[inside(t_s, [(20, 25), (50, 55)])] = 150.0
    assert _found(numbers("hopper_mm", read.tolist(), t_s.tolist())) == {}


def test_a_command_is_held_on_purpose() -> None:
    t_s = clock(100.0, 50.0)
    duty = _noisy(t_s, step=0.001, noise=0.01, level=0.5)
    duty[inside(t_s, [(40, 50)])] = 0.8
    command = numbers("duty", duty.tolist(), t_s.tolist())
    assert _found(command) == {}
    assert set(_found(command, _frozen("feed_a", 50.0, 40.0, 50.0))) == {"duty", "feed_a"}


def test_what_follows_a_machine_smoothly_may_stand_still() -> None:
    """No noise: a speed that runs up, holds for 3 s, runs down, five times over."""
    t_s = clock(100.0, 50.0)
    ramp = np.interp(t_s % 20.0, [0, 5, 8, 11, 20], [0, 1000, 1000, 300, 300.0])
    ramp = np.round(ramp * (1 + 0.01 * np.floor(t_s / 20.0)))
    assert _found(numbers("feed_rpm", ramp.tolist(), t_s.tolist())) == {}


def test_while_disabled_nothing_need_move() -> None:
    assert _found(_frozen("hopper_mm", 50.0, 91.0, 99.0)) == {}


# Missing


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_values_that_go_missing_while_the_log_goes_on(rate_hz: float) -> None:
    t_s = clock(100.0, rate_hz)
    whole = numbers("hopper_mm", _noisy(t_s).tolist(), t_s.tolist())
    ((lapse,),) = _found(_missing(whole, 40.0, 46.0)).values()
    assert lapse.kind == "missing"
    assert (lapse.start_s, lapse.end_s) == pytest.approx((40.0, 46.0), abs=1.01 / rate_hz)


def test_a_channel_that_ends_early_is_missing_to_the_end() -> None:
    t_s = clock(100.0, 50.0)
    whole = numbers("hopper_mm", _noisy(t_s).tolist(), t_s.tolist())
    ((lapse,),) = _found(_missing(whole, 60.0, 200.0)).values()
    assert (lapse.start_s, lapse.end_s) == pytest.approx((60.0, 100.0), abs=0.05)


def test_a_switch_goes_missing_and_never_freezes() -> None:
    t_s = clock(100.0, 50.0)
    beam = switch("entry", [0.0] * len(t_s), t_s.tolist())
    assert _found(beam) == {}
    ((lapse,),) = _found(_missing(beam, 40.0, 46.0)).values()
    assert lapse.kind == "missing"


def test_what_is_logged_on_change_only_cannot_go_missing() -> None:
    beam = replace(switch("entry", [0.0, 1.0, 0.0], [0.0, 40.0, 80.0]), sampled=False)
    assert _found(beam) == {}


def test_a_gap_of_the_whole_log_is_none_of_a_channel() -> None:
    t_s = clock(100.0, 50.0)
    whole = numbers("hopper_mm", _noisy(t_s).tolist(), t_s.tolist())
    assert _found(_missing(whole, 40.0, 46.0), gaps_s=np.array([[40.0, 46.0]])) == {}


@pytest.mark.parametrize(("lasting_s", "number"), [(0.4, 0), (0.6, 1)])
def test_a_few_lost_readings_are_no_lapse(lasting_s: float, number: int) -> None:
    t_s = clock(100.0, 50.0)
    whole = numbers("hopper_mm", _noisy(t_s).tolist(), t_s.tolist())
    assert len(_found(_missing(whole, 40.0, 40.0 + lasting_s))) == number

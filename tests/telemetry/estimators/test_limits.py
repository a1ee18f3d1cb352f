"""Limits: driven on, both ends at once, missed, stray; and the travel between them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.estimators.limit_evidence import LimitEvidence, other_end
from telemetry.estimators.limits import find_limit_troubles
from telemetry.estimators.travels import find_travels
from telemetry.log import FloatArray
from telemetry.records.motors import MotorStates, MotorTrace
from telemetry.records.sensors import LimitTrouble
from tests.telemetry.building import clock, held, inside, match_of, robot_of, switching
from tests.telemetry.logs import log_of

ROBOT = robot_of(
    '[motors.arm]\ncurrent = "arm_a"\ncommand = "arm_duty"\nfree_current_a = 1.5\n'
    '[limits.low]\nsignal = "low"\nmotor = "arm"\nstops = "negative"\n'
    '[limits.high]\nsignal = "high"\nmotor = "arm"\nstops = "positive"\n'
)
RATES_HZ = (10.0, 50.0, 60.0, 1000.0)
UP, DOWN = 0.8, -0.8

Intervals = Sequence[tuple[float, float]]


def _trace(t_s: FloatArray, driven: Mapping[tuple[float, float], float], current_a: float) -> MotorTrace:
    moving = inside(t_s, list(driven))
    nan = np.full(len(t_s), np.nan)
    current = np.where(moving, current_a, 0.0)
    speed = np.where(moving, 100.0, 0.0)
    return MotorTrace(t_s, current, nan, speed, nan, nan, nan, moving, "channel")


def _evidence(
    low: Intervals = (),
    high: Intervals = (),
    driven: Mapping[tuple[float, float], float] | None = None,
    *,
    rate_hz: float = 50.0,
    jitter: float = 0.0,
    current_a: float = 20.0,
    stall: Intervals = (),
    **parts: Any,
) -> LimitEvidence:
    t_s = clock(100.0, rate_hz, jitter=jitter)
    driven = driven or {}
    log = log_of(held("arm_duty", t_s, driven), held("arm_a", t_s, dict.fromkeys(driven, current_a)))
    limits = {"low": switching(low, 100.0), "high": switching(high, 100.0)}
    states = {"arm": MotorStates(np.array(stall).reshape(-1, 2), np.empty((0, 2)), 0.1)}
    motors = {"arm": _trace(t_s, driven, current_a)}
    gaps_s = np.array(parts.get("gaps", ())).reshape(-1, 2)
    return LimitEvidence(log, ROBOT, parts.get("match", match_of()), limits, motors, states, gaps_s)


def _troubles(evidence: LimitEvidence, kind: str, name: str) -> list[LimitTrouble]:
    troubles = find_limit_troubles(evidence, find_travels(evidence))
    return [trouble for trouble in troubles[name] if trouble.kind == kind]


def test_ends_of_one_motor_that_stop_opposite_ways_belong_together() -> None:
    assert (other_end(ROBOT, "low"), other_end(ROBOT, "high")) == ("high", "low")
    alone = robot_of('[limits.low]\nsignal = "low"\n')
    assert other_end(alone, "low") is None


# Driven on


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_driven_on_after_the_limit_closed(rate_hz: float, jitter: float) -> None:
    evidence = _evidence(high=[(40, 60)], driven={(37, 41.2): UP}, rate_hz=rate_hz, jitter=jitter)
    (overrun,) = _troubles(evidence, "limit_overrun", "high")
    within = (1 + 2 * jitter) / rate_hz
    assert (overrun.start_s, overrun.end_s) == pytest.approx((40.0, 41.2), abs=within)
    assert overrun.peak_a == 20.0
    assert overrun.charge_as == pytest.approx(20 * 1.2, abs=20 * 2 * within)


@pytest.mark.parametrize(("driven_on_s", "number"), [(0.1, 0), (0.2, 1)])
def test_a_controller_has_a_moment_to_let_go(driven_on_s: float, number: int) -> None:
    evidence = _evidence(high=[(40, 60)], driven={(37, 40 + driven_on_s): UP})
    assert len(_troubles(evidence, "limit_overrun", "high")) == number


def test_driving_away_from_a_limit_is_no_overrun() -> None:
    evidence = _evidence(high=[(40, 60)], driven={(59, 60): DOWN})
    assert _troubles(evidence, "limit_overrun", "high") == []


@pytest.mark.parametrize(("current_a", "number"), [(0.5, 0), (1.0, 1)])
def test_a_motor_that_draws_nothing_was_cut_off(current_a: float, number: int) -> None:
    """Half of its free current of 1.5 A."""
    evidence = _evidence(high=[(40, 60)], driven={(40, 45): UP}, current_a=current_a)
    assert len(_troubles(evidence, "limit_overrun", "high")) == number


# Both ends


def test_both_ends_at_once_are_told_of_the_end_that_it_was_not_driven_to() -> None:
    evidence = _evidence(low=[(10, 60)], high=[(40, 60)], driven={(37, 40): UP})
    (conflict,) = _troubles(evidence, "limit_conflict", "low")
    assert (conflict.start_s, conflict.end_s, conflict.other) == (40.0, 60.0, "high")
    assert _troubles(evidence, "limit_conflict", "high") == []


def test_without_a_drive_the_later_end_is_the_wrong_one() -> None:
    evidence = _evidence(low=[(10, 60)], high=[(40, 42)])
    assert [one.other for one in _troubles(evidence, "limit_conflict", "high")] == ["low"]
    assert _troubles(evidence, "limit_conflict", "low") == []


@pytest.mark.parametrize(("together_s", "number"), [(0.04, 0), (0.06, 1)])
def test_both_ends_for_a_moment_are_no_conflict(together_s: float, number: int) -> None:
    evidence = _evidence(low=[(10, 40 + together_s)], high=[(40, 50)])
    assert len(_troubles(evidence, "limit_conflict", "high")) == number


# Missed


def test_a_stall_where_the_limit_never_closed() -> None:
    evidence = _evidence(driven={(37, 42): UP}, stall=[(40, 42)])
    (missed,) = _troubles(evidence, "limit_missed", "high")
    assert (missed.start_s, missed.end_s, missed.share_of_way) == (40.0, 42.0, None)
    assert _troubles(evidence, "limit_missed", "low") == []


def test_a_stall_with_the_limit_pressed_is_no_miss() -> None:
    evidence = _evidence(high=[(40, 60)], driven={(37, 42): UP}, stall=[(40.1, 42)])
    assert _troubles(evidence, "limit_missed", "high") == []


@pytest.mark.parametrize(("went_s", "number"), [(2.5, 0), (2.9, 1)])
def test_a_stall_short_of_the_whole_way_is_a_block(went_s: float, number: int) -> None:
    """The arm has shown once that the way from end to end takes 3 s."""
    first_up, down, up = (20, 23), (30, 33), (40, 40 + went_s + 2)
    evidence = _evidence(
        low=[(10, 20), (33, 40)],
        high=[(23, 30)],
        driven={first_up: UP, down: DOWN, up: UP},
        stall=[(40 + went_s, 40 + went_s + 2)],
    )
    assert len(_troubles(evidence, "limit_missed", "high")) == number


# Stray


def test_a_limit_that_closes_though_nothing_drove_the_motor_there() -> None:
    evidence = _evidence(low=[(0.01, 90)], high=[(40, 42.5), (60, 61)])
    strays = _troubles(evidence, "limit_stray", "high")
    assert [(stray.start_s, stray.end_s) for stray in strays] == [(40.0, 42.5), (60.0, 61.0)]


@pytest.mark.parametrize("end_s", [40.0, 39.5])
def test_a_limit_that_the_motor_was_driven_to_is_honest(end_s: float) -> None:
    evidence = _evidence(high=[(40, 60)], driven={(37, end_s): UP})
    assert _troubles(evidence, "limit_stray", "high") == []


def test_a_limit_closed_again_where_the_arm_rests_is_honest() -> None:
    evidence = _evidence(high=[(40, 50), (55, 60)], driven={(37, 40): UP})
    assert _troubles(evidence, "limit_stray", "high") == []


def test_a_limit_closed_long_after_a_drive_that_stopped_short_is_stray() -> None:
    evidence = _evidence(high=[(50, 51)], driven={(37, 38): UP})
    assert len(_troubles(evidence, "limit_stray", "high")) == 1


@pytest.mark.parametrize(("closed_s", "number"), [(60.0, 0), (60.06, 0), (60.14, 1), (57.9, 1)])
def test_what_closed_while_nothing_was_logged_is_not_judged(closed_s: float, number: int) -> None:
    """Of the gap until 60 s nobody knows what was driven; it shows a tenth of a second later at most."""
    evidence = _evidence(low=[(0.01, 50)], high=[(closed_s, 70)], gaps=[(58.0, 60.0)])
    assert len(_troubles(evidence, "limit_stray", "high")) == number


# Early


def _ways(*lasting_s: float, speed_source: str = "channel") -> LimitEvidence:
    """Up and down in turn at one speed, each way so many seconds long, from limit to limit."""
    low: list[tuple[float, float]] = []
    high: list[tuple[float, float]] = []
    driven: dict[tuple[float, float], float] = {}
    now_s = rest_s = 5.0
    for number, length_s in enumerate(lasting_s):
        (low, high)[number % 2].append((now_s - rest_s, now_s))
        driven[now_s, now_s + length_s] = UP if number % 2 == 0 else DOWN
        now_s += length_s + rest_s
    (low, high)[len(lasting_s) % 2].append((now_s - rest_s, now_s + rest_s))
    evidence = _evidence(low, high, driven)
    arm = replace(evidence.motors["arm"], speed_source=speed_source)
    return replace(evidence, motors={"arm": arm})


@pytest.mark.parametrize(("short_s", "number"), [(2.5, 0), (2.3, 1)])
def test_a_limit_that_closes_short_of_the_usual_way(short_s: float, number: int) -> None:
    """The other ways last 3 s: four in five of that, 2.4 s, is short."""
    strays = _troubles(_ways(3.0, 3.0, 3.0, short_s), "limit_stray", "low")
    assert len(strays) == number
    for stray in strays:
        assert stray.start_s == pytest.approx(5 + 3 * 8 + short_s)
        assert stray.share_of_way == pytest.approx(short_s / 3, abs=0.02)
        assert stray.confidence == 0.92


def test_a_way_of_which_a_reading_may_be_missing_at_either_end_is_not_called_short() -> None:
    """Ways of 1 s read ten times a second: two readings are a fifth of the way."""
    fine = _ways(1.0, 1.0, 1.0, 0.7)
    assert len(_troubles(fine, "limit_stray", "low")) == 1
    arm = fine.motors["arm"]
    every = max(1, round(0.1 / float(np.median(np.diff(arm.t_s)))))
    fields = ("t_s", "current_a", "voltage_v", "speed_rad_s", "command", "driven")
    seldom = replace(arm, **{name: getattr(arm, name)[::every] for name in fields})  # type: ignore[arg-type]
    assert _troubles(replace(fine, motors={"arm": seldom}), "limit_stray", "low") == []


def test_a_way_from_a_limit_that_chattered_as_it_opened_is_no_measure() -> None:
    ways = _ways(3.0, 3.0, 3.0, 2.0)
    assert len(_troubles(ways, "limit_stray", "low")) == 1
    high = ways.limits["high"]
    opened = float(high.t_s[1:][~high.on[1:]][-1])
    t_s = np.sort(np.append(high.t_s, [opened - 0.3, opened - 0.28, opened - 0.2, opened - 0.18]))
    shaken = replace(high, t_s=t_s, on=np.arange(len(t_s)) % 2 == int(not high.on[0]))
    assert _troubles(replace(ways, limits={**ways.limits, "high": shaken}), "limit_stray", "low") == []


def test_of_two_ways_the_shorter_one_is_less_certain() -> None:
    (stray,) = _troubles(_ways(3.0, 1.8), "limit_stray", "low")
    assert stray.confidence == 0.8


def test_ways_that_are_all_alike_tell_nothing() -> None:
    assert _troubles(_ways(1.8, 1.8), "limit_stray", "high") == []


def test_without_a_logged_speed_the_way_is_not_measured() -> None:
    assert _troubles(_ways(3.0, 1.8, speed_source="back-EMF"), "limit_stray", "low") == []


def test_a_way_turned_back_on_is_no_measure() -> None:
    """Up in two goes with a way back between turns farther than any way from end to end."""
    driven = {(5, 7): UP, (7, 9): DOWN, (9, 12): UP, (17, 20): DOWN}
    evidence = _evidence([(0, 5), (20, 30)], [(12, 17)], driven)
    assert _troubles(evidence, "limit_stray", "low") == []


def test_what_is_moved_by_hand_while_disabled_is_not_judged() -> None:
    """The match is over at 90 s."""
    assert _troubles(_evidence(high=[(93, 95)]), "limit_stray", "high") == []


def test_without_a_command_only_both_ends_can_be_judged() -> None:
    robot = robot_of(
        '[motors.arm]\ncurrent = "arm_a"\n[limits.low]\nsignal = "l"\nmotor = "arm"\nstops = "negative"\n'
        '[limits.high]\nsignal = "h"\nmotor = "arm"\nstops = "positive"\n'
    )
    whole = _evidence(low=[(10, 60)], high=[(40, 42)])
    evidence = replace(whole, robot=robot, motor_states={})
    kinds = {one.kind for found in find_limit_troubles(evidence, ()).values() for one in found}
    assert kinds == {"limit_conflict"}


# Travel


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_way_from_end_to_end(rate_hz: float) -> None:
    evidence = _evidence(
        low=[(10, 20), (33, 50)], high=[(23, 30)], driven={(20, 23): UP, (30, 33): DOWN}, rate_hz=rate_hz
    )
    up, down = find_travels(evidence)
    assert (up.start_limit, up.end_limit, up.start_s, up.end_s) == ("low", "high", 20.0, 23.0)
    assert (down.start_limit, down.end_limit, down.start_s, down.end_s) == ("high", "low", 30.0, 33.0)
    assert up.turned_rad == pytest.approx(300, rel=0.1)
    assert up.charge_as == pytest.approx(60, rel=0.1)


def test_a_way_turned_back_on_is_no_travel() -> None:
    evidence = _evidence(low=[(10, 20), (24, 50)], driven={(20, 22): UP, (22, 24): DOWN})
    assert find_travels(evidence) == ()


@pytest.mark.parametrize(("gap_s", "number"), [((21.0, 22.5), 0), ((18.0, 20.0), 0), ((25.0, 26.0), 1)])
def test_a_way_that_was_not_logged_throughout_is_left_out(gap_s: tuple[float, float], number: int) -> None:
    evidence = _evidence(low=[(10, 20)], high=[(23, 50)], driven={(20, 23): UP}, gaps=[gap_s])
    assert len(find_travels(evidence)) == number

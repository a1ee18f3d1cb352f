"""The log through other settings: counts written out, and a plateau where there is one."""

from __future__ import annotations

import pytest

from telemetry.records.sensors import Burst
from telemetry.whatif import Outcome, Replay, replay_debounce, replay_distance, sum_up
from tests.telemetry.building import analysis_of, clock, held, passing, robot_of, switching
from tests.telemetry.logs import log_of

BEAM = robot_of("[beams.entry]\nsignal = 'entry'")
PASSES = passing([10.0, 20.0, 30.0, 40.0], 0.150)
FALSE = passing([50.0, 50.02, 50.04, 50.06], 0.008)


def _replayed(intervals: list[tuple[float, float]], *settings_s: float):  # type: ignore[no-untyped-def]
    known = analysis_of(
        BEAM,
        beams={"entry": switching(intervals, 100.0)},
        bursts={"entry": (Burst(49.99, 50.08, 8, 0.008, 0.012),)},
        honest_dwell_s={"entry": 0.06},
    )
    (found,) = sum_up(list(replay_debounce(known, settings_s)))
    return found


def test_a_short_debounce_counts_false_edges_and_a_long_one_misses_passes() -> None:
    found = _replayed([*PASSES, *FALSE], 0.005, 0.05, 0.2)
    told = [(one.counted, one.missed, one.extra) for one in found.asked]
    assert told == [(8, 0, 4), (4, 0, 0), (0, 4, 0)]


def test_the_plateau_lies_between_the_false_edges_and_the_passes() -> None:
    plateau = _replayed([*PASSES, *FALSE], 0.05).plateau
    assert 0.008 <= plateau.low <= 0.016
    assert 0.130 <= plateau.high <= 0.150
    assert plateau.low < plateau.recommended < plateau.high
    assert plateau.margin == pytest.approx((plateau.high / plateau.low) ** 0.5)
    assert not plateau.low_open
    assert not plateau.high_open


def test_two_passes_that_a_debounce_makes_one_are_a_miss() -> None:
    close = [(10.0, 10.1), (10.15, 10.25)]
    (one,) = _replayed(close, 0.08).asked
    assert (one.counted, one.missed, one.extra) == (1, 1, 0)


def test_nothing_to_count_recommends_nothing() -> None:
    found = _replayed([], 0.01)
    assert found.plateau is None
    assert "no setting is recommended" in found.text


def test_where_one_setting_alone_does_best_there_is_no_margin() -> None:
    known = analysis_of(
        BEAM,
        beams={
            "entry": switching(
                [*passing([10.0, 20.0, 30.0], 0.105), *passing([50.0, 50.19, 50.38], 0.095)], 100.0
            )
        },
        bursts={"entry": (Burst(49.9, 50.6, 6, 0.095, 0.095),)},
        honest_dwell_s={"entry": 0.097},
    )
    (found,) = sum_up(list(replay_debounce(known, [0.05])))
    assert found.plateau.low == found.plateau.high == pytest.approx(0.1, abs=0.005)
    assert "alone does best, without a mistake on 3 passes: no margin." in found.text


def test_many_logs_add_up() -> None:
    known = analysis_of(BEAM, beams={"entry": switching(PASSES, 100.0)}, honest_dwell_s={"entry": 0.06})
    (found,) = sum_up([*replay_debounce(known, [0.01]), *replay_debounce(known, [0.01])])
    assert (found.expected, found.asked[0].counted) == (8, 8)


def test_a_distance_threshold_that_is_too_low_misses_pieces() -> None:
    t_s = clock(100.0)
    log = log_of(held("hopper_mm", t_s, {(10, 12): 40.0, (20, 22): 45.0, (30, 32): 50.0}, rest=200.0))
    robot = robot_of("[ranges.hopper]\nsignal = 'hopper_mm'\nnear = 100")
    (found,) = sum_up(list(replay_distance(analysis_of(robot, log), [43.0, 100.0, 250.0], 10.0)))
    assert [(one.counted, one.missed) for one in found.asked] == [(1, 2), (3, 0), (1, 2)]
    assert 45.0 <= found.plateau.low <= 60.0  # type: ignore[union-attr]
    assert 170.0 <= found.plateau.high <= 200.0  # type: ignore[union-attr]


def test_hysteresis_keeps_a_piece_that_wavers_one() -> None:
    t_s = clock(20.0)
    log = log_of(held("hopper_mm", t_s, {(5, 6): 95.0, (6, 6.2): 105.0, (6.2, 7): 95.0}, rest=200.0))
    robot = robot_of("[ranges.hopper]\nsignal = 'hopper_mm'\nnear = 100")
    known = analysis_of(robot, log)
    without, with_it = (next(iter(replay_distance(known, [100.0], h))) for h in (0.0, 20.0))
    assert (without.asked[0].counted, with_it.asked[0].counted) == (2, 1)


def test_one_mistake_in_a_hundred_more_counts_as_good_only_where_none_is_without_any() -> None:
    def scale(*wrong: int) -> tuple[Outcome, ...]:
        return tuple(Outcome(float(10**n), 200, made, 0) for n, made in enumerate(wrong))

    flat, clean = (
        sum_up([Replay("entry", "beam", "debounce", "s", "", 200, (), scale(*wrong))])[0]
        for wrong in ((7, 6, 5, 7, 8), (2, 1, 0, 1, 2))
    )
    assert flat.plateau is not None
    assert (flat.plateau.low, flat.plateau.high, flat.plateau.most_wrong) == (1.0, 1000.0, 7)
    assert "with 5 to 7 mistakes on 200 passes" in flat.text
    assert clean.plateau is not None
    assert (clean.plateau.low, clean.plateau.high, clean.plateau.most_wrong) == (100.0, 100.0, 0)

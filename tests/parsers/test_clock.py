"""The clock: sorted where rows fill holes, split where it started over or leapt, else left alone."""

from __future__ import annotations

import numpy as np
import pytest

from parsers.channels import Groups
from parsers.clock import MendedClock, UnorderedClockError, mend_clock
from parsers.longclock import mend_long_clock


def mended(times: list[float]) -> MendedClock:
    t = np.array(times, dtype=np.float64)
    t.setflags(write=False)
    return mend_clock(t)


def test_a_clock_that_rises_is_left_alone() -> None:
    clock = mended([3.0, 3.1, 3.2, 3.2, 3.3])

    assert clock.order is None
    np.testing.assert_allclose(clock.t_s, [0.0, 0.1, 0.2, 0.2, 0.3])


@pytest.mark.parametrize(
    ("times", "order"),
    [
        ([0, 1, 3, 2, 4, 5], [0, 1, 3, 2, 4, 5]),
        ([1, 0, 2, 3, 4, 5], [1, 0, 2, 3, 4, 5]),
        ([0, 1, 5, 6, 2, 3, 4, 7], [0, 1, 4, 5, 6, 2, 3, 7]),
        ([0, 4, 1, 2, 3, 5, 6], [0, 2, 3, 4, 1, 5, 6]),
        ([0, 1, 2, 2.9, 2.8, 4, 5], [0, 1, 2, 4, 3, 5, 6]),
    ],
)
def test_rows_that_fill_holes_are_sorted_in(times: list[float], order: list[int]) -> None:
    clock = mended(times)

    assert clock.order is not None
    assert clock.order.tolist() == order
    assert len(clock.resets) == len(clock.jumps) == 0
    assert len(clock.late) > 0


def test_a_shuffled_log_is_sorted() -> None:
    shuffled = np.random.default_rng(3).permutation(500) * 0.02
    clock = mended(shuffled.tolist())

    np.testing.assert_allclose(clock.t_s, np.arange(500) * 0.02, atol=1e-9)
    assert clock.seams_s == ()


@pytest.mark.parametrize(
    ("second_from", "phase"), [(0.0, 0.0), (0.0, 0.5), (50.0, 0.0), (50.0, 0.37), (99.0, 0.5)]
)
def test_a_clock_that_starts_over_is_not_sorted_in(second_from: float, phase: float) -> None:
    first = np.arange(50.0, 150.0)
    second = second_from + phase + np.arange(120.0)
    clock = mended([*first, *second])

    assert clock.order is None
    assert clock.resets.tolist() == [100]
    np.testing.assert_allclose(clock.t_s, [*(first - 50), *(np.arange(120.0) + 100)])
    assert clock.seams_s == (100.0,)


def test_two_restarts_make_three_pieces() -> None:
    clock = mended([*range(30), *range(20), *range(40)])

    assert clock.resets.tolist() == [30, 50]
    assert clock.seams_s == (30.0, 50.0)


def test_a_clock_that_falls_under_a_repeated_header_started_over_however_its_rows_would_fit() -> None:
    times = np.array([*(t for t in range(20) if t not in (5, 11)), 5, 11, 20, 21], dtype=np.float64)

    assert mend_clock(times).late.tolist() == [18, 19]
    clock = mend_clock(times, np.array([18]))
    assert clock.resets.tolist() == [18]
    assert len(clock.late) == 0
    assert clock.t_s[-4:].tolist() == [20.0, 26.0, 35.0, 36.0]


def test_a_repeated_header_parts_no_clock_that_runs_on() -> None:
    clock = mend_clock(np.array([0.0, 1.0, 2.0, 4.0, 3.0, 5.0]), np.array([2]))

    assert len(clock.resets) == 0
    assert clock.late.tolist() == [4]


def test_a_late_row_in_a_piece_behind_a_restart_is_sorted_in_its_piece() -> None:
    clock = mended([*range(30), 0, 1, 2, 4, 3, *range(5, 30)])

    assert clock.resets.tolist() == [30]
    assert clock.late.tolist() == [34]
    assert np.all(np.diff(clock.t_s) == 1.0)


def test_the_first_row_of_a_piece_may_come_late() -> None:
    clock = mended([*range(30), 1, 0, 2, 3, *range(4, 40)])

    assert clock.seams_s == (30.0,)
    assert np.all(np.diff(clock.t_s) == 1.0)


@pytest.mark.parametrize(("step_s", "jumps"), [(600.0, 0), (600.1, 1)])
def test_a_leap_counts_from_ten_minutes(step_s: float, jumps: int) -> None:
    clock = mended([0, 1, 2, 2 + step_s, 3 + step_s])

    assert len(clock.jumps) == jumps
    assert clock.t_s[-1] == pytest.approx(4.0 if jumps else 3 + step_s)


@pytest.mark.parametrize("wild", [5000.0, -5000.0, 55.5])
def test_one_wild_time_is_spoiled(wild: float) -> None:
    times = [float(i) for i in range(60)]
    times[20] = wild
    clock = mended(times)

    assert clock.spoiled.tolist() == [20]
    assert clock.order is not None
    assert 20 not in clock.order
    assert clock.seams_s == ()


def test_times_without_any_order_are_refused() -> None:
    rng = np.random.default_rng(5)
    with pytest.raises(UnorderedClockError):
        mended((rng.random(3000) ** 3 * 1000).tolist())


def long_clock(rows: list[tuple[str, float]], again: list[int] | None = None) -> MendedClock:
    names = list(dict.fromkeys(name for name, _ in rows))
    codes = np.array([names.index(name) for name, _ in rows])
    order = np.argsort(codes, kind="stable")
    bounds = np.searchsorted(codes[order], np.arange(len(names) + 1))
    times = np.array([t for _, t in rows])
    return mend_long_clock(times, Groups(names, order, bounds), np.array(again or [], dtype=np.intp))


def test_a_batch_log_that_soon_goes_back_to_where_it_began_started_over() -> None:
    first = [("a", 0.06), ("b", 0.31), ("c", 0.0), ("a", 0.57), ("b", 0.73)]
    anew = [
        ("a", 0.12),
        ("c", 0.0),
        ("b", 0.27),
        ("a", 0.64),
        ("b", 0.77),
        ("a", 1.13),
        ("b", 1.26),
        ("a", 1.62),
    ]

    clock = long_clock(first + anew)
    assert len(clock.resets) == 1
    assert sorted(clock.t_s)[5] == pytest.approx(0.73 + 1.0)

    once_back = long_clock([*first, ("a", 1.13), ("b", 0.72), ("b", 1.26), ("c", 0.9), ("a", 1.62)])
    assert len(once_back.resets) == 0


def test_rows_by_channel_are_merged_without_a_repair() -> None:
    clock = long_clock([*(("a", t) for t in (0.0, 1.0, 2.0)), *(("b", t) for t in (0.5, 1.0, 1.5))])

    assert clock.order is not None
    assert clock.order.tolist() == [0, 3, 1, 4, 5, 2]
    assert len(clock.late) == len(clock.resets) == 0


def test_a_restart_in_every_channel_of_a_log_by_channel_is_one_restart() -> None:
    times = [0.0, 1.0, 2.0, 0.0, 1.0]
    clock = long_clock([("a", t) for t in times] + [("b", t + 0.5) for t in times])

    assert clock.order is not None
    assert clock.order.tolist() == [0, 5, 1, 6, 2, 7, 3, 8, 4, 9]
    assert clock.seams_s == (3.5,)
    assert len(clock.resets) == 1


def runs_of_two_channels(*counts: int) -> list[tuple[str, float]]:
    """Runs from 0 on, of two channels that tick at odd moments between each other."""
    return [
        (name, i + off) for count in counts for i in range(count) for name, off in (("a", 0.0), ("b", 0.3))
    ]


def test_a_run_of_few_rows_between_two_restarts_of_a_long_log_is_a_run_of_its_own() -> None:
    clock = long_clock(runs_of_two_channels(20, 3, 10))

    assert clock.resets.tolist() == [40, 46]
    assert len(clock.late) == 0


def test_a_long_log_starts_over_under_a_repeated_header_where_its_channels_fall() -> None:
    rows = [(name, float(t)) for t in range(0, 60, 4) for name in "abc"]
    rows += [("a", 53.0), ("b", 54.0), ("c", 59.5)]

    assert len(long_clock(rows).resets) == 0
    assert long_clock(rows, [45]).resets.tolist() == [45]
    assert len(long_clock(rows, [4]).resets) == 0


def test_in_batches_a_run_begins_with_the_channel_that_leads_the_file() -> None:
    """The switch `b` says in which run its lone rows lie only by its place in the batch."""
    run = [("a", 0.1 * i) for i in range(20)] + [("b", 0.05), ("c", 0.4), ("c", 1.4)]

    assert long_clock(run + run).resets.tolist() == [23]


def test_channels_that_disagree_about_restarts_are_refused() -> None:
    rows = [("a", t) for t in (0.0, 1.0, 2.0, 0.0, 1.0)] + [("b", t) for t in (0.0, 1.0, 2.0)]

    with pytest.raises(UnorderedClockError):
        long_clock(rows)


def test_many_rows_behind_others_of_their_own_channels_are_refused_where_no_restart_is_told() -> None:
    rows = [(name, float(t)) for t in (0, 4, 9) for name in "abcd"]
    rows += [("a", 5.0), ("b", 6.0), ("a", 9.5), ("b", 9.5), ("c", 9.5), ("d", 9.5)]

    with pytest.raises(UnorderedClockError):
        long_clock(rows)


def test_a_log_of_which_more_than_a_tenth_would_have_to_be_sorted_in_is_refused() -> None:
    first = [("c", 0.0), ("c", 11.0), ("a", 11.0), ("c", 12.0), ("b", 16.0)]
    with pytest.raises(UnorderedClockError):
        long_clock([*first, ("a", 1.0), ("a", 8.0), ("a", 10.0), ("a", 11.0), ("b", 18.0)])


def test_a_few_rows_that_lie_late_among_other_channels_are_a_repair() -> None:
    rows = [("ab"[i % 2], float(i)) for i in range(40)]
    rows[10], rows[11] = rows[11], rows[10]
    clock = long_clock(rows)

    assert clock.late.tolist() == [11]
    assert np.all(np.diff(clock.t_s) == 1.0)


def events(seed: int) -> list[tuple[str, float]]:
    """Of three switches, at moments of their own."""
    moments = np.random.default_rng(seed)
    return [(name, float(t)) for name in "abc" for t in np.round(moments.uniform(0, 100, 60), 3)]


@pytest.mark.parametrize("seed", range(4))
def test_events_in_batches_are_no_repair(seed: int) -> None:
    in_batches = sorted(events(seed), key=lambda row: (row[1] // 0.5, row[0], row[1]))

    clock = long_clock(in_batches)
    assert clock.order is not None
    assert len(clock.late) == 0


@pytest.mark.parametrize("seed", range(4))
def test_events_that_were_moved_are_counted_one_by_one(seed: int) -> None:
    rows = sorted(events(seed), key=lambda row: row[1])
    turns = [i for i in range(len(rows) - 1) if rows[i][0] != rows[i + 1][0]]
    for i in turns[::20]:
        rows[i], rows[i + 1] = rows[i + 1], rows[i]

    assert len(long_clock(rows).late) == len(turns[::20])


def test_batches_by_channel_are_a_habit_and_no_repair() -> None:
    rows = [(name, float(start + i)) for start in range(0, 40, 10) for name in "ab" for i in range(10)]
    clock = long_clock(rows)

    assert len(clock.late) == len(clock.resets) == 0
    np.testing.assert_array_equal(clock.t_s, np.repeat(np.arange(40.0), 2))


def merged_rows(rates_hz: dict[str, float], events: dict[str, list[float]]) -> list[tuple[str, float]]:
    """Ten seconds of a long log in order of time: steady channels, and some that come at events."""
    steady = [(name, i / hz) for name, hz in rates_hz.items() for i in range(int(10 * hz))]
    sparse = [(name, t) for name, times in events.items() for t in times]
    return sorted(steady + sparse, key=lambda row: row[1])


MERGED = merged_rows(
    {"current": 50, "speed": 20, "range": 10},
    {"beam": [0.1 + 0.83 * i for i in range(12)], "mode": [0.05, 3.01, 6.512, 8.333]},
)


@pytest.mark.parametrize("window_s", [0.05, 0.1, 0.5, 2.0])
@pytest.mark.parametrize("names", ["current speed range beam mode", "mode beam range speed current"])
def test_batches_in_which_a_fast_channel_leads_are_no_repair(window_s: float, names: str) -> None:
    place = names.split().index
    clock = long_clock(sorted(MERGED, key=lambda row: (row[1] // window_s, place(row[0]), row[1])))

    assert len(clock.late) == len(clock.resets) == len(clock.spoiled) == 0


@pytest.mark.parametrize("slow", ["beam", "speed"])
def test_a_channel_that_is_always_written_late_is_no_repair(slow: str) -> None:
    clock = long_clock(sorted(MERGED, key=lambda row: row[1] + 0.03 * (row[0] == slow)))

    assert len(clock.late) == len(clock.resets) == len(clock.spoiled) == 0


def test_a_buffer_of_each_channels_own_is_no_repair() -> None:
    held: dict[str, list[tuple[str, float]]] = {}
    rows: list[tuple[str, float]] = []
    for row in MERGED:
        held.setdefault(row[0], []).append(row)
        if len(held[row[0]]) == {"current": 1, "speed": 1}.get(row[0], 8):
            rows += held.pop(row[0])
    clock = long_clock(rows + [row for left in held.values() for row in left])

    assert len(clock.late) == len(clock.resets) == len(clock.spoiled) == 0


@pytest.mark.parametrize("later", [1, 2, 5, 20])
def test_rows_truly_moved_in_a_long_log_are_counted_one_by_one(later: int) -> None:
    rows = list(MERGED)
    for place in (150, 400, 650):
        while rows[place][1] >= rows[place + 1][1]:
            place += 1
        rows.insert(place + later, rows.pop(place))
    clock = long_clock(rows)

    assert len(clock.late) == 3
    assert len(clock.resets) == len(clock.spoiled) == 0


def test_a_row_moved_within_its_channel_is_told_beside_batches() -> None:
    rows = sorted(MERGED, key=lambda row: (row[1] // 0.5, row[0], row[1]))
    own = [place for place, (name, _) in enumerate(rows) if name == "current"]
    rows[own[200]], rows[own[201]] = rows[own[201]], rows[own[200]]
    clock = long_clock(rows)

    assert len(clock.late) == 1
    assert len(clock.resets) == len(clock.spoiled) == 0


def test_of_two_rows_far_apart_that_were_swapped_two_are_out_of_order() -> None:
    times = [round(0.02 * i, 2) for i in range(200)]
    times[50], times[90] = times[90], times[50]
    clock = mended(times)

    assert clock.late.tolist() == [50, 90]
    assert np.allclose(np.diff(clock.t_s), 0.02)


def test_a_lone_time_from_long_ago_is_spoiled_beside_a_hole_of_six_ticks_too() -> None:
    times = [700 + round(0.01 * i, 2) for i in range(100)]
    del times[50:55]
    times[50] = 0.02
    clock = mended(times)

    assert clock.spoiled.tolist() == [50]
    assert clock.seams_s == ()

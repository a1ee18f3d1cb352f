"""Long logs written window after window: of few rows, or with a clock that starts over."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.parsers.test_odd_long_logs import Row, assert_holds_all, in_batches, lines, read

HEADER = "time_s,channel,value\n"


def sampled(name: str, hz: float, until_s: float, first_s: float = 0.0) -> list[Row]:
    count = int((until_s - first_s) * hz)
    return [(round(first_s + i / hz, 3), name, f"{i % 10}.5") for i in range(count)]


@pytest.mark.parametrize("window_s", [0.3, 1.0])
def test_two_late_rows_of_a_log_of_few_may_be_a_batch_and_no_fault(window_s: float, tmp_path: Path) -> None:
    rows = sampled("range", 2, 6.0) + sampled("load", 0.5, 6.0, 0.44)
    log = read(tmp_path, HEADER + lines(in_batches(rows, window_s)))

    assert log.repairs == ()
    assert_holds_all(log, rows)


def test_a_row_moved_among_many_close_ones_in_order_is_told(tmp_path: Path) -> None:
    rows = sorted(sampled("range", 20, 4.0) + sampled("load", 20, 4.0, 0.02))
    moved = rows.copy()
    moved[50], moved[51] = moved[51], moved[50]
    log = read(tmp_path, HEADER + lines(moved))

    assert [(repair.kind, repair.count) for repair in log.repairs] == [("reordered_rows", 1)]
    assert_holds_all(log, rows)


def test_a_channel_that_speaks_first_after_a_restart_is_of_the_new_run(tmp_path: Path) -> None:
    first = sampled("b speed", 10, 3.0) + sampled("c load", 10, 3.0, 0.03)
    second = [*first, (0.1, "a mode", "1.5")]
    log = read(tmp_path, HEADER + lines(in_batches(first, 0.5) + in_batches(second, 0.5)))

    seam_s = max(t for t, _, _ in first) + 1
    assert [repair.kind for repair in log.repairs] == ["clock_reset"]
    assert_holds_all(log, first + [(seam_s + t, name, value) for t, name, value in second])


def test_a_row_that_may_be_of_either_run_is_left_out_and_told(tmp_path: Path) -> None:
    run = sampled("b speed", 10, 0.5) + sampled("c load", 10, 0.5, 0.03)
    text = (
        lines(in_batches(run, 0.5)) + "0.2,z mode,1.5\n" + lines(in_batches(sampled("c load", 10, 3.0), 0.5))
    )
    log = read(tmp_path, HEADER + text)

    assert [(repair.kind, repair.count) for repair in log.repairs] == [
        ("unreadable_row", 1),
        ("clock_reset", 1),
    ]
    assert "z mode" not in log.channels


def test_a_value_that_counts_is_no_clock_beside_words_in_its_column(tmp_path: Path) -> None:
    rows = [(t, name, f"{10 * t:.1f}") for t, name, _ in sampled("position", 5, 6.0)]
    rows += [(round(0.465 + 0.5 * i, 3), "mode", ("intake", "fire")[i % 2]) for i in range(11)]
    log = read(tmp_path, lines(in_batches(rows, 1.0)))

    assert (log.shape, log.dialect.time_column, log.repairs) == ("long", "column 1", ())
    assert_holds_all(log, rows)


def test_without_a_header_dates_are_a_clock_though_channels_say_little(tmp_path: Path) -> None:
    rows = [(round(0.643 + i, 3), "drum", ("off", "on")[i % 2]) for i in range(7)]
    rows += [(round(1.462 + i, 3), "hatch", ("open", "shut")[i % 2]) for i in range(7)]
    rows += [(t, "ladle", ("off", "on")[i % 2]) for i, t in enumerate((0.535, 0.835, 7.635))]
    rows += [(0.508, "boom", "low"), (5.888, "boom", "high")]
    text = "".join(f"2026-03-01 10:00:{t:06.3f},{name},{value}\n" for t, name, value in in_batches(rows, 0.5))
    log = read(tmp_path, text)

    assert (log.shape, log.dialect.time_column, log.repairs) == ("long", "column 1", ())
    assert_holds_all(log, [(round(t - 0.508, 3), name, value) for t, name, value in rows])

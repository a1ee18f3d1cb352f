"""Silences of the whole log."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.estimators.gaps import find_gaps
from tests.telemetry.building import RATES_HZ, change_logged, clock, inside
from tests.telemetry.logs import log_of, numbers


def test_a_gap_runs_from_the_last_instant_before_to_the_first_after() -> None:
    t_s = [0.0, 0.1, 0.2, 0.3, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8]
    assert find_gaps(log_of(numbers("load_a", [1] * 10, t_s))).tolist() == [[0.3, 1.3]]


@pytest.mark.parametrize(("silent_s", "number"), [(0.24, 0), (0.26, 1)])
def test_a_quarter_of_a_second_at_50_hz(silent_s: float, number: int) -> None:
    t_s = [*np.arange(0, 1, 0.02), *np.arange(0.98 + silent_s, 2, 0.02)]
    assert len(find_gaps(log_of(numbers("load_a", [1] * len(t_s), t_s)))) == number


@pytest.mark.parametrize(("silent_s", "number"), [(4.9, 0), (5.1, 1)])
def test_five_periods_of_a_slow_log(silent_s: float, number: int) -> None:
    t_s = [*range(10), 9 + silent_s, 10 + silent_s]
    assert len(find_gaps(log_of(numbers("load_a", [1] * len(t_s), t_s)))) == number


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_two_gaps_at_any_rate(rate_hz: float, jitter: float) -> None:
    t_s = clock(30, rate_hz, jitter=jitter)
    t_s = t_s[~inside(t_s, [(5.0, 6.0), (20.0, 24.0)])]
    found = find_gaps(log_of(numbers("load_a", np.ones(len(t_s)).tolist(), t_s.tolist())))
    assert found == pytest.approx(np.array([[5.0, 6.0], [20.0, 24.0]]), abs=(1 + 2 * jitter) / rate_hz + 1e-9)


def test_a_channel_that_keeps_quiet_alone_is_no_gap_of_the_log() -> None:
    t_s = clock(10)
    quiet = t_s[~inside(t_s, [(3.0, 8.0)])]
    log = log_of(
        numbers("load_a", [1] * len(t_s), t_s.tolist()), numbers("v", [1] * len(quiet), quiet.tolist())
    )
    assert find_gaps(log).shape == (0, 2)


def test_silence_says_nothing_in_a_log_of_changes() -> None:
    assert find_gaps(log_of(change_logged("beam", [(1, 2), (60, 61)]))).shape == (0, 2)
    load = replace(numbers("load_a", [1, 2, 3], [0, 1, 90]), sampled=False)
    assert find_gaps(log_of(load)).shape == (0, 2)


@pytest.mark.parametrize("t_s", [[], [1.0], [1.0, 9.0], [1.0, 1.0]])
def test_hardly_anything_has_no_gap(t_s: list[float]) -> None:
    assert find_gaps(log_of(numbers("load_a", [1] * len(t_s), t_s))).shape == (0, 2)

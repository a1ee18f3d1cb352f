"""Beams and limits read as on and off, whatever they are called in the log."""

from __future__ import annotations

import pytest

from telemetry.estimators.switches import read_beams, read_limits
from telemetry.log import Channel
from tests.telemetry.building import RATES_HZ, change_logged, clock, robot_of, sampled_switch
from tests.telemetry.logs import log_of, numbers, switch, words

ON = [(2.0, 3.0), (5.0, 7.0)]
EDGES_S = [0.0, 2.0, 3.0, 5.0, 7.0]


def _beams(broken: str) -> str:
    return f'[beams.entry]\nsignal = "b"\nbroken = {broken}\n'


@pytest.mark.parametrize(
    ("channel", "broken"),
    [
        (switch("b", [0, 0, 1, 0, 0, 1, 1, 0, 0, 0]), "1"),
        (switch("b", [0, 0, 1, 0, 0, 1, 1, 0, 0, 0]), "true"),
        (switch("b", [1, 1, 0, 1, 1, 0, 0, 1, 1, 1]), "0"),
        (switch("b", [1, 1, 0, 1, 1, 0, 0, 1, 1, 1], labels=("false", "true")), "false"),
        (switch("b", [1, 1, 0, 1, 1, 0, 0, 1, 1, 1], labels=("low", "high")), '"LOW"'),
        (words("b", [("clear", "cut")[on] for on in (0, 0, 1, 0, 0, 1, 1, 0, 0, 0)]), '"cut"'),
        (numbers("b", [0, 0, 5, 0, 0, 5, 5, 0, 0, 0]), "5"),
        (change_logged("b", ON), "1"),
        (change_logged("b", ON, on_value=0), "0"),
    ],
)
def test_on_is_broken_whatever_stands_for_it(channel: Channel, broken: str) -> None:
    beam = read_beams(log_of(channel), robot_of(_beams(broken)), 10.0)["entry"]
    assert beam.t_s.tolist() == EDGES_S
    assert beam.on.tolist() == [False, True, False, True, False]
    assert beam.transitions == 4
    assert beam.end_s == 10.0


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_edges_within_a_sample_at_any_rate(rate_hz: float, jitter: float) -> None:
    t_s = clock(10, rate_hz, jitter=jitter)
    log = log_of(sampled_switch("b", t_s, ON))
    beam = read_beams(log, robot_of(_beams("1")), 10.0)["entry"]
    assert beam.t_s.tolist() == pytest.approx(EDGES_S, abs=(1 + 2 * jitter) / rate_hz)
    assert beam.period_s == pytest.approx(1 / rate_hz, rel=0.25)


def test_a_change_log_has_no_period() -> None:
    assert read_beams(log_of(change_logged("b", ON)), robot_of(_beams("1")), 10.0)["entry"].period_s == 0


def test_a_value_that_never_occurs_is_never_on() -> None:
    beam = read_beams(log_of(words("b", ["clear", "cut"])), robot_of(_beams('"gone"')), 2.0)["entry"]
    assert (beam.t_s.tolist(), beam.on.tolist(), beam.transitions) == ([0], [False], 0)


def test_what_the_log_lacks_is_left_out() -> None:
    robot = robot_of(_beams("1") + '[beams.gate]\nsignal = "g"\n')
    assert list(read_beams(log_of(switch("b", [0, 1])), robot, 2.0)) == ["entry"]
    assert dict(read_beams(log_of(switch("b", [])), robot, 2.0)) == {}


def test_limits_are_read_alike() -> None:
    robot = robot_of('[limits.low]\nsignal = "b"\npressed = 0\n')
    assert read_limits(log_of(change_logged("b", ON, on_value=0)), robot, 10.0)["low"].t_s.tolist() == EDGES_S
    assert dict(read_beams(log_of(change_logged("b", ON)), robot, 10.0)) == {}

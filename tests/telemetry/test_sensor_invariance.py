"""The same match read at other rates, evenly and late: the same findings, within a reading."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from telemetry.analysis import Analysis
from telemetry.judge import judge
from telemetry.log import Channel, FloatArray, Log
from tests.telemetry.building import clock, inside, robot_of, sampled_switch
from tests.telemetry.logs import log_of, numbers

RATES_HZ = (10.0, 50.0, 60.0, 1000.0)
LENGTH_S = 60.0
UP, DOWN = [(5.0, 9.0), (25.0, 28.0)], [(12.0, 15.0), (32.0, 33.8)]
LOW = [(0.0, 5.0), (15.0, 25.0), (33.8, 60.0)]
HIGH = [(8.0, 12.0), (20.0, 21.0), (28.0, 32.0)]
HITS = [(18.0, 18.2), (30.0, 30.2)]
FROZEN, SILENT = (40.0, 43.0), (46.0, 49.0)

ROBOT = robot_of(
    '[motors.arm]\ncurrent = "arm_a"\ncommand = "arm_duty"\nspeed = "arm_rad_s"\n'
    '[limits.low]\nsignal = "low"\nmotor = "arm"\nstops = "negative"\n'
    '[limits.high]\nsignal = "high"\nmotor = "arm"\nstops = "positive"\n'
    '[ranges.hopper]\nsignal = "hopper_mm"\nnear = 60\n'
    '[contact]\naccelerometer = ["x_g", "y_g"]\n'
    '[match]\nphase = "mode"\nvalues = { disabled = [0], autonomous = [1], teleop = [2] }\n'
)

EXPECTED = {
    ("limit_overrun", "high"): 8.0,
    ("limit_conflict", "high"): 20.0,
    ("limit_stray", "high"): 20.0,
    ("limit_stray", "low"): 33.8,
    ("flatline", "hopper"): FROZEN[0],
    ("flatline", "y_g"): SILENT[0],
}


def _frozen(t_s: FloatArray, values: FloatArray) -> FloatArray:
    """The last value before the fault, over and over."""
    still = inside(t_s, [FROZEN])
    return np.where(still, values[max(int(np.argmax(still)) - 1, 0)], values)


def _log(rate_hz: float, jitter: float) -> Log:
    t_s = clock(LENGTH_S, rate_hz, jitter=jitter)
    rng = np.random.default_rng(3)

    def noisy(values: FloatArray, by: float) -> FloatArray:
        return values + by * rng.standard_normal(len(t_s))

    duty = np.where(inside(t_s, UP), 0.8, np.where(inside(t_s, DOWN), -0.8, 0.0))
    moving = inside(t_s, [(5.0, 8.0), (25.0, 28.0), *DOWN])
    x_g = np.zeros(len(t_s))
    for start_s, end_s in HITS:
        pulse = 4.0 * np.sin(np.pi * (t_s - start_s) / (end_s - start_s))
        x_g += np.where(inside(t_s, [(start_s, end_s)]), pulse, 0.0)
    piece = inside(t_s, [(at, at + 0.5) for at in np.arange(4.0, 56.0, 4.0)])
    felt = {
        "mode": np.where(inside(t_s, [(1.0, 58.0)]), 2.0, 0.0),
        "arm_a": noisy(np.where(duty != 0, 15.0, 0.0), 0.1),
        "arm_duty": duty,
        "arm_rad_s": np.where(moving, 250.0 * np.sign(duty), 0.0),
        "hopper_mm": _frozen(t_s, noisy(np.where(piece, 40.0, 150.0), 2.0)),
        "x_g": noisy(x_g, 0.02),
    }
    channels: list[Channel] = [numbers(name, read.tolist(), t_s.tolist()) for name, read in felt.items()]
    sends = ~inside(t_s, [SILENT])
    channels.append(numbers("y_g", noisy(0.0 * t_s, 0.02)[sends].tolist(), t_s[sends].tolist()))
    return log_of(*channels, sampled_switch("low", t_s, LOW), sampled_switch("high", t_s, HIGH))


@cache
def _judged(rate_hz: float, jitter: float) -> Analysis:
    (analysis,) = judge(_log(rate_hz, jitter), ROBOT, name="match-01")
    assert analysis.failures == ()
    return analysis


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_the_findings_of_sensors_are_the_same_at_any_rate(rate_hz: float, jitter: float) -> None:
    found = {
        (finding.kind, finding.subject): finding.start_s for finding in _judged(rate_hz, jitter).findings
    }
    sensors = {key: at_s for key, at_s in found.items() if key[1] != "arm"}
    assert sensors == pytest.approx(EXPECTED, abs=(1 + 2 * jitter) / rate_hz + 1e-6)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_the_hits_are_the_same_at_any_rate(rate_hz: float, jitter: float) -> None:
    """Their onset is where 0.3 of the peak is reached, 20 ms after they begin."""
    found = [contact.t_s for contact in _judged(rate_hz, jitter).contacts]
    assert found == pytest.approx([at + 0.02 for at, _ in HITS], abs=(1 + 2 * jitter) / rate_hz + 1e-6)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_the_ways_from_limit_to_limit_are_the_same_at_any_rate(rate_hz: float, jitter: float) -> None:
    found = [travel.end_s - travel.start_s for travel in _judged(rate_hz, jitter).travels]
    assert found == pytest.approx([3.0, 3.0, 3.0, 1.8], abs=(1 + 2 * jitter) / rate_hz + 1e-6)

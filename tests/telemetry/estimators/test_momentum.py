"""Pieces told by what they take out of a launcher's wheel, beyond what its motor and friction explain."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.momentum import dips_by_momentum, following_dips
from telemetry.log import FloatArray
from telemetry.records.motors import MotorTrace

_GAIN, _FRICTION, _DRIVE_A = 6.0, 0.1, 6.0
"""rad/s² for each A; 1/s; A that the controller adds for each rad/s it is short of."""
_TARGET_RAD_S, _STEP_S = 400.0, 0.001


def _wheel(
    rate_hz: float, met_s: tuple[float, ...], *, take: float = 0.06, weaker: tuple[float, float] = (0, 0)
) -> MotorTrace:
    """A wheel brought up to its target and held there by up to 60 A; each piece takes a share of its speed.

    Between the two instants of `weaker` the motor is let go of, as by a battery that sags.
    """
    at_s = np.arange(0.0, 20.0, _STEP_S)
    speed, current = np.empty(len(at_s)), np.empty(len(at_s))
    now, due = 0.0, [*met_s]
    for k, t in enumerate(at_s):
        let_go = weaker[0] <= t < weaker[1]
        short = _TARGET_RAD_S * (1 + _FRICTION / (_GAIN * _DRIVE_A)) - now
        current[k] = 0.0 if let_go else float(np.clip(_DRIVE_A * short, 0.0, 60.0))
        now += _STEP_S * (_GAIN * current[k] - _FRICTION * now)
        if due and t >= due[0] - 1e-9:
            now *= 1 - take
            due.pop(0)
        speed[k] = now
    rng = np.random.default_rng(3)
    every = round(1 / rate_hz / _STEP_S)
    t_s, read = at_s[::every], speed[::every] + 0.5 * rng.standard_normal(len(at_s[::every]))
    return _trace(t_s, current[::every], read)


def _trace(t_s: FloatArray, current_a: FloatArray, speed: FloatArray) -> MotorTrace:
    nothing = np.full(len(t_s), np.nan)
    driven = np.ones(len(t_s), dtype=bool)
    return MotorTrace(t_s, current_a, nothing, speed, nothing, nothing, nothing, driven, "channel")


def _dips_s(trace: MotorTrace) -> list[float]:
    found_s = dips_by_momentum(trace, None, np.ones(len(trace.t_s), dtype=bool))
    assert found_s is not None
    return [float(at) for at in found_s]


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 250.0])
def test_pieces_so_close_that_the_wheel_does_not_recover_between_them(rate_hz: float) -> None:
    met_s = (4.0, 4.1, 4.2, 9.0, 9.1, 15.0)
    assert _dips_s(_wheel(rate_hz, met_s)) == pytest.approx(met_s, abs=1.5 / rate_hz)


def test_two_pieces_between_two_readings_told_by_how_much_they_take() -> None:
    met_s = (4.02, 4.08, 7.05, 9.03, 9.07, 12.05, 15.05, 17.05)
    found_s = _dips_s(_wheel(10.0, met_s))
    assert len(found_s) == len(met_s)
    assert found_s == pytest.approx(met_s, abs=0.1)


def test_a_wheel_that_is_let_go_of_meets_nothing() -> None:
    trace = _wheel(50.0, (4.0, 15.0), weaker=(8.0, 9.2))
    assert float(np.ptp(trace.speed_rad_s[(trace.t_s > 8) & (trace.t_s < 9.2)])) > 0.08 * _TARGET_RAD_S
    assert _dips_s(trace) == pytest.approx([4.0, 15.0], abs=0.03)


def test_noise_alone_is_no_piece() -> None:
    found_s = dips_by_momentum(_wheel(50.0, ()), None, np.ones(1000, dtype=bool))
    assert found_s is None or not len(found_s)


def test_too_little_taken_is_left_to_others() -> None:
    running = np.ones(5000, dtype=bool)
    assert dips_by_momentum(_wheel(250.0, (4.0, 9.0), take=0.012), None, running) is None


def test_a_current_that_tells_nothing_of_the_speed_is_left_to_others() -> None:
    t_s = np.arange(0, 10, 0.02)
    speed = 400 + 20 * np.sin(t_s)
    trace = _trace(t_s, 30 - 20 * np.cos(t_s), speed)
    assert dips_by_momentum(trace, None, np.ones(len(t_s), dtype=bool)) is None


def test_what_follows_a_known_dip_is_added_and_nothing_else() -> None:
    trace = _wheel(100.0, (4.0, 4.1, 9.0, 15.0))
    assert following_dips(trace, np.array([4.0, 15.0])) == pytest.approx([4.0, 4.1, 15.0], abs=0.015)
    assert len(following_dips(trace, np.empty(0))) == 0

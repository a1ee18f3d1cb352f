"""A breaker's load along its curve, and a chain's along its breaking load."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.drivetrain import chain_load_share
from telemetry.estimators.breakers import GENERAL_CURVE, breaker_load, curve_of
from telemetry.estimators.chains import chain_shares
from telemetry.log import FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.robot import Chain, Motor
from tests.telemetry.building import clock

OWN = [(1.5, 40.0), (3.0, 2.0)]
MOTOR = Motor(breaker_a=10, breaker_curve=OWN)


def _trace(t_s: FloatArray, drawn_a: FloatArray, current_a: FloatArray | None = None) -> MotorTrace:
    nothing = np.full(len(t_s), np.nan)
    winding_a = np.abs(drawn_a) if current_a is None else current_a
    flags = np.zeros(len(t_s), dtype=bool)
    return MotorTrace(
        t_s, winding_a, nothing, nothing, nothing, nothing, nothing, flags, "none", supply_a=drawn_a
    )


def _peak(t_s: FloatArray, drawn_a: FloatArray, motor: Motor = MOTOR) -> float:
    load = breaker_load(_trace(t_s, drawn_a), motor)
    assert load is not None
    return float(load.fraction.max())


@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 250.0])
@pytest.mark.parametrize(
    ("multiple", "seconds", "fraction"), [(3.0, 1.0, 0.5), (3.0, 1.6, 0.8), (1.5, 20, 0.5)]
)
def test_time_at_a_multiple_uses_up_its_share_of_the_curve(
    rate_hz: float, multiple: float, seconds: float, fraction: float
) -> None:
    t_s = clock(60, rate_hz)
    drawn_a = np.where((t_s >= 5) & (t_s < 5 + seconds), 10 * multiple, 1.0)
    assert _peak(t_s, drawn_a) == pytest.approx(fraction, abs=0.06 if rate_hz == 10 else 0.015)


def test_below_the_curve_nothing_is_used_up() -> None:
    t_s = clock(100)
    assert _peak(t_s, np.full(len(t_s), 14.9)) == 0.0
    assert _peak(t_s, np.full(len(t_s), -50.0)) == 0.0


def test_what_it_took_it_gives_off_as_slowly() -> None:
    """Two pulses of 0.4 each: at once 0.8, forty seconds apart 0.4 · (1 + 1/e)."""
    t_s = clock(100)
    both = np.where((t_s >= 5) & (t_s < 6.6), 30.0, 1.0)
    apart = np.where(((t_s >= 5) & (t_s < 5.8)) | ((t_s >= 45.8) & (t_s < 46.6)), 30.0, 1.0)
    assert _peak(t_s, both) == pytest.approx(0.8, abs=0.02)
    assert _peak(t_s, apart) == pytest.approx(0.4 * (1 + np.exp(-1)), abs=0.02)


def test_over_a_gap_nothing_is_used_up() -> None:
    t_s = clock(60)
    t_s = t_s[(t_s < 10) | (t_s > 30)]
    assert _peak(t_s, np.where((t_s > 9.9) & (t_s < 30.1), 30.0, 1.0)) < 0.15


def test_agrees_with_a_loop_over_the_samples() -> None:
    rng = np.random.default_rng(0)
    t_s = np.cumsum(rng.uniform(0.01, 0.03, 3000))
    drawn_a = np.abs(np.cumsum(rng.normal(0, 1.5, 3000)))
    load = breaker_load(_trace(t_s, drawn_a), MOTOR)
    assert load is not None
    slope = np.log(2.0 / 40.0) / np.log(2.0)
    rate = [
        0.0 if m < 1.5 else 1 / (40 * (min(m, 3) / 1.5) ** slope / (max(m, 3) / 3) ** 2) for m in drawn_a / 10
    ]
    level, levels = 0.0, [0.0]
    for step in range(2999):
        apart_s, gain = t_s[step + 1] - t_s[step], (rate[step] + rate[step + 1]) / 2
        level = level + gain * apart_s if gain else level * np.exp(-apart_s / 40)
        levels.append(level)
    assert load.fraction == pytest.approx(np.array(levels), rel=1e-9, abs=1e-12)


def test_without_a_curve_the_general_one_serves() -> None:
    assert curve_of(Motor(breaker_a=40)) == GENERAL_CURVE
    assert curve_of(MOTOR) == tuple(OWN)
    assert curve_of(Motor(breaker_curve=OWN[::-1])) == tuple(OWN)


def test_without_rating_or_supply_side_current_there_is_no_load() -> None:
    t_s = clock(1)
    assert breaker_load(_trace(t_s, t_s), Motor()) is None
    assert breaker_load(_trace(t_s, t_s * np.nan), MOTOR) is None


CHAIN = Chain(sprocket_teeth=22, pitch_in=0.25, breaking_load_lbf=780)
SHEET = {"free_speed_rpm": 5300, "free_current_a": 2.0, "stall_current_a": 102, "stall_torque_nm": 2.5}


def test_a_chain_is_pulled_by_the_torque_behind_the_gear() -> None:
    motor = Motor(**SHEET, reduction=5, chain=CHAIN)
    t_s = clock(1)
    share = chain_shares(_trace(t_s, t_s, np.linspace(0, 102, len(t_s))), motor)
    assert share is not None
    assert share[0] == 0.0
    assert share[-1] == pytest.approx(chain_load_share(2.5, 5, CHAIN))
    assert chain_shares(_trace(t_s, t_s), Motor(**SHEET)) is None
    assert chain_shares(_trace(t_s, t_s), Motor(chain=CHAIN)) is None

"""Winding current from supply-side current and speed, against a motor integrated step by step."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.rotors import changes, fit_rotor, means, rotor_by_work
from telemetry.estimators.unseen_duty import winding_by_speed_a

OHM, K, BATTERY_V = 0.06, 0.02, 12.0
INERTIA, FRICTION_NM = 0.002, 0.05


def driven(duty, *, brakes, step_s=0.02, friction_nm=FRICTION_NM):
    """Supply current, winding current and speed of one motor under a duty at 1 kHz, read every `step_s`."""
    fine = np.repeat(duty, round(step_s * 1000))
    speed, rows = 0.0, []
    for share in fine.tolist():
        shorted = share != 0.0 or brakes
        current = (share * BATTERY_V - K * speed) / OHM if shorted else 0.0
        rows.append((share * current, current, speed))
        moved = speed + (K * current - np.sign(speed) * friction_nm) / INERTIA * 0.001
        speed = 0.0 if speed * moved < 0 and share == 0.0 else moved
    supply_a, winding_a, speed_rad_s = np.array(rows[:: round(step_s * 1000)]).T
    return np.arange(len(duty)) * step_s, supply_a, winding_a, speed_rad_s


def starts_and_stops(stop):
    """Eight times: driven for a second, the given second behind it, half a second at rest."""
    return np.tile(np.concatenate([np.full(50, 0.8), stop, np.zeros(25)]), 8)


STOPS = {
    "nothing": np.zeros(50),
    "fading duty": np.concatenate([np.linspace(0.8, 0.0, 20), np.zeros(30)]),
    "reversed": np.full(50, -0.8),
    "little duty": np.full(50, 0.2),
}


def told(t_s, supply_a, speed_rad_s):
    return between(t_s, supply_a, speed_rad_s)[1]


def between(t_s, supply_a, speed_rad_s):
    return winding_by_speed_a(
        t_s, supply_a, speed_rad_s,
        voltage_v=np.full(len(t_s), BATTERY_V), resistance_ohm=np.full(len(t_s), OHM), k_v_s_per_rad=K,
    )  # fmt: skip


def heat(t_s, current_a):
    return float(np.sum(current_a**2)) * float(t_s[1] - t_s[0])


@pytest.mark.parametrize("stop", STOPS)
@pytest.mark.parametrize("brakes", [True, False])
def test_heat_is_found_whatever_a_motor_does_between_two_drives(stop, brakes):
    t_s, supply_a, winding_a, speed_rad_s = driven(starts_and_stops(STOPS[stop]), brakes=brakes)
    found_a = told(t_s, supply_a, speed_rad_s)
    assert heat(t_s, found_a) == pytest.approx(heat(t_s, winding_a), rel=0.04)


def test_a_sign_that_goes_with_the_winding_does_as_well():
    t_s, supply_a, winding_a, speed_rad_s = driven(starts_and_stops(STOPS["reversed"]), brakes=True)
    along_a = np.abs(supply_a) * np.sign(winding_a * speed_rad_s)
    assert heat(t_s, told(t_s, along_a, speed_rad_s)) == pytest.approx(heat(t_s, winding_a), rel=0.04)


def test_without_power_a_motor_that_coasts_carries_nothing_and_one_that_brakes_does():
    for brakes in (True, False):
        t_s, supply_a, _, speed_rad_s = driven(starts_and_stops(STOPS["nothing"]), brakes=brakes)
        quiet = (supply_a == 0) & (speed_rad_s > 50)
        found_a = told(t_s, supply_a, speed_rad_s)[quiet]
        expected_a = K * speed_rad_s[quiet] / OHM if brakes else np.zeros(int(quiet.sum()))
        assert len(found_a) > 8
        assert found_a == pytest.approx(expected_a)


def test_a_piece_that_slows_a_driven_wheel_is_no_braking():
    t_s, supply_a, winding_a, speed_rad_s = driven(np.full(500, 0.8), brakes=False)
    slowed = speed_rad_s.copy()
    slowed[200:204] *= [0.95, 0.9, 0.9, 0.95]
    found_a = told(t_s, supply_a, slowed)
    assert found_a[198:206].max() < 1.3 * winding_a[199]


def test_a_short_log_is_taken_for_driving():
    t_s, supply_a, winding_a, speed_rad_s = driven(np.full(10, 0.8), brakes=False)
    assert told(t_s, supply_a, speed_rad_s) == pytest.approx(winding_a)


def test_a_load_that_comes_and_goes_hides_no_inertia():
    """At one speed the current follows the load: the straight line lies flat, the work of starts does not."""
    load_nm = 0.3 + 0.3 * np.sin(np.arange(16_000) / 150)
    duty = np.tile(np.concatenate([np.full(1800, 0.8), np.zeros(200)]), 8)
    inertia, speed, rows = 0.0003, 0.0, []
    for share, load in zip(duty.tolist(), load_nm.tolist(), strict=True):
        current = (share * BATTERY_V - K * speed) / OHM
        rows.append((current, speed))
        speed = max(speed + (K * current - load) / inertia * 0.001, 0.0)
    current_a, turns = np.array(rows).T[:, ::10]
    t_s, fed = np.arange(len(turns)) * 0.01, duty[::10] > 0
    change, drives = changes(t_s, turns)[0], fed & (turns > 10)
    current_a = np.where(fed, current_a, 0.0)
    line = fit_rotor(means(t_s, current_a)[0], change, drives)
    rotor = rotor_by_work(t_s, current_a, turns, change, drives, fed=fed, k_v_s_per_rad=K)
    assert line is not None
    assert rotor is not None
    assert line.gain < 0.6 * K / inertia
    assert rotor.gain == pytest.approx(K / inertia, rel=0.25)

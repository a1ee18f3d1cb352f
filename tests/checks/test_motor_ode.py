"""The motor by an independent integration: scipy's solve_ivp on the differential equation itself.

V·d = I·R + k·ω, J·dω/dt = k·(I − I0) − load; dH/dt = ((I/Ib)² − H) / τ. Any text on electrical machines, and
the first-order replica of IEC 60255-149. scipy serves as a solver that shares nothing with what it checks.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from telemetry.estimators.motors import trace_motors
from telemetry.estimators.use import sum_up_use
from telemetry.match import Match, Phase
from telemetry.motor_model import RAD_S_PER_RPM, MotorModel
from telemetry.records.motors import MotorTrace, MotorUse
from tests.telemetry.building import robot_of
from tests.telemetry.logs import log_of, numbers

SHEET = MotorModel(12.0, 5300, 1.8, 130, None)
VOLTS, INERTIA, LOAD_NM = 11.6, 1e-3, 0.35
CONTINUOUS_A, HEATING_S, COOLING_S = 32.0, 60.0, 300.0
LENGTH_S = 40.0
STEPS = ((0.0, 0.4), (6.0, 0.9), (14.0, 0.55), (22.0, 1.0), (30.0, 0.7))
MATCH = Match("m", 0.0, LENGTH_S, (0.0, LENGTH_S), (Phase("teleop", 0.0, LENGTH_S),), "whole log")


def _duty(t: np.ndarray | float) -> np.ndarray:
    starts = np.array([start for start, _ in STEPS])
    return np.array([duty for _, duty in STEPS])[np.searchsorted(starts, t, side="right") - 1]


def _amperes(t: float, omega: float) -> float:
    return float((_duty(t) * VOLTS - SHEET.k_v_s_per_rad * omega) / SHEET.resistance_ohm)


def _slopes(t: float, state: np.ndarray) -> list[float]:
    """Speed, thermal level, and energy out of the battery."""
    omega, level, _ = state
    amps = _amperes(t, omega)
    pull = SHEET.k_v_s_per_rad * (amps - SHEET.free_current_a) - LOAD_NM
    target = (amps / CONTINUOUS_A) ** 2
    constant = HEATING_S if target > level else COOLING_S
    return [pull / INERTIA, (target - level) / constant, float(_duty(t)) * VOLTS * amps]


@cache
def _solved() -> tuple[np.ndarray, np.ndarray]:
    """Instants at 200 Hz, and speed, level and energy there; integrated piece by piece between the steps."""
    t_s = np.arange(0, LENGTH_S, 0.005)
    parts, state = [], np.zeros(3)
    edges = [*(start for start, _ in STEPS), LENGTH_S]
    for start, end in pairwise(edges):
        inside = t_s[(t_s >= start) & (t_s < end)]
        solved = solve_ivp(
            _slopes,
            (start, end - 1e-9),
            state,
            t_eval=[*inside, end - 1e-9],
            rtol=1e-9,
            atol=1e-9,
            max_step=0.05,
        )
        parts.append(solved.y[:, :-1])
        state = solved.y[:, -1]
    return t_s, np.concatenate(parts, axis=1)


def _judged(rate_hz: float, *, speed: bool) -> tuple[np.ndarray, MotorTrace, MotorUse]:
    t_s, solved = _solved()
    every = np.arange(0, len(t_s), round(200 / rate_hz))
    at_s = t_s[every].tolist()
    amps = (_duty(t_s) * VOLTS - SHEET.k_v_s_per_rad * solved[0]) / SHEET.resistance_ohm
    robot = robot_of(
        '[motors.one]\ncurrent = "a_a"\ncommand = "duty"\n'
        + ('speed = "one_rad_s"\n' if speed else "")
        + "free_speed_rpm = 5300\nfree_current_a = 1.8\nstall_current_a = 130\n"
        f"continuous_current_a = {CONTINUOUS_A}\nheating_time_constant_s = {HEATING_S}\n"
        f'cooling_time_constant_s = {COOLING_S}\n[supply]\nvoltage = "battery_v"\n'
    )
    log = log_of(
        numbers("a_a", amps[every].tolist(), at_s),
        numbers("duty", _duty(t_s)[every].tolist(), at_s),
        numbers("one_rad_s", solved[0, every].tolist(), at_s),
        numbers("battery_v", [VOLTS] * len(at_s), at_s),
    )
    motors = trace_motors(log, robot)
    return every, motors["one"], sum_up_use(robot, motors, {}, MATCH)["one"]


@pytest.mark.parametrize("rate_hz", [20.0, 50.0, 200.0])
def test_heat_and_energy_are_those_of_the_integration(rate_hz: float) -> None:
    every, trace, use = _judged(rate_hz, speed=True)
    solved = _solved()[1]
    assert trace.heat == pytest.approx(solved[1, every], abs=0.01)
    assert use.end_heat == pytest.approx(solved[1, every[-1]], abs=0.01)
    assert use.energy_wh == pytest.approx(solved[2, every[-1]] / 3600, rel=0.01)


def test_back_emf_is_the_integrated_speed() -> None:
    """But for the winding's heat, which the integration lacks: small while cold, known when not."""
    every, trace, _ = _judged(200.0, speed=False)
    solved = _solved()[1]
    drives = (_duty(_solved()[0])[every] * VOLTS - SHEET.k_v_s_per_rad * solved[0, every]) > 0
    assert trace.speed_source == "back-EMF"
    hot_v = trace.current_a * SHEET.resistance_ohm * 0.00393 * 80 * trace.heat
    assert (trace.speed_rad_s + hot_v / SHEET.k_v_s_per_rad)[drives] == pytest.approx(
        solved[0, every][drives]
    )
    cold = drives & (trace.heat < 0.05)
    assert trace.speed_rad_s[cold] == pytest.approx(solved[0, every][cold], rel=0.02, abs=5.0)


def test_it_settles_where_the_closed_form_says() -> None:
    """ω = (V·d − I·R) / k with I = I0 + T / kt, and the current a load takes whatever the voltage."""
    t_s, solved = _solved()
    for start, duty in STEPS:
        at = int(np.searchsorted(t_s, start + 5.9))
        expected = SHEET.steady_speed_rad_s(duty * VOLTS, LOAD_NM)
        assert solved[0, at] == pytest.approx(expected, rel=1e-4)
        assert _amperes(float(t_s[at]), solved[0, at]) == pytest.approx(
            SHEET.steady_current_a(LOAD_NM), rel=1e-3
        )
    assert SHEET.free_speed_rad_s(12.0) / RAD_S_PER_RPM == pytest.approx(5300)

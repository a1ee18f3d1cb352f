"""Charge, energy and heating current against integrals that can be worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.energy import running_integral
from telemetry.estimators.heat import heating_steps
from telemetry.signals import integral
from tests.checks.published import approx, published


def test_in_01_charge_of_a_ramp_at_uneven_times() -> None:
    """The trapezoid is exact for a straight line (Atkinson, An Introduction to Numerical Analysis)."""
    check = published("in-01")
    given = check["inputs"]
    charge = integral(np.array(given["t_s"], dtype=float), np.array(given["i_A"]), np.inf) / 3600
    assert charge == approx(check)


def test_in_02_trapezoid_of_a_parabola() -> None:
    """1/3 + 1/(6 n²): the error term of the rule."""
    check = published("in-02")
    found = []
    for panels in (1, 2, 4, 10):
        x = np.linspace(0, 1, panels + 1)
        found.append(integral(x, x**2, np.inf))
        assert running_integral(x, x**2)[-1] == pytest.approx(found[-1], abs=1e-15)
    assert found == approx(check)


def test_in_03_energy_of_two_ramps() -> None:
    """Volts fall as amperes rise: exact 40,800 J, and what so many panels make of it."""
    check = published("in-03")
    given = check["inputs"]
    found = [check["expected"][0]]
    for panels in given["n"]:
        t_s = np.linspace(0, given["T_s"], panels + 1)
        volts = np.interp(t_s, [0, given["T_s"]], given["u_V"])
        amps = np.interp(t_s, [0, given["T_s"]], given["i_A"])
        found.append(running_integral(t_s, volts * amps)[-1])
    assert found == approx(check)


def test_in_04_one_panel_of_squares_is_high() -> None:
    """∫I²dt of a ramp: (a² + ab + b²)·T/3; one panel of the trapezoid is high by (b − a)²·T/6."""
    check = published("in-04")
    given = check["inputs"]
    ends_s = np.array([0.0, given["T_s"]])
    one = _squares(ends_s, np.array([given["a"], given["b"]], dtype=float))
    many = _squares(np.linspace(0, given["T_s"], 2001), np.linspace(given["a"], given["b"], 2001))
    assert one == approx(check, check["expected"][1])
    assert many == pytest.approx(check["expected"][0], rel=1e-6)


def _squares(t_s: np.ndarray, current_a: np.ndarray) -> float:
    """∫I²dt as the thermal replica takes it."""
    edges_s, held_a = heating_steps(t_s, current_a)
    return float(held_a**2 @ np.diff(edges_s))


def test_in_05_the_heating_current_of_a_quarter_duty() -> None:
    """Root mean square of 40 A a quarter of the time: 20 A."""
    check = published("in-05")
    t_s = np.arange(0, 400.001, 0.01)
    current_a = np.where(t_s % 1 < check["inputs"]["D"], check["inputs"]["I_A"], 0.0)
    rms_a = np.sqrt(_squares(t_s, current_a) / 400)
    assert rms_a == pytest.approx(check["expected"], rel=1e-3)


def test_in_06_a_gap_is_left_out_of_charge() -> None:
    """10 A at 0, 1, 2, 10, 11 s: the reading of this project is the second, the gap left out."""
    check = published("in-06")
    given = check["inputs"]
    t_s, amps = np.array(given["t_s"], dtype=float), np.array(given["i_A"], dtype=float)
    both = [integral(t_s, amps, np.inf) / 3600, running_integral(t_s, amps)[-1] / 3600]
    assert both == approx(check)


def test_in_07_a_whole_period_is_exact() -> None:
    """The trapezoid on a periodic function: ∫sin² over a period is π."""
    check = published("in-07")
    t = np.linspace(0, 2 * np.pi, check["inputs"]["n"] + 1)
    assert integral(t, np.sin(t) ** 2, np.inf) == approx(check)

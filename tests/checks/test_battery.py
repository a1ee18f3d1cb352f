"""Batteries and their source resistance against published formulas and worked numbers."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.battery import peukert_exponent, peukert_time_h, two_loads
from telemetry.estimators.source import source_stretches
from tests.checks.published import approx, published


def test_ba_01_resistance_by_two_loads() -> None:
    """Direct-current resistance of IEC 61951 and IEC 61960 (clauses from memory); numbers worked."""
    check = published("ba-01")
    given = check["inputs"]
    told = two_loads(given["U1_V"], given["I1_A"], given["U2_V"], given["I2_A"])
    assert [told.resistance_ohm, told.open_circuit_v, told.short_circuit_a] == approx(check)


def test_ba_01_the_regression_over_both_loads_agrees() -> None:
    """The same battery, its two loads taken by turns for a minute: the line must give the two-load answer."""
    check = published("ba-01")
    given = check["inputs"]
    t_s = np.arange(0, 60, 0.02)
    heavy = t_s % 2 >= 1
    (stretch,) = source_stretches(
        t_s,
        np.where(heavy, given["U2_V"], given["U1_V"]),
        np.where(heavy, given["I2_A"], given["I1_A"]).astype(float),
    )
    assert [stretch.resistance_ohm, stretch.open_circuit_v] == pytest.approx(check["expected"][:2], rel=1e-9)


def test_ba_02_peukert_time_and_charge() -> None:
    """A calculator page's worked example: 5.088631644 h, 101.772632884 Ah."""
    check = published("ba-02")
    given = check["inputs"]
    time_h = peukert_time_h(given["C_Ah"], given["I_A"], given["n"])
    assert [time_h, time_h * given["I_A"]] == approx(check)


def test_ba_03_peukert_time_of_a_second_example() -> None:
    """A note on lead-acid batteries prints 14.5 h."""
    check = published("ba-03")
    given = check["inputs"]
    assert peukert_time_h(given["C_Ah"], given["I_A"], given["n"]) == approx(check)


def test_ba_04_peukert_time_from_an_hour_rating() -> None:
    """At the rated current the time is the rating's own."""
    check = published("ba-04")
    given = check["inputs"]
    times = [peukert_time_h(given["C_Ah"], amps, given["k"], rated_h=given["H_h"]) for amps in given["I_A"]]
    assert times == approx(check)


def test_ba_05_peukert_exponent_from_two_discharges() -> None:
    """Formula of a battery-monitor manual, p. 26; numbers worked."""
    check = published("ba-05")
    given = check["inputs"]
    assert peukert_exponent(given["I1_A"], given["t1_h"], given["I2_A"], given["t2_h"]) == approx(check)


@pytest.mark.parametrize(("readings", "said"), [((12, 10, 11, 10), "different"), ((11, 10, 12, 50), "fall")])
def test_readings_that_tell_nothing_are_refused(readings: tuple[float, ...], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        two_loads(*readings)

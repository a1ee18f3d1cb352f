"""The thermal replica against IEC 60255-149 and what follows from its equation."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.thermal import cooling_time_s, operate_time_s, thermal_level, time_constant_s
from tests.checks.published import approx, published


def test_th_01_cold_operate_times_of_a_printed_table() -> None:
    """IEC 60255-149:2013 curve; operate-time table of a transformer protection relay manual, ed. 11.2019."""
    check = published("th-01")
    times = operate_time_s(check["inputs"]["I_over_kIb"], check["inputs"]["tau_s"])
    assert times.tolist() == approx(check)


def test_th_02_operate_times_for_other_time_constants() -> None:
    """The same printed table, at twice the setting."""
    check = published("th-02")
    times = [
        float(operate_time_s(check["inputs"]["I_over_kIb"], tau_s)) for tau_s in check["inputs"]["tau_s"]
    ]
    assert times == approx(check)


@pytest.mark.parametrize(("identifier", "hot"), [("th-03", False), ("th-04", True)])
def test_time_constant_from_a_stall_time(identifier: str, hot: bool) -> None:
    """Motor-protection manual 1VTA100114 rev. 04 (2005), p. 25: 5 s at 6 times the rating, k² = 1.21."""
    check = published(identifier)
    given = check["inputs"]
    level = 1 / given["k2"] if hot else 0.0
    ratio = given["n"] / np.sqrt(given["k2"])
    assert time_constant_s(given["t_s"], ratio, level=level) == approx(check)


def test_th_05_hot_operate_times() -> None:
    """IEC 60255-149:2013, hot curve, as printed in a line-protection manual (Eq. 5-14)."""
    check = published("th-05")
    times = operate_time_s(check["inputs"]["x"], 1.0, level=check["inputs"]["p"] ** 2)
    assert times.tolist() == approx(check)


def test_th_06_operate_times_in_amperes() -> None:
    """IEC 60255-149:2013, worked for 20 A on a 10.5 A setting, cold and after 8 A."""
    check = published("th-06")
    given = check["inputs"]
    setting = given["Ib_A"] * given["k"]
    before = (np.asarray(given["Ip_A"]) / setting) ** 2
    assert operate_time_s(given["I_A"] / setting, given["tau_s"], level=before).tolist() == approx(check)


def test_th_07_level_after_ten_seconds_and_in_the_long_run() -> None:
    """IEC 60255-149:2013, first-order replica, worked."""
    check = published("th-07")
    given = check["inputs"]
    settings = {"continuous_a": given["kIb_A"], "heating_s": given["tau_s"], "cooling_s": 4 * given["tau_s"]}
    after = thermal_level([0.0, given["t_s"]], [given["I_A"], 0.0], **settings)[-1]
    steady = thermal_level([0.0, 50 * given["tau_s"]], [given["I2_A"], 0.0], **settings)[-1]
    assert [after, steady] == approx(check)


def test_th_08_cooling_time() -> None:
    """First-order decay, as any text on heat transfer has it."""
    check = published("th-08")
    given = check["inputs"]
    assert float(cooling_time_s(given["H0"], given["H1"], given["tau_s"])) == approx(check)


def test_th_09_sampled_replica_first_reaches_the_limit() -> None:
    """IEC 60255-149:2013, sampled at 20 ms: the operate time rounded up to the next sample."""
    check = published("th-09")
    given = check["inputs"]
    t_s = np.arange(2_000) * given["dt_s"]
    level = thermal_level(
        t_s,
        np.full(2_000, given["I_A"]),
        continuous_a=given["kIb_A"],
        heating_s=given["tau_s"],
        cooling_s=10 * given["tau_s"],
    )
    assert t_s[np.argmax(level >= 1.0)] == approx(check)


def test_a_current_the_motor_carries_for_ever_never_operates() -> None:
    """IEC 60255-149:2013: the basic current is the one that just reaches the limit in infinite time."""
    assert operate_time_s([0.0, 0.5, 1.0], 60.0).tolist() == [np.inf] * 3
    assert operate_time_s(1.000001, 60.0) < np.inf


@pytest.mark.parametrize("ratio", [1.2, 2.0, 5.5])
def test_cooling_to_where_it_began_undoes_heating(ratio: float) -> None:
    """The same first-order equation both ways: level after heating, then back by the cooling time."""
    heated = float(
        thermal_level([0.0, 10.0], [ratio, 0.0], continuous_a=1.0, heating_s=60.0, cooling_s=240.0)[-1]
    )
    wait = float(cooling_time_s(heated, 0.01, 240.0))
    level = thermal_level(
        [0.0, 10.0, 10.0 + wait], [ratio, 0.0, 0.0], continuous_a=1.0, heating_s=60.0, cooling_s=240.0
    )
    assert level[-1] == pytest.approx(0.01, rel=1e-12)

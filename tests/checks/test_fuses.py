"""The general breaker curve against the limits of a standard for thermal-magnetic breakers."""

from __future__ import annotations

import numpy as np

from telemetry.estimators.breakers import GENERAL_CURVE, trip_time_s
from telemetry.log import FloatArray
from tests.checks.published import published


def test_fu_05_the_general_curve_keeps_the_limits_of_iec_60898() -> None:
    """IEC 60898-1, Table 7: no trip in an hour at 1.13; within one at 1.45; 1 to 60 s at 2.55 times."""
    check = published("fu-05")
    _keeps(np.array(check["inputs"]["multiple"]), check["expected"])


def test_fu_01_the_general_curve_keeps_the_limits_of_a_supplementary_fuse() -> None:
    """UL/CSA/ANCE 248-14: never at 1.1 times the rating, within an hour at 1.35, within 2 min at twice."""
    check = published("fu-01")
    _keeps(np.array(check["inputs"]["percent"]) / 100, check["expected"])


def test_fu_03_the_general_curve_has_the_shape_of_a_slow_blade_fuse() -> None:
    """A maker's table for large blade fuses that cites ISO 8820-3, second-hand: a check of the shape only."""
    check = published("fu-03")
    _keeps(np.array(check["inputs"]["percent"]) / 100, check["expected"])


def _keeps(multiple: FloatArray, limits: list[list[float | None]]) -> None:
    times = trip_time_s(multiple, GENERAL_CURVE)
    for time_s, (least_s, most_s) in zip(times.tolist(), limits, strict=True):
        assert least_s is None or time_s >= least_s * (1 - 1e-12)
        assert most_s is None or time_s <= most_s * (1 + 1e-12)


def test_the_curve_goes_through_its_points_and_is_straight_on_log_paper_between() -> None:
    """As such curves are drawn: common practice, no source."""
    points = np.array(GENERAL_CURVE)
    assert np.allclose(trip_time_s(points[:, 0], GENERAL_CURVE), points[:, 1], rtol=1e-12)
    middle = np.sqrt(points[1:, 0] * points[:-1, 0])
    assert np.allclose(trip_time_s(middle, GENERAL_CURVE), np.sqrt(points[1:, 1] * points[:-1, 1]))


def test_beyond_its_last_point_heat_has_no_time_to_leave() -> None:
    """I²t constant, the adiabatic limit of every fuse and breaker curve."""
    last, time_s = GENERAL_CURVE[-1]
    far = np.array([last, 2 * last, 10 * last])
    assert np.allclose(trip_time_s(far, GENERAL_CURVE) * far**2, time_s * last**2)

"""Dips of the supply and brownouts."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.detectors import Detector, NotEvaluated
from telemetry.detectors.voltage import BROWNOUT, VOLTAGE_DIP
from telemetry.finding import Finding
from telemetry.records.supply import Dip, SourceStretch, Supply
from telemetry.robot import Robot
from tests.telemetry.building import analysis_of, robot_of

ROBOT = robot_of('[supply]\nvoltage = "battery_v"\ndip_v = 9.0\nbrownout_v = 7.0\n')


def _found(detector: Detector, *dips: Dip) -> list[Finding]:
    supply = Supply(np.arange(3.0), np.full(3, 12.0), 12.7, 0.02, 6.0, dips, 3.0)
    judgement = detector.judge(analysis_of(ROBOT, supply=supply), "supply")
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def test_all_dips_of_a_match_are_one_finding() -> None:
    (found,) = _found(VOLTAGE_DIP, Dip(20.0, 20.4, 8.5), Dip(50.0, 50.5, 8.123), Dip(70.0, 70.05, 8.9))
    assert (found.kind, found.subject, found.role) == ("voltage_dip", "supply", "supply")
    assert (found.start_s, found.end_s) == (20.0, 70.05)
    assert found.text == "The supply fell below 9 V 3 times, 0.95 s in all; lowest 8.12 V at 0:50.0."
    assert (found.evidence["dips"], found.evidence["lowest_v"]) == (3, 8.123)
    assert found.evidence["together_s"] == pytest.approx(0.95)


@pytest.mark.parametrize(("steps_s", "told"), [(30.0, True), (60.0, False)])
def test_a_rise_of_resistance_before_the_dip_is_told_with_it(steps_s: float, told: bool) -> None:
    source = (
        SourceStretch(0.0, steps_s, 0.017, 0.016, 0.018, 12.7),
        SourceStretch(steps_s, 99.0, 0.035, 0.034, 0.036, 12.7),
    )
    supply = Supply(
        np.arange(3.0), np.full(3, 12.0), 12.7, 0.035, 6.0, (Dip(50.0, 50.4, 8.5),), 3.0, source=source
    )
    (found,) = VOLTAGE_DIP.judge(analysis_of(ROBOT, supply=supply), "supply")  # type: ignore[union-attr]
    assert ("had risen before, from 17 to 35 mΩ." in found.text) is told
    assert found.advice.startswith("Tighten the battery's leads first.") is told


@pytest.mark.parametrize(("lasting_s", "severity"), [(0.99, "note"), (1.01, "watch")])
def test_a_second_of_dips_is_watched(lasting_s: float, severity: str) -> None:
    (found,) = _found(VOLTAGE_DIP, Dip(20.0, 20.0 + lasting_s, 8.5))
    assert found.severity == severity


@pytest.mark.parametrize(("lowest_v", "dips", "brownouts"), [(7.0, 1, 0), (6.999, 0, 1)])
def test_below_the_brownout_level_it_is_a_brownout(lowest_v: float, dips: int, brownouts: int) -> None:
    dip = Dip(20.0, 21.0, lowest_v)
    assert (len(_found(VOLTAGE_DIP, dip)), len(_found(BROWNOUT, dip))) == (dips, brownouts)


def test_each_brownout_is_a_finding_to_be_fixed() -> None:
    first, second = _found(BROWNOUT, Dip(20.0, 21.0, 6.5), Dip(30.0, 31.0, 8.5), Dip(50.0, 50.04, 5.25))
    assert (first.kind, first.severity, first.start_s) == ("brownout", "fix", 20.0)
    assert "6.50 V" in first.text
    assert "7 V" in first.text
    assert "0:20.0 to 0:21.0" in first.text
    assert (second.start_s, second.evidence["residual_v"]) == (50.0, 5.25)


@pytest.mark.parametrize("detector", [VOLTAGE_DIP, BROWNOUT])
def test_a_steady_supply_is_clear(detector: Detector) -> None:
    assert _found(detector) == []


@pytest.mark.parametrize("detector", [VOLTAGE_DIP, BROWNOUT])
def test_a_voltage_that_is_not_logged_is_not_judged(detector: Detector) -> None:
    judgement = detector.judge(analysis_of(ROBOT), "supply")
    assert isinstance(judgement, NotEvaluated)
    assert judgement.reason == "the log holds no supply voltage"


def test_the_supply_is_the_subject_where_a_voltage_is_named() -> None:
    assert tuple(VOLTAGE_DIP.subjects(ROBOT)) == tuple(BROWNOUT.subjects(ROBOT)) == ("supply",)
    assert tuple(VOLTAGE_DIP.subjects(Robot())) == ()

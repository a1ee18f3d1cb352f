"""Lost current, heat, breakers, chains, source: each finding with its figures, severity and words."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.analysis import Contact
from telemetry.detectors import Detector, NotEvaluated
from telemetry.detectors.breaker_risk import BREAKER_RISK
from telemetry.detectors.chain_risk import CHAIN_RISK
from telemetry.detectors.circumstances import circumstances_of, limit_advice
from telemetry.detectors.no_draw import BREAKER_CYCLING, NO_DRAW
from telemetry.detectors.overheat import OVERHEAT
from telemetry.detectors.source_resistance import SOURCE_RESISTANCE
from telemetry.finding import Finding
from telemetry.records.motors import Interruption, MotorStates, MotorTrace, Protection
from telemetry.records.pieces import Count, Pieces, PieceStep
from telemetry.records.sensors import Switching
from telemetry.records.supply import SourceStretch, Supply
from telemetry.thermal import thermal_level
from tests.telemetry.building import analysis_of, clock, robot_of

SHEET = "free_speed_rpm = 5300\nfree_current_a = 2\nstall_current_a = 102\nstall_torque_nm = 2.5\n"
ROBOT = robot_of(
    f'[robot]\npiece = "acorn"\n[motors.feed]\ncurrent = "feed_a"\ncommand = "duty"\n{SHEET}'
    "breaker_a = 40\nreduction = 5\ncontinuous_current_a = 30\nheating_time_constant_s = 60\n"
    "cooling_time_constant_s = 300\n"
    "chain = { sprocket_teeth = 22, pitch_in = 0.25, breaking_load_lbf = 100 }\n"
    '[motors.arm]\n[limits.arm_low]\nsignal = "low"\nmotor = "arm"\nstops = "negative"\n'
    '[supply]\nvoltage = "battery_v"\n'
)
T_S = clock(90)
FLAT = np.ones(len(T_S))


def _trace(current_a: np.ndarray, supply_a: np.ndarray | None = None) -> MotorTrace:
    heat = thermal_level(T_S, current_a, continuous_a=30, heating_s=60, cooling_s=300)
    return MotorTrace(
        T_S, current_a, FLAT, FLAT, FLAT, heat, 12 * FLAT, FLAT > 0, "channel",
        supply_a=current_a if supply_a is None else supply_a,
    )  # fmt: skip


def _found(detector: Detector, subject: str = "feed", **parts: Any) -> list[Finding]:
    judgement = detector.judge(analysis_of(ROBOT, **parts), subject)
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def _why_not(detector: Detector, subject: str = "feed", robot: str | None = None, **parts: Any) -> str:
    known = analysis_of(ROBOT if robot is None else robot_of(robot), **parts)
    judgement = detector.judge(known, subject)
    assert isinstance(judgement, NotEvaluated)
    return judgement.reason


# Without current


def _lost(start_s: float, end_s: float, **told: Any) -> Interruption:
    usual = {
        "worked_before": True, "while_driven": True, "came_back": True, "back_while_driven": True,
        "one_drive": False, "before_a": 30.0,
    }  # fmt: skip
    return Interruption(start_s, end_s, **{**usual, **told})


def _both(*lost: Interruption) -> tuple[list[Finding], list[Finding]]:
    parts = {"motors": {"feed": _trace(20 * FLAT)}, "interruptions": {"feed": lost}}
    return _found(NO_DRAW, **parts), _found(BREAKER_CYCLING, **parts)


def test_a_motor_that_never_draws_again_has_lost_its_lead() -> None:
    (found,), cycling = _both(_lost(40, 90, came_back=False, back_while_driven=False))
    assert cycling == []
    assert (found.kind, found.severity, found.role) == ("no_draw", "fix", "motor")
    assert "did not come back" in found.text
    assert found.evidence["open_at_end"] is True


def test_load_then_none_then_load_twice_over_is_a_breaker() -> None:
    no_draw, (found,) = _both(_lost(40, 43), _lost(50, 53.5))
    assert no_draw == []
    assert (found.start_s, found.end_s, found.severity) == (40, 53.5, "fix")
    assert (found.evidence["times"], found.evidence["off_s"]) == (2, 6.5)
    assert "40 A breaker" in found.advice


def test_once_within_one_drive_is_a_breaker_once_across_drives_a_lead() -> None:
    assert [len(found) for found in _both(_lost(40, 43, one_drive=True))] == [0, 1]
    assert [len(found) for found in _both(_lost(40, 43))] == [1, 0]


def test_a_breaker_that_stays_open_in_the_end_is_still_one() -> None:
    last = _lost(60, 90, came_back=False, back_while_driven=False)
    no_draw, (found,) = _both(_lost(40, 43), _lost(50, 53), last)
    assert no_draw == []
    assert found.evidence["times"] == 3
    assert found.evidence["open_at_end"] is True


@pytest.mark.parametrize(("off_s", "cycling"), [(19.9, 1), (20.1, 0)])
def test_what_takes_longer_than_a_reset_is_no_breaker(off_s: float, cycling: int) -> None:
    assert len(_both(_lost(10, 10 + off_s), _lost(50, 50 + off_s))[1]) == cycling


@pytest.mark.parametrize("detector", [NO_DRAW, BREAKER_CYCLING])
def test_without_a_command_no_current_may_mean_no_drive(detector: Detector) -> None:
    assert "its current" in _why_not(detector)
    assert "may mean no drive" in _why_not(detector, motors={"feed": _trace(FLAT)})


# Heat


@pytest.mark.parametrize(("amperes", "severity"), [(28.0, None), (31.0, "watch"), (35.0, "fix")])
def test_from_eight_tenths_on_heat_is_watched_and_from_the_limit_to_be_fixed(
    amperes: float, severity: str | None
) -> None:
    found = _found(OVERHEAT, motors={"feed": _trace(amperes * FLAT)})
    assert [finding.severity for finding in found] == ([] if severity is None else [severity])


def test_heat_comes_with_the_time_left_and_a_safe_current() -> None:
    trace = _trace(np.where(T_S < 60, 50.0, 5.0))
    (found,) = _found(OVERHEAT, motors={"feed": trace})
    at = int(np.searchsorted(trace.heat, 0.8))
    assert found.start_s == pytest.approx(T_S[at])
    truly_left_s = T_S[np.argmax(trace.heat >= 1.0)] - found.start_s
    assert found.evidence["time_left_s"] == pytest.approx(truly_left_s, abs=0.1)
    safe_a, rest_s = found.evidence["safe_current_a"], found.evidence["rest_of_match_s"]
    after = thermal_level(
        [0, rest_s], [safe_a, 0], continuous_a=30, heating_s=60, cooling_s=300, initial=trace.heat[at]
    )
    assert after[-1] == pytest.approx(1.0, abs=1e-6)


def test_heat_needs_its_figures() -> None:
    bare = f'[motors.feed]\ncurrent = "feed_a"\n{SHEET}'
    assert "continuous current" in _why_not(OVERHEAT, robot=bare, motors={"feed": _trace(FLAT)})


def _open(low: float, high: float) -> MotorTrace:
    return replace(_trace(FLAT), heat=np.nan * FLAT, heat_low=low * FLAT, heat_high=high * FLAT)


def test_of_a_heat_that_stays_open_only_what_is_sure_is_told() -> None:
    (found,) = _found(OVERHEAT, motors={"feed": _open(0.85, 1.4)})
    assert (found.evidence["peak_heat"], found.evidence["most_heat"]) == (0.85, 1.4)
    assert _found(OVERHEAT, motors={"feed": _open(0.2, 0.79)}) == []
    assert "between 0.20 and 0.81" in _why_not(OVERHEAT, motors={"feed": _open(0.2, 0.81)})


# Breaker and chain


@pytest.mark.parametrize(("seconds", "severity"), [(3.0, None), (3.4, "watch"), (4.2, "fix")])
def test_a_breaker_is_at_risk_from_eight_tenths_of_its_curve(seconds: float, severity: str | None) -> None:
    """Twice the rating: four seconds on the general curve."""
    drawn_a = np.where((T_S >= 10) & (10 + seconds > T_S), 80.0, 5.0)
    found = _found(BREAKER_RISK, motors={"feed": _trace(drawn_a)})
    assert [finding.severity for finding in found] == ([] if severity is None else [severity])
    if found:
        assert "general curve" in found[0].text
        assert found[0].evidence["curve_from"] == "general curve"
        assert found[0].evidence["peak_fraction"] == pytest.approx(seconds / 4, abs=0.02)


def test_a_breaker_needs_rating_and_supply_side() -> None:
    assert "rating" in _why_not(BREAKER_RISK, robot=f"[motors.feed]\n{SHEET}")
    assert "supply-side" in _why_not(BREAKER_RISK, motors={"feed": _trace(FLAT, supply_a=np.nan * FLAT)})


@pytest.mark.parametrize(("amperes", "severity"), [(20.0, None), (40.0, "watch"), (95.0, "fix")])
def test_a_chain_is_watched_from_a_third_and_to_be_fixed_from_two_thirds(
    amperes: float, severity: str | None
) -> None:
    current_a = np.where((T_S > 20) & (T_S < 21), amperes, 3.0)
    found = _found(CHAIN_RISK, motors={"feed": _trace(current_a)})
    assert [finding.severity for finding in found] == ([] if severity is None else [severity])
    if found:
        pull = 2 * 0.025 * (amperes - 2) * 5 / (0.25 * 0.0254 / np.sin(np.pi / 22)) / 4.4482216
        assert found[0].evidence["peak_pull_lbf"] == pytest.approx(pull, rel=1e-6)
        assert (found[0].start_s, found[0].end_s) == pytest.approx((20.02, 21.0), abs=0.021)


def test_a_supply_side_current_alone_clears_no_chain() -> None:
    alone = replace(_trace(10 * FLAT), heat_source="supply current alone")
    assert "supply-side" in _why_not(CHAIN_RISK, motors={"feed": alone})
    assert _found(CHAIN_RISK, motors={"feed": replace(alone, current_a=80 * FLAT)})


def test_only_motors_with_a_chain_are_judged_for_it() -> None:
    assert tuple(CHAIN_RISK.subjects(ROBOT)) == ("feed",)


# Source


def _supply(*ohms: float) -> Supply:
    stretches = tuple(
        SourceStretch(20.0 * place, 20.0 * (place + 1), ohm, ohm * 0.98, ohm * 1.02, 12.7)
        for place, ohm in enumerate(ohms)
    )
    return Supply(T_S, 12 * FLAT, 12.7, ohms[-1] if ohms else None, 9.0, (), 3.0, source=stretches)


def test_a_step_up_is_to_be_fixed_and_tied_to_the_hit_before_it() -> None:
    hits = (Contact(19.6, 4.2, 0.1, "accelerometer"), Contact(50.0, 9.0, 0.1, "accelerometer"))
    (found,) = _found(SOURCE_RESISTANCE, "supply", supply=_supply(0.017, 0.035), contacts=hits)
    assert (found.severity, found.start_s, found.evidence["t_s"]) == ("fix", 20.0, 20.0)
    assert (found.evidence["before_ohm"], found.evidence["after_ohm"]) == (0.017, 0.035)
    assert found.evidence["contact_t_s"] == 19.6
    assert "from 17 to 35 mΩ" in found.text
    assert "4.2 g" in found.text
    assert "1.8 V less" in found.text


def test_a_step_down_is_watched_and_one_resistance_is_clear() -> None:
    (found,) = _found(SOURCE_RESISTANCE, "supply", supply=_supply(0.035, 0.017))
    assert (found.severity, found.evidence["contact_t_s"]) == ("watch", None)
    assert _found(SOURCE_RESISTANCE, "supply", supply=_supply(0.02)) == []


def test_without_voltage_or_current_the_source_is_not_judged() -> None:
    assert "voltage" in _why_not(SOURCE_RESISTANCE, "supply")
    assert "current" in _why_not(SOURCE_RESISTANCE, "supply", supply=_supply())


# What goes with it


def test_a_limit_a_hit_and_pieces_are_named_with_it() -> None:
    low = Switching(np.array([0.0, 30.0, 40.0]), np.array([False, True, False]), 90.0, 0.0)
    pieces = Pieces(Count(1, 1, 1), Count(0, 0, 0), (PieceStep(10.0, 2, 0.9, 2, 2),), (10.0,), ())
    hit = Contact(34.8, 3.0, 0.1, "accelerometer")
    known = analysis_of(ROBOT, limits={"arm_low": low}, pieces=pieces, contacts=(hit,))
    arm = circumstances_of(known, "arm", 35.0, 36.0)
    assert (arm.limit, arm.pieces, arm.evidence["jam_likely"]) == ("arm_low", 0, False)
    assert arm.words == ", with limit arm_low pressed; it began 0.20 s after a hit of 3.0 g"
    feed = circumstances_of(known, "feed", 50.0, 51.0)
    assert (feed.limit, feed.contact, feed.evidence["jam_likely"]) == (None, None, True)
    assert feed.words == ", with 2 acorns aboard"


def test_the_limit_that_would_have_helped_is_told_with_its_figures() -> None:
    helped = Protection(30.0, 0.35, 2, 2, 120.0, 0.2)
    words, figures = limit_advice(analysis_of(ROBOT, protections={"feed": helped}), "feed")
    assert words == (
        " For the programmer: a current limit of 30 A for 0.35 s would have stopped it 2 of 2 times "
        "and never in healthy work."
    )
    assert figures["limit_saved_j"] == 120.0
    assert limit_advice(analysis_of(ROBOT), "feed") == ("", {})


def test_nothing_is_found_of_a_motor_at_work() -> None:
    work = _trace(np.where(T_S % 5 < 0.2, 80.0, 8.0))
    states = MotorStates(np.empty((0, 2)), np.empty((0, 2)), 0.1)
    parts = {"motors": {"feed": work}, "interruptions": {"feed": ()}, "motor_states": {"feed": states}}
    lighter = replace(work, current_a=np.minimum(work.current_a, 15.0))
    for detector in (NO_DRAW, BREAKER_CYCLING, OVERHEAT, BREAKER_RISK):
        assert _found(detector, **parts) == []
    assert _found(CHAIN_RISK, motors={"feed": lighter}) == []

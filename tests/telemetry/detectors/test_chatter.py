"""Chattering beams and bouncing limits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.analysis import Analysis, Contact
from telemetry.detectors import Detector, NotEvaluated
from telemetry.detectors.chatter import CHATTER, LIMIT_BOUNCE
from telemetry.finding import Finding, Severity
from telemetry.records.motors import MotorTrace
from telemetry.records.pieces import BeamHealth, Count, Pieces
from telemetry.records.sensors import Burst
from tests.telemetry.building import analysis_of, robot_of, switching

ROBOT = robot_of('[beams.entry]\nsignal = "b"\n[limits.low]\nsignal = "l"\n')
BURST = Burst(30.0, 30.8, 8, 0.012, 0.02)


def _known(*bursts: Burst, subject: str = "entry", period_s: float = 0.0, **parts: Any) -> Analysis:
    signal = switching([(10, 11)], 100.0, period_s=period_s)
    return analysis_of(
        ROBOT,
        beams={"entry": signal},
        limits={"low": signal},
        honest_dwell_s={"entry": 0.06, "low": 0.06},
        bursts={"entry": (), "low": (), subject: bursts},
        **parts,
    )


def _found(known: Analysis, detector: Detector = CHATTER, subject: str = "entry") -> list[Finding]:
    judgement = detector.judge(known, subject)
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def _told(*stretches: BeamHealth) -> Pieces:
    none = Count(0, 0, 0)
    return Pieces(none, none, (), (), (), {"entry": stretches})


def test_a_burst_is_a_finding() -> None:
    (found,) = _found(_known(BURST))
    assert (found.kind, found.subject, found.role) == ("chatter", "entry", "beam")
    assert (found.start_s, found.end_s) == (30.0, 30.8)
    assert found.text == (
        "Beam entry switched 8 extra times within 0.8 s from 0:30.0; the shortest lasted 12 ms."
    )
    assert found.evidence["extra_edges"] == 8
    assert found.evidence["shortest_ms"] == pytest.approx(12)
    assert found.evidence["median_ms"] == pytest.approx(20)
    assert found.evidence["phase"] == "teleop"
    assert found.evidence["open_at_end"] is False


def test_a_bouncing_limit_is_a_finding_of_its_own_kind() -> None:
    (found,) = _found(_known(BURST, subject="low"), LIMIT_BOUNCE, "low")
    assert (found.kind, found.subject, found.role) == ("limit_bounce", "low", "limit")
    assert found.text.startswith("Limit low switched 8 extra times")


def test_a_dwell_of_one_reading_may_be_shorter_still() -> None:
    (found,) = _found(_known(BURST, period_s=0.01))
    assert "ms, near the 10 ms between readings, and may be shorter still" in found.text


def test_no_burst_is_clear() -> None:
    assert _found(_known()) == []
    assert _found(_known(), LIMIT_BOUNCE, "low") == []


@pytest.mark.parametrize(("bursts", "severity"), [(2, Severity.WATCH), (3, Severity.FIX)])
def test_three_bursts_are_to_be_fixed(bursts: int, severity: Severity) -> None:
    several = [Burst(10.0 * k, 10.0 * k + 0.5, 4, 0.01, 0.02) for k in range(1, bursts + 1)]
    assert {found.severity for found in _found(_known(*several))} == {severity}


@pytest.mark.parametrize(("edges", "severity"), [(22, Severity.WATCH), (24, Severity.FIX)])
def test_two_dozen_edges_are_to_be_fixed(edges: int, severity: Severity) -> None:
    (found,) = _found(_known(Burst(30.0, 31.0, edges, 0.01, 0.02)))
    assert found.severity == severity


def test_more_edges_are_surer() -> None:
    few, many = (_found(_known(Burst(30.0, 31.0, edges, 0.01, 0.02)))[0] for edges in (4, 40))
    assert 0.4 < few.confidence < many.confidence <= 0.99


def test_the_hit_just_before_is_told() -> None:
    (found,) = _found(_known(BURST, contacts=(Contact(29.6, 5.0, 0.1, "accelerometer"),)))
    assert found.evidence["contact_t_s"] == 29.6
    assert "just after a hit at 0:29.6" in found.text


def test_a_hit_long_before_is_not() -> None:
    (found,) = _found(_known(BURST, contacts=(Contact(29.4, 5.0, 0.1, "accelerometer"),)))
    assert found.evidence["contact_t_s"] is None
    assert "hit" not in found.text


def test_a_burst_at_the_end_of_the_log_says_so() -> None:
    (found,) = _found(_known(Burst(99.0, 100.0, 8, 0.01, 0.02)))
    assert found.evidence["open_at_end"] is True


@pytest.mark.parametrize(("edges", "number"), [(12, 0), (14, 1)])
def test_the_flicker_as_a_lead_breaks_belongs_to_the_dropout(edges: int, number: int) -> None:
    dropout = BeamHealth(30.9, 45.0, "stuck_clear", 0.95, contradictions_s=(40.0,))
    known = _known(Burst(30.2, 30.8, edges, 0.01, 0.02), pieces=_told(dropout))
    assert len(_found(known)) == number


@pytest.mark.parametrize("subject", ["entry", "low"])
def test_a_signal_that_is_not_in_the_log_is_not_judged(subject: str) -> None:
    judgement = (CHATTER if subject == "entry" else LIMIT_BOUNCE).judge(analysis_of(ROBOT), subject)
    assert isinstance(judgement, NotEvaluated)
    assert judgement.reason == "its signal is not in the log"


def test_beams_chatter_and_limits_bounce() -> None:
    assert tuple(CHATTER.subjects(ROBOT)) == ("entry",)
    assert tuple(LIMIT_BOUNCE.subjects(ROBOT)) == ("low",)


def test_the_motor_that_ran_in_the_bursts_is_named() -> None:
    t_s = np.arange(0.0, 100.0, 0.02)
    nan = np.full(len(t_s), np.nan)
    runs = (t_s >= 20) & (t_s < 40)
    feed = MotorTrace(t_s, nan, nan, nan, nan, nan, nan, runs, "none")
    bursts = [Burst(at, at + 0.5, 8, 0.01, 0.02) for at in (22.0, 28.0, 33.0)]
    found = _found(_known(*bursts, motors={"feed": feed}))
    assert found[0].text.endswith(" All 3 bursts came while motor feed ran: what it shakes may set them off.")
    assert (found[0].evidence["motor"], found[0].evidence["bursts_with_motor"]) == ("feed", 3)


@pytest.mark.parametrize(("period_s", "judged"), [(0.02, True), (0.1, False)])
def test_where_a_reading_is_as_long_as_a_pass_chatter_cannot_be_judged(period_s: float, judged: bool) -> None:
    passes = switching([(at, at + 0.2) for at in range(5, 50, 5)], 100.0, period_s=period_s)
    known = replace(_known(), beams={"entry": passes})
    judgement = CHATTER.judge(known, "entry")
    assert isinstance(judgement, NotEvaluated) != judged

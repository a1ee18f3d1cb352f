"""Gaps of the whole log: the logger or the controller, never a sensor."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.detectors import NotEvaluated
from telemetry.detectors.log_gap import LOG_GAP
from telemetry.finding import Finding
from telemetry.log import Log
from telemetry.robot import Robot
from tests.telemetry.building import analysis_of, change_logged
from tests.telemetry.logs import log_of, numbers

GAPS = np.array([[20.0, 23.5], [95.0, 96.0]])


def _found(seams_s: tuple[float, ...] = ()) -> list[Finding]:
    log = replace(log_of(numbers("load_a", [0.0] * 101)), seams_s=seams_s)
    judgement = LOG_GAP.judge(analysis_of(Robot(), log, gaps_s=GAPS), "log")
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def test_the_log_is_the_subject_whatever_the_robot() -> None:
    assert tuple(LOG_GAP.subjects(Robot())) == ("log",)


def test_each_gap_is_a_finding_with_its_length() -> None:
    first, second = _found()
    assert (first.kind, first.subject, first.role) == ("log_gap", "log", "log")
    assert (first.start_s, first.end_s) == (20.0, 23.5)
    assert first.text == "Nothing was logged for 3.50 s from 0:20.0."
    assert first.evidence["gap_s"] == 3.5
    assert second.evidence["gap_s"] == 1.0


def test_a_gap_in_the_match_is_watched_one_outside_noted() -> None:
    assert [(found.severity, found.evidence["phase"]) for found in _found()] == [
        ("watch", "teleop"), ("note", "disabled"),
    ]  # fmt: skip


def test_no_length_is_made_up_where_the_clock_started_anew() -> None:
    first, second = _found(seams_s=(96.0,))
    assert first.evidence["gap_s"] == 3.5
    assert second.evidence["gap_s"] is None
    assert "not known" in second.text
    assert "1.00" not in second.text


def test_no_gap_is_clear() -> None:
    assert LOG_GAP.judge(analysis_of(Robot()), "log") == []


@pytest.mark.parametrize("log", [log_of(change_logged("beam", [(1, 2)])), log_of()])
def test_a_log_of_changes_tells_nothing(log: Log) -> None:
    assert isinstance(LOG_GAP.judge(analysis_of(Robot(), log), "log"), NotEvaluated)

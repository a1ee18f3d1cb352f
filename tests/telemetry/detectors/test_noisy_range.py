"""A distance sensor that jumps, in words."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.analysis import Analysis
from telemetry.detectors import NotEvaluated
from telemetry.detectors.noisy_range import NOISY_RANGE
from telemetry.finding import Finding, Severity
from telemetry.log import Channel
from telemetry.records.sensors import RangeUse
from tests.telemetry.building import analysis_of, clock, robot_of
from tests.telemetry.logs import log_of, numbers

ROBOT = robot_of('[ranges.hopper]\nsignal = "hopper_mm"\nnear = 60\n')
CLOCK = clock(100.0)
CHANNEL = numbers("hopper_mm", [1.0] * len(CLOCK), CLOCK.tolist())


def _use(*jumps_s: float, crossings: int = 30, pieces: int = 20) -> RangeUse:
    return RangeUse(2.1, 40.0, 150.0, np.array(jumps_s), 0.055, 60.0, crossings, pieces, 95.0, 44.0, 21)


def _known(use: RangeUse, channel: Channel = CHANNEL, **parts: Any) -> Analysis:
    return analysis_of(ROBOT, log_of(channel), range_use={"hopper": use}, **parts)


def _found(known: Analysis) -> list[Finding]:
    judgement = NOISY_RANGE.judge(known, "hopper")
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def test_jumps_and_what_threshold_would_have_worked() -> None:
    (found,) = _found(_known(_use(*np.arange(30.0, 40.0, 0.5).tolist())))
    assert (found.kind, found.subject, found.role) == ("noisy_range", "hopper", "range")
    assert found.text == (
        "Range hopper jumped 20 times for 55 ms or less from 0:30.0 on and crossed its threshold of 60 mm "
        "10 times with no piece there."
    )
    assert (
        "A threshold of 95 mm with a hysteresis of 44 mm would have counted 21 instead of 30" in found.advice
    )
    assert (found.start_s, found.end_s) == pytest.approx((30.0, 39.555))
    assert found.evidence["false_crossings"] == 10


@pytest.mark.parametrize(("jumps", "number"), [(5, 0), (6, 1)])
def test_a_stray_jump_now_and_then_is_none(jumps: int, number: int) -> None:
    assert len(_found(_known(_use(*(30.0 + n for n in range(jumps)), crossings=20)))) == number
    assert _found(_known(_use(*(12.0 * n for n in range(1, 8)), crossings=20))) == []


@pytest.mark.parametrize(("crossings", "severity"), [(25, Severity.WATCH), (26, Severity.FIX)])
def test_six_pieces_that_were_not_there_are_to_be_fixed(crossings: int, severity: Severity) -> None:
    (found,) = _found(_known(_use(*np.arange(30.0, 40.0, 0.5).tolist(), crossings=crossings)))
    assert found.severity == severity


@pytest.mark.parametrize(("crossings", "number"), [(25, 0), (26, 1)])
def test_trembling_about_the_threshold_is_told_without_a_jump(crossings: int, number: int) -> None:
    at_s = np.linspace(10.0, 90.0, crossings)
    found = _found(_known(replace(_use(crossings=crossings), crossings_s=at_s)))
    assert len(found) == number
    for finding in found:
        assert finding.text == (
            "Range hopper crossed its threshold of 60 mm 6 times with no piece there from 0:10.0 on: it "
            "trembles by 2.1 mm about that threshold."
        )
        assert (finding.start_s, finding.end_s, finding.severity) == (10.0, 90.0, Severity.WATCH)
        assert finding.advice.endswith("(about 20 were there).")


@pytest.mark.parametrize(("better", "number"), [(25, 1), (26, 0)])
def test_crossings_that_no_hysteresis_takes_off_are_no_trembling(better: int, number: int) -> None:
    """Thirty crossings, twenty pieces that stayed a while: the others came and went quickly."""
    at_s = np.linspace(10.0, 90.0, 30)
    use = replace(_use(crossings=30), crossings_s=at_s, better_crossings=better)
    assert len(_found(_known(use))) == number


def test_what_is_read_too_seldom_or_on_change_cannot_be_judged() -> None:
    slow = clock(100.0, 10.0)
    seldom = numbers("hopper_mm", [1.0] * len(slow), slow.tolist())
    for channel in (seldom, replace(CHANNEL, sampled=False)):
        assert isinstance(NOISY_RANGE.judge(_known(_use(), channel), "hopper"), NotEvaluated)
    bare = analysis_of(ROBOT, log_of(numbers("other", [0.0] * 101)))
    assert isinstance(NOISY_RANGE.judge(bare, "hopper"), NotEvaluated)

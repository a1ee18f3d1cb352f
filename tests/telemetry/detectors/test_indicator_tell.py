"""Hits while the light is lit against hits while it is dark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from telemetry.analysis import Analysis, Contact
from telemetry.detectors.detector import NotEvaluated
from telemetry.detectors.indicator_tell import INDICATOR_TELL
from telemetry.estimators.light import count_by_light
from telemetry.log import Log
from tests.telemetry.building import analysis_of, robot_of
from tests.telemetry.logs import log_of, numbers

ROBOT = robot_of("[indicator]\nsignal = 'light'\n[contact]\naccelerometer = ['ax']")


def _log(lit: Sequence[tuple[float, float]]) -> Log:
    t_s = np.arange(0.0, 100.0, 0.1)
    on = sum(((t_s >= a) & (t_s < b)).astype(float) for a, b in lit) + np.zeros(len(t_s))
    return log_of(numbers("light", on, t_s), numbers("ax", np.zeros(len(t_s)), t_s))


def _known(hits_s: Sequence[float], lit: Sequence[tuple[float, float]] = ((50.0, 75.0),)) -> Analysis:
    known = analysis_of(ROBOT, _log(lit))
    return replace(known, contacts=tuple(Contact(t, 4.0, 0.1, "accelerometer") for t in hits_s))


def test_many_hits_in_the_light_are_found_with_their_ratio() -> None:
    (found,) = INDICATOR_TELL.judge(_known([51, 54, 57, 60, 63, 66, 69, 72, 10, 85]), "indicator")
    assert (found.evidence["hits_lit"], found.evidence["hits_dark"]) == (8, 2)
    assert found.evidence["rate_ratio"] == pytest.approx(8 / 25 * 65 / 2, rel=0.02)
    assert "team's own decision" in found.advice


def test_hits_in_proportion_to_the_time_are_clear() -> None:
    assert INDICATOR_TELL.judge(_known([55, 65, 10, 20, 30, 40, 80, 90]), "indicator") == ()


def test_hits_in_the_dark_are_no_tell() -> None:
    assert INDICATOR_TELL.judge(_known(np.linspace(1, 49, 12).tolist()), "indicator") == ()


@pytest.mark.parametrize(
    ("hits_s", "lit", "reason"),
    [([55.0, 65.0], ((50.0, 75.0),), "fewer than four"), ([1, 2, 3, 4, 5], ((0.0, 2.0),), "less than 5 s")],
)
def test_too_little_is_not_judged(
    hits_s: list[float], lit: tuple[tuple[float, float], ...], reason: str
) -> None:
    told = INDICATOR_TELL.judge(_known(hits_s, lit), "indicator")
    assert isinstance(told, NotEvaluated)
    assert reason in told.reason


def test_the_time_lit_and_dark_is_that_in_which_the_robot_was_enabled() -> None:
    known = _known([55.0])
    counts = count_by_light(known)
    assert counts is not None
    assert counts.lit_s == pytest.approx(25.0, abs=0.11)
    assert counts.lit_s + counts.dark_s == pytest.approx(known.match.enabled_s, abs=0.2)

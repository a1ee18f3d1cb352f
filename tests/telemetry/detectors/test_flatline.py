"""Missing and frozen channels, and beams that go missing, in words."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.analysis import Analysis, Contact
from telemetry.detectors import NotEvaluated
from telemetry.detectors.dropout import DROPOUT
from telemetry.detectors.flatline import FLATLINE
from telemetry.finding import Finding, Severity
from telemetry.records.sensors import HarnessBreak, Lapse
from tests.telemetry.building import analysis_of, robot_of, switching
from tests.telemetry.logs import log_of, numbers, switch

ROBOT = robot_of(
    '[motors.feed]\ncurrent = "feed_a"\nspeed = "feed_rpm"\n[ranges.hopper]\nsignal = "hopper_mm"\n'
    '[beams.entry]\nsignal = "entry"\n[contact]\naccelerometer = ["ax_g"]\n[supply]\nvoltage = "battery_v"\n'
)
NAMES = ("feed_a", "feed_rpm", "hopper_mm", "ax_g", "battery_v")
LOG = log_of(*(numbers(name, [1.0] * 101) for name in NAMES), switch("entry", [0.0] * 101))


def _lapse(channel: str, start_s: float = 30.0, end_s: float = 35.0, kind: str = "frozen") -> Lapse:
    return Lapse(channel, kind, start_s, end_s)


def _known(*lapses: Lapse, **parts: Any) -> Analysis:
    by_channel = {lapse.channel: (lapse,) for lapse in lapses}
    beams = {"entry": switching([(10, 11)], 100.0)}
    return analysis_of(ROBOT, parts.pop("log", LOG), lapses=by_channel, beams=beams, **parts)


def _found(known: Analysis, subject: str) -> list[Finding]:
    judgement = FLATLINE.judge(known, subject)
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def test_a_part_for_each_of_motors_ranges_accelerometer_axes_and_the_supply() -> None:
    assert tuple(FLATLINE.subjects(ROBOT)) == ("feed", "hopper", "ax_g", "supply")


def test_channels_of_one_motor_that_freeze_together_are_one_finding() -> None:
    (found,) = _found(_known(_lapse("feed_a"), _lapse("feed_rpm", 30.02)), "feed")
    assert (found.kind, found.subject, found.role) == ("flatline", "feed", "motor")
    assert found.text == (
        "Motor feed froze at one value in 2 channels for 5.0 s, 0:30.0 to 0:35.0, though the log went on."
    )
    assert found.evidence["channels"] == ["feed_a", "feed_rpm"]
    assert found.evidence["state"] == "frozen"


@pytest.mark.parametrize(
    ("channel", "subject", "role", "begins"),
    [
        ("hopper_mm", "hopper", "range", "Range hopper sent nothing"),
        ("ax_g", "ax_g", "accelerometer", "Accelerometer ax_g sent nothing"),
        ("battery_v", "supply", "supply", "The supply sent nothing"),
    ],
)
def test_missing_values(channel: str, subject: str, role: str, begins: str) -> None:
    (found,) = _found(_known(_lapse(channel, kind="missing")), subject)
    assert (found.role, found.evidence["state"]) == (role, "missing")
    assert found.text.startswith(begins)


@pytest.mark.parametrize(("end_s", "severity"), [(31.9, Severity.WATCH), (32.0, Severity.FIX)])
def test_two_seconds_are_to_be_fixed(end_s: float, severity: Severity) -> None:
    (found,) = _found(_known(_lapse("hopper_mm", 30.0, end_s)), "hopper")
    assert found.severity == severity


def test_a_hit_just_before_is_named() -> None:
    hits = (Contact(29.8, 5.0, 0.1, "accelerometer"),)
    (found,) = _found(_known(_lapse("hopper_mm"), contacts=hits), "hopper")
    assert found.text.endswith("; it began 0.20 s after a hit.")


def test_what_a_harness_explains_is_left_to_its_finding() -> None:
    one = HarnessBreak("bus", 30.0, 35.0, ("bus", "feed"), {"feed": "frozen"}, 0.95, False)
    assert _found(_known(_lapse("feed_a"), harness_breaks=(one,)), "feed") == []


def test_without_a_value_it_cannot_be_judged() -> None:
    known = analysis_of(ROBOT, log_of(numbers("other", [0.0] * 101)))
    assert isinstance(FLATLINE.judge(known, "hopper"), NotEvaluated)
    changes = replace(numbers("hopper_mm", [1.0, 2.0]), sampled=False)
    known = analysis_of(ROBOT, log_of(changes, numbers("other", [0.0] * 101)))
    assert isinstance(FLATLINE.judge(known, "hopper"), NotEvaluated)


# Beams


def test_a_beam_whose_values_go_missing_is_a_dropout() -> None:
    judgement = DROPOUT.judge(_known(_lapse("entry", kind="missing")), "entry")
    assert not isinstance(judgement, NotEvaluated)
    (found,) = judgement
    assert (found.kind, found.evidence["state"], found.severity) == ("dropout", "missing", Severity.FIX)
    assert found.text == ("Beam entry was missing from the log from 0:30.0 to 0:35.0 though the log went on.")


def test_a_beam_lost_with_its_harness_is_left_to_its_finding() -> None:
    one = HarnessBreak("loom", 30.0, 35.0, ("loom",), {"entry": "missing"}, 0.97, False)
    judgement = DROPOUT.judge(_known(_lapse("entry", kind="missing"), harness_breaks=(one,)), "entry")
    assert isinstance(judgement, NotEvaluated)

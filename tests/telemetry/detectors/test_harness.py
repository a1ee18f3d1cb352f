"""A broken harness in words, with its link."""

from __future__ import annotations

from typing import Any

import pytest

from telemetry.analysis import Analysis
from telemetry.detectors import NotEvaluated
from telemetry.detectors.harness import HARNESS
from telemetry.finding import Finding
from telemetry.records.sensors import HarnessBreak
from tests.telemetry.building import analysis_of, robot_of, switching

ROBOT = robot_of(
    '[beams.entry]\nsignal = "e"\n[beams.gate]\nsignal = "g"\n[limits.low]\nsignal = "l"\n'
    '[[harnesses]]\nname = "loom"\nkind = "star"\norder = ["entry", "gate"]\n'
    '[[harnesses]]\nname = "bus"\nkind = "chain"\norder = ["low", "entry", "gate"]\n'
)
BOTH = {"entry": "missing", "gate": "missing"}


def _known(*breaks: HarnessBreak, **parts: Any) -> Analysis:
    beams = {name: switching([(10, 11)], 100.0) for name in ("entry", "gate")}
    return analysis_of(ROBOT, harness_breaks=breaks, **{"beams": beams, **parts})


def _found(known: Analysis, subject: str) -> Finding:
    judgement = HARNESS.judge(known, subject)
    assert not isinstance(judgement, NotEvaluated)
    (found,) = judgement
    return found


def test_one_finding_of_the_harness_names_link_and_lost() -> None:
    one = HarnessBreak("loom", 30.0, 35.0, ("loom",), BOTH, 0.97, False)
    found = _found(_known(one), "loom")
    assert (found.kind, found.role, found.subject) == ("dropout", "harness", "loom")
    assert (found.evidence["link"], found.evidence["lost"]) == (["loom"], ["entry", "gate"])
    assert found.text == "entry and gate of harness loom sent nothing together from 0:30.0 to 0:35.0."
    assert found.advice.startswith("Look at the common connector of harness loom")


@pytest.mark.parametrize(
    ("link", "place"),
    [
        (("low", "entry"), "the lead of harness bus between low and entry"),
        (("bus", "low"), "the lead between the head of harness bus and low"),
    ],
)
def test_a_chain_breaks_between_two_devices(link: tuple[str, str], place: str) -> None:
    found = _found(_known(HarnessBreak("bus", 30.0, 35.0, link, BOTH, 0.97, False)), "bus")
    assert place in found.advice


def test_what_stays_lost_is_open_at_the_end() -> None:
    lost = {"entry": "silent", "gate": "silent"}
    found = _found(_known(HarnessBreak("loom", 30.0, 95.0, ("loom",), lost, 0.85, True)), "loom")
    assert (
        found.text
        == "entry and gate of harness loom kept silent together while pieces passed from 0:30.0 to the end."
    )
    assert found.evidence["open_at_end"] is True


def test_another_harness_is_clear() -> None:
    one = HarnessBreak("loom", 30.0, 35.0, ("loom",), BOTH, 0.97, False)
    assert HARNESS.judge(_known(one), "bus") == []


def test_with_fewer_than_two_devices_in_the_log_it_cannot_be_judged() -> None:
    assert isinstance(HARNESS.judge(_known(beams={}), "loom"), NotEvaluated)

"""What became of each beam and limit."""

from __future__ import annotations

from typing import Any

import pytest

from telemetry.analysis import Analysis, Contact, SensorState
from telemetry.estimators.sensors import sum_up_sensors
from telemetry.finding import Finding, Severity
from tests.telemetry.building import analysis_of, match_of, robot_of, switching

ROBOT = robot_of('[beams.entry]\nsignal = "b"\n[limits.low]\nsignal = "l"\n')
BEAM = switching([(10, 11), (20, 21)], 100.0)
HITS = tuple(Contact(at, 4.0, 0.1, "accelerometer") for at in (12.0, 30.0, 55.0))


def _finding(kind: str, start_s: float, subject: str = "entry", **evidence: object) -> Finding:
    return Finding(kind, subject, "beam", start_s, start_s + 5, Severity.FIX, 0.9, "", "", evidence)


def _dropout(start_s: float, *, open_at_end: bool, first_contradiction_s: float | None = 35.0) -> Finding:
    return _finding(
        "dropout",
        start_s,
        state="stuck_clear",
        open_at_end=open_at_end,
        first_contradiction_s=first_contradiction_s,
    )


def _known(*findings: Finding, **parts: Any) -> Analysis:
    limits = {"low": switching([(40, 41)], 100.0)}
    return analysis_of(ROBOT, **{"beams": {"entry": BEAM}, "limits": limits, "findings": findings, **parts})


def _entry(*findings: Finding, **parts: Any) -> SensorState:
    return sum_up_sensors(_known(*findings, **parts))["entry"]


def test_every_beam_and_limit_of_the_log_with_its_transitions() -> None:
    states = sum_up_sensors(_known())
    assert {name: (state.role, state.transitions, state.state) for name, state in states.items()} == {
        "entry": ("beam", 4, "alive"),
        "low": ("limit", 2, "alive"),
    }


def test_a_beam_that_came_back_is_intermittent() -> None:
    state = _entry(_dropout(22.0, open_at_end=False))
    assert (state.state, state.dead_since_s, state.dead_interval_s) == ("intermittent", None, None)


def test_a_beam_that_did_not_is_dead_since_the_best_estimate_between_last_edge_and_contradiction() -> None:
    state = _entry(_dropout(22.0, open_at_end=True))
    assert (state.state, state.dead_since_s, state.dead_interval_s) == ("stuck_clear", 22.0, (21.0, 35.0))


def test_without_a_contradiction_the_interval_ends_with_the_estimate() -> None:
    state = _entry(_dropout(22.0, open_at_end=True, first_contradiction_s=None))
    assert state.dead_interval_s == (21.0, 22.0)


def test_the_last_dropout_tells_the_state() -> None:
    state = _entry(_dropout(12.0, open_at_end=False), _dropout(22.0, open_at_end=True))
    assert (state.state, state.dead_since_s) == ("stuck_clear", 22.0)


def test_another_beams_dropout_is_its_own() -> None:
    other = _finding("dropout", 22.0, "gate", state="stuck_clear", open_at_end=True)
    assert _entry(other).state == "alive"


# Faults after contacts


def test_faults_after_contacts_are_counted_against_the_others() -> None:
    """Two of three faults within half a second after one of three hits, in 90 s of match."""
    faults = [_finding("chatter", at) for at in (12.1, 30.5, 70.0)]
    association = _entry(*faults, contacts=HITS).contact_association
    assert association is not None
    assert association.rate_ratio == pytest.approx((2 / 1.5) / (1 / 88.5))
    assert association.p < 0.05


@pytest.mark.parametrize(("after_s", "followed"), [(-0.01, False), (0.0, True), (0.499, True), (0.51, False)])
def test_half_a_second_after_a_contact_follows_it(after_s: float, followed: bool) -> None:
    association = _entry(_finding("chatter", 30.0 + after_s), contacts=HITS).contact_association
    assert association is not None
    assert (association.p < 0.05) == followed


def test_contacts_close_together_count_their_time_once() -> None:
    hits = (Contact(30.0, 4.0, 0.1, "accelerometer"), Contact(30.2, 4.0, 0.1, "accelerometer"))
    association = _entry(
        _finding("chatter", 30.3), _finding("chatter", 70.0), contacts=hits
    ).contact_association
    assert association is not None
    assert association.rate_ratio == pytest.approx((1 / 0.7) / (1 / 89.3))


@pytest.mark.parametrize(
    "parts",
    [
        {"contacts": ()},
        {"contacts": HITS, "match": match_of(10.0)},
        {"contacts": (Contact(95.0, 4.0, 0.1, "accelerometer"),)},
    ],
)
def test_without_contacts_in_the_match_nothing_is_said(parts: dict[str, Any]) -> None:
    assert _entry(_finding("chatter", 12.1), **parts).contact_association is None


def test_without_a_fault_nothing_is_said() -> None:
    assert _entry(contacts=HITS).contact_association is None
    assert _entry(_finding("stall", 12.1), contacts=HITS).contact_association is None

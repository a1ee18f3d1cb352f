"""What became of each beam and limit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from telemetry.analysis import Analysis, Contact
from telemetry.estimators.sensors import sum_up_sensors
from telemetry.finding import Finding, Severity
from telemetry.records.sensors import Lapse, RangeUse, SensorState
from tests.telemetry.building import analysis_of, clock, match_of, robot_of, switching
from tests.telemetry.logs import log_of, numbers

ROBOT = robot_of('[beams.entry]\nsignal = "b"\n[limits.low]\nsignal = "l"\n')
BEAM = switching([(10, 11), (20, 21)], 100.0)
HITS = tuple(Contact(at, 4.0, 0.1, "accelerometer") for at in (12.0, 30.0, 55.0))


def _finding(kind: str, start_s: float, subject: str = "entry", **evidence: object) -> Finding:
    return Finding(kind, subject, "beam", start_s, start_s + 5, Severity.FIX, 0.9, "", "", evidence)


def _dropout(
    start_s: float,
    *,
    open_at_end: bool,
    first_contradiction_s: float | None = 35.0,
    onset_unseen: bool = False,
) -> Finding:
    return _finding(
        "dropout",
        start_s,
        state="stuck_clear",
        open_at_end=open_at_end,
        first_contradiction_s=first_contradiction_s,
        onset_unseen=onset_unseen,
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


# In words


def _words(*onsets_s: float, **parts: Any) -> str:
    words = _entry(*(_finding("chatter", at) for at in onsets_s), contacts=HITS, **parts).contact_words
    assert words is not None
    return words


def test_what_follows_hits_is_said_in_counts_and_never_as_proof() -> None:
    """1.5 s of 90 s lie just after a hit: of three faults 0.05 by chance."""
    assert _words(12.1, 30.5, 70.0) == (
        "2 of its 3 faults began within half a second after a hit; by chance alone about 0.05 would. That is "
        "hardly chance (p = 0.0008), but no proof that hits cause it."
    )


def test_an_infinite_ratio_is_all_of_its_faults() -> None:
    assert _words(12.1, 30.5).startswith("Both of its 2 faults began within half a second after a hit;")


def test_none_after_a_hit() -> None:
    assert _words(70.0, 80.0) == (
        "Neither of its 2 faults began within half a second after a hit; by chance alone about 0.03 would. "
        "Hits do not seem to set it off."
    )


@pytest.mark.parametrize(
    ("onset_s", "begins"),
    [(30.2, "Its one fault began within"), (70.0, "Its one fault did not begin within")],
)
def test_one_fault(onset_s: float, begins: str) -> None:
    assert _words(onset_s).startswith(begins)


@pytest.mark.parametrize(
    ("gainsaid_s", "says"),
    [
        (35.0, "between 0:21.0 and 0:35.0, with 1 hit in that time: it may have done it."),
        (29.0, "between 0:21.0 and 0:29.0, with no hit in that time."),
    ],
)
def test_a_beam_that_fell_silent_between_pieces_may_have_done_so_at_any_hit_of_that_time(
    gainsaid_s: float, says: str
) -> None:
    silent = _dropout(22.0, open_at_end=True, first_contradiction_s=gainsaid_s, onset_unseen=True)

    assert _entry(silent, contacts=HITS).contact_words == f"It fell silent unseen, {says}"


def test_hits_are_not_cleared_by_a_fault_that_began_unseen() -> None:
    silent = _dropout(22.0, open_at_end=True, onset_unseen=True)
    words = str(_entry(silent, _finding("chatter", 70.0), contacts=HITS).contact_words)

    assert words.startswith("Neither of its 2 faults began within half a second after a hit;")
    assert words.endswith("with 1 hit in that time: it may have done it.")


def test_a_beam_whose_own_edge_dates_its_silence_fell_silent_then() -> None:
    words = str(_entry(_dropout(30.2, open_at_end=True), contacts=HITS).contact_words)

    assert words.startswith("Its one fault began within")


def test_several_sensors_looked_at_make_each_less_special() -> None:
    """Benjamini and Hochberg: of two p-values the smaller counts twice, the larger once."""
    faults = [_finding("chatter", at) for at in (12.1, 30.5)]
    alone = _entry(*faults, contacts=HITS)
    states = sum_up_sensors(_known(*faults, _finding("limit_bounce", 70.0, "low"), contacts=HITS))
    assert alone.contact_association is not None
    assert alone.contact_p_adjusted == pytest.approx(alone.contact_association.p)
    assert states["entry"].contact_p_adjusted == pytest.approx(2 * alone.contact_association.p)
    assert states["low"].contact_association is not None
    assert states["low"].contact_p_adjusted == pytest.approx(states["low"].contact_association.p)


# Harness, missing, distance sensors


def _lost(how: str) -> Finding:
    evidence = {"lost": ["entry"], "how": {"entry": how}, "state": "lost", "first_contradiction_s": None}
    return Finding(
        "dropout", "loom", "harness", 22.0, 95.0, Severity.FIX, 0.9, "", "", {**evidence, "open_at_end": True}
    )


@pytest.mark.parametrize(("how", "state"), [("missing", "missing"), ("silent", "stuck_clear")])
def test_a_beam_lost_with_its_harness(how: str, state: str) -> None:
    found = _entry(_lost(how))
    assert (found.state, found.dead_since_s, found.dead_interval_s) == (state, 22.0, (21.0, 22.0))


def test_a_beam_whose_signal_never_came_is_missing() -> None:
    assert _entry(beams={}).state == "missing"


def test_a_distance_sensor_counts_its_crossings() -> None:
    t_s = clock(100.0)
    channel = numbers("r_mm", [1.0] * len(t_s), t_s.tolist())
    use = RangeUse(2.0, 40.0, 150.0, np.empty(0), 0.0, 60.0, 12, 12, 95.0, 11.0, 12)
    robot = robot_of('[ranges.hopper]\nsignal = "r_mm"\n')
    state = sum_up_sensors(analysis_of(robot, log_of(channel), range_use={"hopper": use}))["hopper"]
    assert (state.role, state.transitions, state.state) == ("range", 24, "alive")
    gone = {"r_mm": (Lapse("r_mm", "missing", 40.0, 99.0),)}
    state = sum_up_sensors(analysis_of(robot, log_of(channel), lapses=gone))["hopper"]
    assert (state.transitions, state.state) == (0, "missing")

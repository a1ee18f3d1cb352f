"""Dropouts too weakly shown for a finding: a beam flickers as a loose lead does, and nothing gainsays it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.analysis import Analysis, Guess
from telemetry.finding import Finding, Severity
from telemetry.match_facts import facts_of
from telemetry.records.pieces import BeamHealth, Count, Pieces
from telemetry.suspicions import is_of_an_outage, outages_of, suspected_dropouts
from tests.telemetry.building import analysis_of, passing, robot_of, switching

ROBOT = robot_of('[beams.entry]\nsignal = "b"\n')
PASSES = passing([2.0, 5.0, 10.0, 15.0, 20.0, 23.0, 50.0, 55.0, 60.0, 64.0, 80.0, 85.0], 0.5)


def _flicker(at_s: float) -> list[tuple[float, float]]:
    return [(at_s, at_s + 0.02), (at_s + 0.05, at_s + 0.07)]


def _known(*stretches: BeamHealth, flickers_s: tuple[float, ...] = (), **parts: Any) -> Analysis:
    on = sorted(PASSES + [blink for at_s in flickers_s for blink in _flicker(at_s)])
    none = Count(0, 0, 0)
    pieces = Pieces(none, none, (), (), (), {"entry": stretches})
    given = {"beams": {"entry": switching(on, 100.0)}, "honest_dwell_s": {"entry": 0.06}, "pieces": pieces}
    return analysis_of(ROBOT, **{**given, **parts})


def _suspected(known: Analysis) -> int:
    return suspected_dropouts(known, "entry", outages_of(known))


def _of_an_outage(known: Analysis, burst: Finding) -> bool:
    return is_of_an_outage(known, burst, outages_of(known))


def _finding(kind: str, start_s: float, end_s: float, subject: str = "entry", **evidence: Any) -> Finding:
    return Finding(
        kind=kind, subject=subject, role="beam", start_s=start_s, end_s=end_s, severity=Severity.FIX,
        confidence=0.9, text="It failed.", advice="Look at it.", evidence=evidence,
    )  # fmt: skip


def test_a_flicker_is_suspected_and_a_silence_alone_is_not() -> None:
    assert _suspected(_known(flickers_s=(30.0,))) == 1
    assert _suspected(_known(BeamHealth(22.0, 30.0, "stuck_clear", 0.8))) == 0
    assert _suspected(_known()) == 0


def test_two_flickers_within_twelve_seconds_are_one_outage_and_a_third_opens_another() -> None:
    assert _suspected(_known(flickers_s=(30.0, 41.9))) == 1
    assert _suspected(_known(flickers_s=(30.0, 42.1))) == 2
    assert _suspected(_known(flickers_s=(30.0, 35.0, 40.0))) == 2
    assert _suspected(_known(flickers_s=(30.0, 35.0, 40.0, 45.0))) == 2


def test_a_flicker_that_leaves_the_beam_broken_closes_an_outage_where_it_reads_clear_unplugged() -> None:
    """Each time its blinks end in a long stay: the beam is back, so the next flicker opens another."""
    on = [
        (at + shift, at + until)
        for at in (28.0, 35.0)
        for shift, until in ((0.0, 0.02), (0.05, 0.07), (0.1, 2.0))
    ]
    beams = {"entry": switching(sorted(PASSES + on), 100.0)}
    plugged = replace(
        _known(beams=beams), robot=robot_of('[beams.entry]\nsignal = "b"\nunplugged = "clear"\n')
    )
    assert _suspected(plugged) == 2
    assert _suspected(_known(beams=beams)) == 1


@pytest.mark.parametrize(
    "told",
    [
        _finding("dropout", 28.5, 35.5),
        _finding("dropout", 28.5, 35.5, subject="tower loom", lost=["middle", "entry"]),
    ],
)
def test_what_a_finding_tells_is_not_suspected_besides(told: Finding) -> None:
    assert _suspected(_known(flickers_s=(29.0, 35.0), findings=(told,))) == 0
    assert _suspected(_known(flickers_s=(29.0, 35.0, 70.0), findings=(told,))) == 1


def test_a_finding_that_spans_two_outages_leaves_one_to_suspect() -> None:
    told = _finding("dropout", 24.9, 48.0)
    assert _suspected(_known(flickers_s=(25.0, 30.0, 40.0, 47.0), findings=(told,))) == 1


def test_what_is_told_of_another_beam_changes_nothing() -> None:
    other = _finding("dropout", 28.5, 35.5, subject="gate")
    loom = _finding("dropout", 28.5, 35.5, subject="tower loom", lost=["middle"])
    assert _suspected(_known(flickers_s=(29.0, 35.0), findings=(other, loom))) == 1


@pytest.mark.parametrize(
    "part", [{"pieces": None}, {"guesses": (Guess("beams.entry.signal", "b", "its name"),)}, {"beams": {}}]
)
def test_where_dropouts_cannot_be_judged_none_is_suspected(part: dict[str, Any]) -> None:
    assert _suspected(_known(flickers_s=(30.0,), **part)) == 0


@pytest.mark.parametrize(("period_s", "suspected"), [(0.05, 1), (0.1, 0)])
def test_where_readings_hardly_show_a_pass_a_flicker_is_none(period_s: float, suspected: int) -> None:
    on = [*passing([10.0, 20.0, 50.0, 60.0], 0.2), *_flicker(70.0)]
    beams = {"entry": switching(on, 100.0, period_s=period_s)}
    assert _suspected(_known(beams=beams)) == suspected


def test_what_is_kept_of_a_match_keeps_suspicions_apart_from_findings() -> None:
    known = _known(flickers_s=(30.0,), findings=(_finding("dropout", 70.0, 80.0, contact_t_s=69.8),))
    told = facts_of(known).told("dropout", "entry")
    assert told is not None
    assert (told.count, told.after_hits, told.suspected) == (1, 1, 1)


@pytest.mark.parametrize(
    ("start_s", "edges", "of_it"),
    [
        (28.7, 8, True),
        (28.7, 13, False),
        (27.4, 8, False),
        (35.3, 8, True),
        (36.2, 8, False),
        (32.0, 8, False),
    ],
)
def test_a_short_burst_as_a_beam_drops_out_or_comes_back_is_of_that_outage(
    start_s: float, edges: int, of_it: bool
) -> None:
    told = _finding("dropout", 29.0, 35.0)
    burst = _finding("chatter", start_s, start_s + 0.4, extra_edges=edges)
    assert _of_an_outage(_known(findings=(told, burst)), burst) == of_it
    assert not _of_an_outage(_known(findings=(burst,)), burst)


def test_a_burst_of_an_outage_is_not_counted_as_chatter_besides() -> None:
    told = _finding("dropout", 29.0, 35.0)
    known = _known(
        findings=(told, _finding("chatter", 28.7, 29.1, extra_edges=8), _finding("chatter", 70, 71))
    )
    chatter = facts_of(known).told("chatter", "entry")
    assert chatter is not None
    assert chatter.count == 1

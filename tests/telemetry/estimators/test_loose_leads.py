"""When a lead makes or breaks: dwells too short for any piece, and changes while nothing moves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from telemetry.analysis import Analysis, Contact
from telemetry.estimators.loose_leads import changes_at_rest, lead_signs
from telemetry.estimators.motors import trace_motors
from telemetry.records.sensors import Burst
from tests.telemetry.building import analysis_of, clock, held, match_of, passing, robot_of, switching
from tests.telemetry.logs import log_of, numbers

ROBOT = robot_of(
    '[motors.belt]\ncurrent = "belt_a"\ncommand = "belt_duty"\n'
    '[beams.entry]\nsignal = "e"\nstation = 1\n[beams.middle]\nsignal = "m"\nstation = 2\n'
    '[beams.gate]\nsignal = "g"\nstation = 3\n'
)
END_S = 100.0
PASSES_S = tuple(np.arange(5.0, 85.0, 8.0).tolist())
HIT = Contact(39.8, 4.0, 0.1, "accelerometer")
Spans = Sequence[tuple[float, float]]


def _known(middle: Spans, *, gate: Spans | None = None, belt: bool = True, **parts: Any) -> Analysis:
    """Pieces of 0.2 s pass each beam under a belt that runs for 2 s around them."""
    t_s = clock(END_S)
    runs = {(at - 0.5, at + 1.5): 0.5 for at in PASSES_S}
    log = log_of(held("belt_duty", t_s, runs), numbers("belt_a", [5.0] * len(t_s), t_s.tolist()))
    beams = {
        "entry": switching(passing(PASSES_S, 0.2), END_S),
        "middle": switching(sorted([*passing([at + 0.3 for at in PASSES_S], 0.2), *middle]), END_S),
        "gate": switching(gate or passing([at + 0.6 for at in PASSES_S], 0.2), END_S),
    }
    given = {"beams": beams, "honest_dwell_s": dict.fromkeys(beams, 0.06), "match": match_of(END_S)}
    motors = trace_motors(log, ROBOT) if belt else {}
    return analysis_of(ROBOT, log, **{**given, "motors": motors, **parts})


def _signs_of(known: Analysis, beam: str) -> list[list[float]]:
    told: list[list[float]] = lead_signs(known, beam, changes_at_rest(known)).tolist()
    return told


def _signs(*middle: tuple[float, float], **given: Any) -> list[list[float]]:
    return _signs_of(_known(middle, **given), "middle")


def _blinks(number: int, at_s: float = 40.0, lasting_s: float = 0.02) -> Spans:
    return [(at_s + 0.1 * n, at_s + 0.1 * n + lasting_s) for n in range(number)]


def test_a_sound_beam_shows_no_sign() -> None:
    assert _signs() == []


@pytest.mark.parametrize(("blinks", "signs"), [(1, 0), (2, 1), (3, 1)])
def test_two_blinks_close_together_are_a_sign_and_one_is_none(blinks: int, signs: int) -> None:
    assert len(_signs(*_blinks(blinks), belt=False)) == signs


def test_the_blinks_of_a_lead_that_breaks_while_the_belt_rests_are_not_counted_twice() -> None:
    """Four blinks are eight changes at rest and seven short dwells: neither is too many."""
    (at_s, gap_s) = (40.0, 0.02)
    blinks = [(at_s + 2 * gap_s * n, at_s + 2 * gap_s * n + gap_s) for n in range(4)]
    assert len(_signs(*blinks)) == 1
    assert _signs(*[(at_s + 2 * gap_s * n, at_s + 2 * gap_s * n + gap_s) for n in range(8)]) == []


def test_one_blink_just_after_a_hit_is_a_sign() -> None:
    assert len(_signs((40.0, 40.02), belt=False, contacts=(HIT,))) == 1
    assert len(_signs((40.4, 40.42), belt=False, contacts=(HIT,))) == 0


@pytest.mark.parametrize(("lasting_s", "signs"), [(0.079, 1), (0.081, 0)])
def test_a_blink_is_shorter_than_two_fifths_of_the_usual_pass(lasting_s: float, signs: int) -> None:
    assert len(_signs((40.0, 40.0 + lasting_s), (40.3, 40.3 + lasting_s), belt=False)) == signs


def test_pieces_that_touch_leave_short_clear_moments_and_no_sign() -> None:
    assert _signs((40.0, 40.2), (40.23, 40.43), (40.46, 40.66), belt=False) == []


def test_a_beam_that_the_launcher_pulls_pieces_through_is_held_to_its_own_pass() -> None:
    quick = passing([at + 0.6 for at in PASSES_S], 0.05)
    assert _signs_of(_known((), gate=quick, belt=False), "gate") == []


def test_too_many_blinks_are_chatter() -> None:
    assert len(_signs(*_blinks(6), belt=False)) == 1
    assert _signs(*_blinks(7), belt=False) == []


def test_nothing_within_a_long_burst_is_a_sign_nor_in_a_beam_with_two_of_them() -> None:
    burst, other = Burst(39.0, 41.0, 14, 0.01, 0.02), Burst(60.0, 61.0, 14, 0.01, 0.02)
    assert _signs(*_blinks(2), belt=False, bursts={"middle": (burst,)}) == []
    assert len(_signs(*_blinks(2), belt=False, bursts={"middle": (other,)})) == 1
    both = (Burst(20.0, 21.0, 14, 0.01, 0.02), other)
    assert _signs(*_blinks(2), belt=False, bursts={"middle": both}) == []


def test_a_change_while_the_belt_stands_still_is_a_sign() -> None:
    assert _signs((41.0, 43.0)) == [[41.0, 41.0], [43.0, 43.0]]
    assert _signs((41.0, 43.0), belt=False) == []


def test_a_change_as_the_belt_runs_or_just_after_a_hit_is_none() -> None:
    assert _signs((46.0, 46.4)) == []
    assert _signs((40.2, 43.0), contacts=(HIT,)) == [[43.0, 43.0]]


def test_what_is_regularly_moved_without_the_belt_says_nothing() -> None:
    assert _signs(*((at + 4.0, at + 4.4) for at in PASSES_S)) == []


def test_where_the_other_beams_change_at_rest_as_well_the_belt_says_nothing() -> None:
    gate = sorted([*passing([at + 0.6 for at in PASSES_S], 0.2), (20.0, 21.0), (60.0, 61.0)])
    assert len(_signs((41.0, 43.0), gate=gate)) == 2  # the entry never does
    known = _known([(41.0, 43.0)], gate=gate)
    entry = switching(sorted([*passing(PASSES_S, 0.2), (28.0, 29.0), (68.0, 69.0)]), END_S)
    both = analysis_of(
        ROBOT, known.log, beams={**known.beams, "entry": entry}, motors=known.motors,
        honest_dwell_s=known.honest_dwell_s, match=known.match,
    )  # fmt: skip
    assert _signs_of(both, "middle") == []

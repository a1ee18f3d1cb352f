"""Beams that stop telling the truth."""

from __future__ import annotations

from typing import Any

import pytest

from telemetry.analysis import Analysis, Contact, Guess
from telemetry.detectors import NotEvaluated
from telemetry.detectors.dropout import DROPOUT
from telemetry.finding import Finding, Severity
from telemetry.records.pieces import BeamHealth, Count, Pieces
from telemetry.records.sensors import Burst, HarnessBreak
from tests.telemetry.building import analysis_of, robot_of, switching

ROBOT = robot_of('[beams.entry]\nsignal = "b"\nharness = "tower loom"\n')
LIVELY = switching([(10, 11), (20, 21), (50, 51), (60, 61)], 100.0)
DIES = switching([(10, 11), (20, 21)], 100.0)
OUT = BeamHealth(22.0, 49.9, "stuck_clear", 0.95, contradictions_s=(30.0, 35.0))


def _told(*stretches: BeamHealth) -> Pieces:
    none = Count(0, 0, 0)
    return Pieces(none, none, (), (), (), {"entry": stretches})


def _known(*stretches: BeamHealth, **parts: Any) -> Analysis:
    return analysis_of(ROBOT, **{"beams": {"entry": LIVELY}, "pieces": _told(*stretches), **parts})


def _found(known: Analysis) -> list[Finding]:
    judgement = DROPOUT.judge(known, "entry")
    assert not isinstance(judgement, NotEvaluated)
    return list(judgement)


def test_a_stretch_that_the_story_gainsays_is_a_finding() -> None:
    (found,) = _found(_known(OUT))
    assert (found.kind, found.subject, found.role) == ("dropout", "entry", "beam")
    assert (found.start_s, found.end_s) == (22.0, 49.9)
    assert (found.severity, found.confidence) == (Severity.FIX, 0.95)
    assert found.text == "Beam entry read clear from 0:22.0 to 0:49.9 while pieces passed it (2 times)."
    assert (found.evidence["state"], found.evidence["contradictions"]) == ("stuck_clear", 2)
    assert (found.evidence["first_contradiction_s"], found.evidence["open_at_end"]) == (30.0, False)


@pytest.mark.parametrize(
    ("state", "where"), [("stuck_clear", "the receiver and its signal lead"), ("stuck_broken", "the emitter")]
)
def test_the_advice_names_the_side_and_the_harness(state: str, where: str) -> None:
    (found,) = _found(_known(BeamHealth(22.0, 49.9, state, 0.95, contradictions_s=(30.0,))))
    assert where in found.advice
    assert "tower loom" in found.advice


def test_no_stretch_is_clear() -> None:
    assert _found(_known()) == []


def test_a_stretch_that_nothing_gainsays_is_clear() -> None:
    assert _found(_known(BeamHealth(22.0, 49.9, "stuck_clear", 0.95))) == []


@pytest.mark.parametrize(("probability", "severity"), [(0.79, Severity.WATCH), (0.81, Severity.FIX)])
def test_what_is_not_sure_is_watched(probability: float, severity: Severity) -> None:
    (found,) = _found(_known(BeamHealth(22.0, 49.9, "stuck_clear", probability, contradictions_s=(30.0,))))
    assert found.severity == severity
    assert found.confidence == probability


def test_nothing_is_quite_certain() -> None:
    (found,) = _found(_known(BeamHealth(22.0, 49.9, "stuck_clear", 1.0, contradictions_s=(30.0,))))
    assert found.confidence == 0.99


def test_a_beam_that_never_switches_again_is_out_to_the_end() -> None:
    (found,) = _found(_known(OUT, beams={"entry": DIES}))
    assert found.evidence["open_at_end"] is True
    assert found.end_s == 90.0
    assert found.text == "Beam entry read clear from 0:22.0 to the end while pieces passed it (2 times)."


def test_a_beam_that_never_switched_at_all_is_out_to_the_end() -> None:
    (found,) = _found(_known(OUT, beams={"entry": switching([], 100.0)}))
    assert found.evidence["open_at_end"] is True


def test_stretches_between_which_it_never_switched_are_one() -> None:
    later = BeamHealth(60.0, 80.0, "stuck_clear", 0.7, contradictions_s=(70.0,))
    (found,) = _found(_known(OUT, later, beams={"entry": DIES}))
    assert (found.start_s, found.end_s, found.confidence) == (22.0, 90.0, 0.95)
    assert found.evidence["contradictions"] == 3


def test_stretches_between_which_it_switched_are_two() -> None:
    later = BeamHealth(62.0, 80.0, "stuck_clear", 0.7, contradictions_s=(70.0,))
    first, second = _found(_known(OUT, later))
    assert (first.evidence["open_at_end"], second.evidence["open_at_end"]) == (False, True)


def test_a_stretch_to_the_end_of_the_match_is_open() -> None:
    (found,) = _found(_known(BeamHealth(62.0, 92.0, "stuck_clear", 0.95, contradictions_s=(70.0,))))
    assert (found.end_s, found.evidence["open_at_end"]) == (92.0, True)


def _broken_at_an_edge(contact: Contact) -> Finding:
    stuck = BeamHealth(22.0, 49.9, "stuck_broken", 0.95, contradictions_s=(30.0, 35.0))
    beam = switching([(10, 11), (22.0, 49.9)], 100.0)
    (found,) = _found(_known(stuck, beams={"entry": beam}, contacts=(contact,)))
    return found


def test_the_hit_just_before_is_told_with_its_force() -> None:
    found = _broken_at_an_edge(Contact(21.8, 5.12, 0.1, "accelerometer"))
    assert found.text.endswith("; it began 0.20 s after a hit of 5.1 g.")
    assert (found.evidence["contact_t_s"], found.evidence["contact_peak_g"]) == (21.8, 5.12)


def test_a_hit_without_a_force_is_told_without_one() -> None:
    found = _broken_at_an_edge(Contact(21.8, None, 0.1, "drive current"))
    assert found.text.endswith("; it began 0.20 s after a hit.")


def test_no_hit_is_blamed_for_a_silence_that_no_edge_dates() -> None:
    hits = tuple(Contact(at_s, 4.0, 0.1, "accelerometer") for at_s in (21.8, 26.0, 70.0))
    (found,) = _found(_known(OUT, contacts=hits))
    assert found.text.endswith("; it fell silent unseen between 0:21.0 and 0:30.0, with 2 hits in that time.")
    assert found.evidence["contact_t_s"] is None


def test_a_stretch_that_is_mostly_chatter_is_left_to_chatter() -> None:
    assert _found(_known(OUT, bursts={"entry": (Burst(25.0, 45.0, 200, 0.01, 0.02),)})) == []
    assert len(_found(_known(OUT, bursts={"entry": (Burst(25.0, 30.0, 60, 0.01, 0.02),)}))) == 1


def test_what_a_beam_reads_while_it_chatters_gainsays_nothing() -> None:
    """Both pieces pass in a short burst: chopped to bits, but seen. One that passes outside it counts."""
    bursts = {"entry": (Burst(29.9, 30.1, 12, 0.01, 0.02), Burst(34.9, 35.1, 12, 0.01, 0.02))}
    assert _found(_known(OUT, bursts=bursts)) == []
    (found,) = _found(_known(OUT, bursts={"entry": bursts["entry"][:1]}))
    assert found.evidence["first_contradiction_s"] == 35.0


@pytest.mark.parametrize(("flickers", "since_s"), [(0, 22.0), (1, 22.0), (2, 16.0), (3, 16.0)])
def test_a_beam_that_flickers_into_silence_is_out_since_the_flicker(flickers: int, since_s: float) -> None:
    """The story tells from 22 s on at the earliest, as the first piece goes by unseen."""
    blinks = [(16 + 0.1 * number, 16.02 + 0.1 * number) for number in range(flickers)]
    known = _known(
        OUT, beams={"entry": switching([(10, 11), *blinks], 100.0)}, honest_dwell_s={"entry": 0.05}
    )
    assert _found(known)[0].start_s == pytest.approx(since_s)


@pytest.mark.parametrize(
    ("parts", "reason"),
    [
        ({"beams": {}}, "its signal is not in the log"),
        ({"pieces": None}, "the story of the pieces could not be told, so that nothing gainsays the beam"),
        ({"guesses": (Guess("beams.entry.signal", "b", "its name"),)},
         "no robot file: its unplugged state is unknown"),
    ],
)  # fmt: skip
def test_what_cannot_be_judged_says_why(parts: dict[str, Any], reason: str) -> None:
    judgement = DROPOUT.judge(_known(OUT, **parts), "entry")
    assert judgement == NotEvaluated(reason)


LOOSE = BeamHealth(22.0, 30.0, "stuck_clear", 0.95, flickered=True)


def _blinking_at(*at_s: float) -> dict[str, Any]:
    """The lively beam with two blinks at each instant, far shorter than its passes."""
    blinks = [(at + shift, at + shift + 0.02) for at in at_s for shift in (0.0, 0.05)]
    passes = [(at, at + 0.4) for at in (5.0, 10.0, 15.0, 20.0, 50.0, 60.0, 70.0)]
    return {"entry": switching(sorted([*passes, *blinks]), 100.0)}


def test_a_silence_between_two_flickers_is_a_finding_though_nothing_gainsays_it() -> None:
    (found,) = _found(_known(LOOSE, beams=_blinking_at(21.9, 29.9)))
    assert (found.confidence, found.evidence["contradictions"]) == (0.85, 0)
    assert "after flickering as a loose lead does" in found.text


@pytest.mark.parametrize("at_s", [(21.9,), (29.9,), (), (21.9, 31.0)])
def test_a_silence_with_a_flicker_at_one_end_alone_is_none(at_s: tuple[float, ...]) -> None:
    assert _found(_known(LOOSE, beams=_blinking_at(*at_s))) == []


def test_blinks_at_both_ends_are_none_where_the_story_saw_no_flicker() -> None:
    never = BeamHealth(22.0, 30.0, "stuck_clear", 0.95)
    assert _found(_known(never, beams=_blinking_at(21.9, 29.9))) == []


@pytest.mark.parametrize(
    ("until_s", "how", "number"), [(36.5, "missing", 0), (35.5, "missing", 1), (49.0, "no draw", 1)]
)
def test_the_story_gainsays_nothing_while_the_launcher_is_not_heard(
    until_s: float, how: str, number: int
) -> None:
    """Of the 27.9 s of the stretch more than half; one that draws nothing is heard well enough."""
    robot = robot_of(
        '[beams.entry]\nsignal = "b"\n[motors.thrower]\ncurrent = "thrower_a"\n'
        '[launcher]\nmotor = "thrower"\n'
    )
    one = HarnessBreak("bus", 22.0, until_s, ("feed", "thrower"), {"thrower": how}, 0.97, False)
    known = analysis_of(robot, beams={"entry": LIVELY}, pieces=_told(OUT), harness_breaks=(one,))
    assert len(_found(known)) == number

"""Simulated events with known truth: what gets worse is found, and nothing else; a fix is judged right."""

from __future__ import annotations

from pathlib import Path

import pytest

from parsers import read_log
from telemetry.comparison import compare_matches
from telemetry.event import Event, event_from
from telemetry.judge import judge
from telemetry.match_facts import MatchFacts, facts_of
from telemetry.robot_file import read_robot
from telemetry.simulator import BeamDropouts, MatchPlan, TightMechanism, simulate_match, write_match
from telemetry.simulator.faults import Fault

MATCHES = 8
PLAN = MatchPlan(autonomous_s=5.0, teleop_s=60.0, endgame_s=10.0)


def _facts(folder: Path, seed: int, number: int, faults: tuple[Fault, ...]) -> MatchFacts:
    name = f"match-{number + 1:02d}"
    path = write_match(simulate_match(seed=seed, name=name, faults=faults, plan=PLAN), folder, "parquet")
    return facts_of(judge(read_log(path), read_robot(folder / "robot.toml"), name=name)[0])


def _dropouts(count: int) -> tuple[Fault, ...]:
    windows = tuple((10.0 + 13.0 * n, 17.0 + 13.0 * n) for n in range(count))
    return (BeamDropouts(beam="entry", windows=windows),) if windows else ()


@pytest.fixture(scope="module")
def worsening(tmp_path_factory: pytest.TempPathFactory) -> list[MatchFacts]:
    """Dropouts of the entry beam become more, and the belt drags more, from match to match."""
    folder = tmp_path_factory.mktemp("worsening")
    return [
        _facts(
            folder,
            500 + n,
            n,
            (*_dropouts(min(max(n - 2, 0), 4)), TightMechanism(motor="feed", factor=1 + 0.2 * n)),
        )
        for n in range(MATCHES)
    ]


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory) -> Event:
    folder = tmp_path_factory.mktemp("steady")
    return event_from([_facts(folder, 700 + n, n, ()) for n in range(6)])


def test_what_gets_worse_is_found_and_nothing_else(worsening: list[MatchFacts]) -> None:
    found = {(t.series.kind, t.series.subject, t.direction) for t in event_from(worsening).trends if t.found}
    assert found == {("dropout", "entry", "rising"), ("friction_trend", "feed", "rising")}


def test_the_dragging_belt_is_one_finding_of_the_event(worsening: list[MatchFacts]) -> None:
    drags = [trouble for trouble in event_from(worsening).troubles if trouble.kind == "friction_trend"]
    assert [(trouble.subject, trouble.role) for trouble in drags] == [("feed", "motor")]


def test_the_next_match_is_likely_to_bring_a_dropout_of_that_beam_first(worsening: list[MatchFacts]) -> None:
    first = event_from(worsening).forecasts[0]
    assert (first.kind, first.subject) == ("dropout", "entry")
    assert first.probability is not None
    assert first.probability > 0.8


def test_a_fix_between_two_matches_is_judged_right(worsening: list[MatchFacts]) -> None:
    fixed = compare_matches(worsening[3:], worsening[:3])
    verdicts = {one.subject: one.verdict for one in fixed.subjects if one.kind == "dropout"}
    assert verdicts == {"entry": "improved"}
    broken = compare_matches(worsening[:3], worsening[3:])
    assert {one.verdict for one in broken.subjects if one.kind == "dropout"} == {"worse"}


def test_no_trend_is_invented_on_a_steady_event(steady: Event) -> None:
    assert [trend.text for trend in steady.trends if trend.found] == []
    assert not [trouble for trouble in steady.troubles if trouble.kind == "friction_trend"]

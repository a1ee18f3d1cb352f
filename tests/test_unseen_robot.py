"""A robot and a logger that nothing was tuned to show the same faults as the demo robot.

The same match is simulated twice: once as the demo robot logs it, once with every channel renamed, the beams
wired the other way round, at 25 Hz, in mA and on a clock in ms.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pytest

import parsers
from telemetry.analysis import Analysis
from telemetry.finding import Finding
from telemetry.judge import judge
from telemetry.robot_file import read_robot
from telemetry.simulator import (
    BeamDropouts,
    Chatter,
    FeedJam,
    LoggerSpec,
    RobotSpec,
    SimulatedMatch,
    simulate_match,
    write_match,
)

SEED = 2
FAULTS = (
    BeamDropouts(beam="entry", windows=((50.0, 62.0),)),
    Chatter(beam="middle", trigger="belt"),
    FeedJam(from_s=80.0),
)
RATE_HZ = 25.0


@dataclass(frozen=True)
class Seen:
    """A simulated match, its log's channel names, and what the analysis made of it."""

    match: SimulatedMatch
    channels: frozenset[str]
    analysis: Analysis


def _swapped(spec: RobotSpec) -> RobotSpec:
    beams = tuple(replace(beam, broken=beam.clear, clear=beam.broken) for beam in spec.tower.beams)
    return replace(spec, tower=replace(spec.tower, beams=beams))


def _renaming(logger: LoggerSpec, match: SimulatedMatch) -> LoggerSpec:
    keys = [column.key for column in match.table.columns]
    names = {key: f"Kanal {number:02d}" for number, key in enumerate(keys)}
    return replace(logger, names={**names, "time": "Uhr"})


def _look(match: SimulatedMatch, folder: Path) -> Seen:
    path = write_match(match, folder)
    robot = read_robot(folder / "robot.toml")
    log = parsers.read_log(path, overrides=robot.log)
    (analysis,) = judge(log, robot, name=match.name)
    return Seen(match, frozenset(log.channels), analysis)


@pytest.fixture(scope="module")
def familiar(tmp_path_factory: pytest.TempPathFactory) -> Seen:
    return _look(simulate_match(seed=SEED, faults=FAULTS), tmp_path_factory.mktemp("familiar"))


@pytest.fixture(scope="module")
def strange(familiar: Seen, tmp_path_factory: pytest.TempPathFactory) -> Seen:
    logger = LoggerSpec(rate_hz=RATE_HZ, time_unit="ms", current_unit="mA")
    renamed = _renaming(logger, familiar.match)
    match = simulate_match(_swapped(RobotSpec()), seed=SEED, faults=FAULTS, logger=renamed)
    return _look(match, tmp_path_factory.mktemp("strange"))


def _of(seen: Seen, kind: str, subject: str) -> list[Finding]:
    return [f for f in seen.analysis.findings if (f.kind, f.subject) == (kind, subject)]


def _overlaps(finding: Finding, start_s: float, end_s: float) -> bool:
    return finding.start_s - 0.5 < end_s and start_s - 0.5 < finding.end_s


def test_the_two_logs_share_no_channel_name(familiar: Seen, strange: Seen) -> None:
    assert not familiar.channels & strange.channels


def test_nothing_breaks(familiar: Seen, strange: Seen) -> None:
    assert familiar.analysis.failures == strange.analysis.failures == ()


def test_the_same_kinds_of_fault_are_found_on_the_same_parts(familiar: Seen, strange: Seen) -> None:
    kinds = [{(f.kind, f.subject) for f in seen.analysis.findings} for seen in (familiar, strange)]
    assert kinds[0] == kinds[1] == {("dropout", "entry"), ("chatter", "middle"), ("stall", "feed")}


@pytest.mark.parametrize(("kind", "subject"), [("dropout", "entry"), ("stall", "feed")])
def test_each_log_shows_each_lasting_fault_where_it_truly_was(
    familiar: Seen, strange: Seen, kind: str, subject: str
) -> None:
    for seen in (familiar, strange):
        true = [f for f in seen.match.truth["faults"] if (f["kind"], f["subject"]) == (kind, subject)]
        assert true
        for fault in true:
            assert any(_overlaps(f, fault["start_s"], fault["end_s"]) for f in _of(seen, kind, subject))


def test_every_chatter_that_is_told_was_there(familiar: Seen, strange: Seen) -> None:
    for seen in (familiar, strange):
        true = [f for f in seen.match.truth["faults"] if f["kind"] == "chatter"]
        for finding in _of(seen, "chatter", "middle"):
            assert any(_overlaps(finding, fault["start_s"], fault["end_s"]) for fault in true)


def test_the_same_hits_are_felt(familiar: Seen, strange: Seen) -> None:
    felt = [[contact.t_s for contact in seen.analysis.contacts] for seen in (familiar, strange)]
    assert len(felt[0]) == len(felt[1]) == len(familiar.match.truth["contacts"])
    assert felt[1] == pytest.approx(felt[0], abs=2.5 / RATE_HZ)

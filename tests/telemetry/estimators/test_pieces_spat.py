"""The story of pieces that a belt running back spits out at the entry."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.records.pieces import Pieces
from tests.telemetry.building import clock, inside, robot_of, sampled_switch
from tests.telemetry.logs import log_of, numbers, words
from tests.telemetry.piece_stories import story_of

COMES_S = (10.0, 20.0, 30.0, 40.0, 50.0, 60.0)
LEAVES_S = (14.0, 24.0, 34.0, 44.0)
BACK_S = (70.0, 74.0)
RUNS_S = [(at - 0.1, at + 1.5) for at in COMES_S] + [(at - 1.0, at + 0.5) for at in LEAVES_S]


def _story(entry_back: list[tuple[float, float]]) -> Pieces:
    """Four pieces come and are launched; two more come, wait between the beams and are spat out again."""
    robot = robot_of(
        '[robot]\ncapacity = 3\n[match]\nphase = "mode"\n[launcher]\nmotor = "wheel"\n'
        '[motors.wheel]\ncurrent = "wheel_a"\ncommand = "wheel_duty"\nspeed = "wheel_rpm"\n'
        '[motors.feed]\ncurrent = "feed_a"\ncommand = "feed_duty"\n'
        '[beams.entry]\nsignal = "entry"\nbroken = 1\nstation = 1\n'
        '[beams.gate]\nsignal = "gate"\nbroken = 1\nstation = 2\n'
    )
    t_s = clock(90.0, 50)
    ticks = t_s.tolist()
    speed = np.where(t_s > 5, 3000.0, 0.0)
    for at in LEAVES_S:
        speed -= np.where(t_s >= at, 300 * np.exp(-np.maximum(t_s - at, 0) / 0.08), 0)
    feed = 0.5 * inside(t_s, RUNS_S) - 0.5 * inside(t_s, [BACK_S])
    log = log_of(
        words("mode", [("disabled", "teleop")[int(on)] for on in inside(t_s, [(3.0, 85.0)])], ticks),
        sampled_switch("entry", t_s, [(at, at + 0.2) for at in COMES_S] + entry_back),
        sampled_switch("gate", t_s, [(at - 0.3, at - 0.1) for at in LEAVES_S]),
        numbers("wheel_a", np.where(t_s > 5, 10.0, 0.0).tolist(), ticks),
        numbers("wheel_duty", np.where(t_s > 5, 0.6, 0.0).tolist(), ticks),
        numbers("wheel_rpm", speed.tolist(), ticks),
        numbers("feed_a", np.where(feed != 0, 8.0, 0.0).tolist(), ticks),
        numbers("feed_duty", feed.tolist(), ticks),
    )
    story = story_of(log, robot)
    assert story is not None
    return story


@pytest.mark.parametrize(
    "entry_back",
    [pytest.param([(70.4, 70.6), (71.0, 71.2)], id="apart"), pytest.param([(70.4, 70.8)], id="touching")],
)
def test_two_that_are_spat_out_are_gone_and_were_not_launched(
    entry_back: list[tuple[float, float]],
) -> None:
    story = _story(entry_back)
    assert (story.collected.estimate, story.released.estimate) == (6, 4)
    assert story.timeline[-1].aboard == 0
    assert not any(story.beam_health.values())


def test_a_belt_that_runs_back_without_a_piece_before_it_takes_none() -> None:
    assert _story([]).released.estimate == 4

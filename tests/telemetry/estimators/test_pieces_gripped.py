"""The story of pieces whose entry only the intake's current shows."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.records.pieces import Pieces
from tests.telemetry.building import clock, inside, passing, robot_of, sampled_switch
from tests.telemetry.logs import log_of, numbers, words
from tests.telemetry.piece_stories import story_of

COMES_S = tuple(np.arange(8.0, 88.0, 8.0).tolist())
DEAD_FROM_S = 50.0
WAITS_S = 4.0


def _story(*, gripping: bool) -> Pieces:
    """Each piece comes in, waits, and goes by the gate four seconds later; the entry beam dies on the way."""
    robot = robot_of(
        '[robot]\ncapacity = 3\n[match]\nphase = "mode"\n'
        '[motors.roller]\ncurrent = "roller_a"\ncommand = "roller_duty"\n'
        '[beams.entry]\nsignal = "entry"\nbroken = 1\nstation = 1\nunplugged = "clear"\n'
        '[beams.gate]\nsignal = "gate"\nbroken = 1\nstation = 2\n'
    )
    t_s = clock(95.0, 50)
    ticks = t_s.tolist()
    current = np.where(t_s > 4, 5.0, 0.0)
    if gripping:
        current += 6.0 * inside(t_s, passing([at - 0.1 for at in COMES_S], 0.2))
    log = log_of(
        words("mode", [("disabled", "teleop")[int(on)] for on in inside(t_s, [(3.0, 92.0)])], ticks),
        sampled_switch("entry", t_s, passing([at for at in COMES_S if at < DEAD_FROM_S])),
        sampled_switch("gate", t_s, passing([at + WAITS_S for at in COMES_S])),
        numbers("roller_a", current.tolist(), ticks),
        numbers("roller_duty", np.where(t_s > 4, 0.7, 0.0).tolist(), ticks),
    )
    story = story_of(log, robot)
    assert story is not None
    return story


def test_entries_past_a_dead_beam_are_told_when_the_intake_grips() -> None:
    assert _story(gripping=True).entries_s == pytest.approx(COMES_S, abs=0.1)


def test_without_a_grip_they_are_told_less_exactly() -> None:
    entries_s = np.array(_story(gripping=False).entries_s)
    assert len(entries_s) == len(COMES_S)
    assert np.abs(entries_s - COMES_S).max() > 0.5

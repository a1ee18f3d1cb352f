"""The story of the pieces where a launcher tells of releases by its speed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pytest

from telemetry.records.pieces import Pieces
from telemetry.robot import Robot
from tests.telemetry.building import clock, inside, passing, robot_of, sampled_switch
from tests.telemetry.logs import log_of, numbers, words
from tests.telemetry.piece_stories import story_of

Spells = Sequence[tuple[float, float]]

LENGTH_S, STARTS_S, ENDS_S = 100.0, 3.0, 95.0
ALONE_S = (15.0, 25.0, 35.0, 45.0, 55.0)
"""When a piece that comes alone is launched; its tail clears the gate a tenth of a second later."""
TOUCHING_S = (70.0, 70.3)
"""When two that touch are launched: the gate stays broken between, and the second one the middle as well."""


def _robot(path: Iterable[str]) -> Robot:
    beams = "".join(
        f'[beams.{name}]\nsignal = "{name}"\nbroken = 1\nstation = {station}\n'
        for station, name in enumerate(path, start=1)
    )
    return robot_of(
        '[robot]\ncapacity = 3\n[match]\nphase = "mode"\n[launcher]\nmotor = "wheel"\n'
        f'[motors.wheel]\ncurrent = "wheel_a"\ncommand = "duty"\nspeed = "wheel_rpm"\n{beams}'
    )


def _story(broken: Mapping[str, Spells], dips_s: Sequence[float]) -> Pieces:
    """The story of beams in the order of the path, and of a launcher that runs from the start."""
    robot = _robot(broken)
    t_s = clock(LENGTH_S, 50)
    ticks = t_s.tolist()
    speed = np.where(t_s > 5, 3000.0, 0.0)
    for at in dips_s:
        speed -= np.where(t_s >= at, 300 * np.exp(-np.maximum(t_s - at, 0) / 0.08), 0)
    mode = words("mode", [("disabled", "teleop")[int(on)] for on in inside(t_s, [(STARTS_S, ENDS_S)])], ticks)
    log = log_of(
        mode,
        *(sampled_switch(name, t_s, spells) for name, spells in broken.items()),
        numbers("wheel_a", np.where(t_s > 5, 10.0, 0.0).tolist(), ticks),
        numbers("duty", np.where(t_s > 5, 0.6, 0.0).tolist(), ticks),
        numbers("wheel_rpm", speed.tolist(), ticks),
    )
    story = story_of(log, robot)
    assert story is not None
    return story


@pytest.fixture(scope="module")
def touching() -> Pieces:
    broken = {
        "entry": passing([at - 4 for at in ALONE_S] + [64.0, 66.0]),
        "middle": [(at - 0.3, at - 0.12) for at in ALONE_S] + [(69.5, 70.02)],
        "gate": [(at - 0.1, at + 0.1) for at in ALONE_S] + [(69.9, 70.4)],
    }
    return _story(broken, [*ALONE_S, *TOUCHING_S])


def test_two_that_touch_are_launched_one_after_the_other(touching: Pieces) -> None:
    assert (touching.collected.estimate, touching.released.estimate) == (7, 7)
    assert touching.releases_s == pytest.approx([*ALONE_S, *TOUCHING_S], abs=0.05)
    assert min(touching.release_chances) > 0.9


def test_pieces_that_touch_make_no_beam_sick(touching: Pieces) -> None:
    assert not any(touching.beam_health.values())


def test_ranges_hold_the_estimate_and_events_add_up_to_it(touching: Pieces) -> None:
    for count, events in (
        (touching.collected, touching.entries_s),
        (touching.released, touching.releases_s),
    ):
        assert count.low <= count.estimate <= count.high
        assert len(events) == count.estimate


def test_a_gate_stuck_broken_is_no_train_of_touching_pieces() -> None:
    more_s = tuple(60.0 + 4 * number for number in range(8))
    broken = {
        "entry": passing([at - 4 for at in ALONE_S] + [at - 2 for at in more_s]),
        "gate": [(at - 0.1, at + 0.1) for at in ALONE_S] + [(58.5, LENGTH_S)],
    }
    story = _story(broken, [*ALONE_S, *more_s])
    assert (story.collected.estimate, story.released.estimate) == (13, 13)
    assert {stretch.state for stretch in story.beam_health["gate"]} == {"stuck_broken"}

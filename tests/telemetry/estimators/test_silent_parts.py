"""A part of a star that falls silent while the rest of it lives."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from telemetry.analysis import Analysis
from telemetry.estimators.harnesses import find_harness_breaks
from telemetry.estimators.silent_parts import SilentPart, find_silent_part
from tests.telemetry.building import Intervals, analysis_of, clock, passing, robot_of, switching
from tests.telemetry.logs import log_of, switch

BEAMS = ("mouth", "lower", "upper", "exit")
LENGTH_S = 100.0
"""The match ends ten seconds before the log."""


def _known(on: dict[str, Intervals], *, unplugged: str, kind: str = "star", capacity: int = 2) -> Analysis:
    robot = robot_of(
        f"[robot]\ncapacity = {capacity}\n"
        + "".join(
            f'[beams.{name}]\nsignal = "{name}"\nstation = {n}\nunplugged = "{unplugged}"\n'
            for n, name in enumerate(BEAMS, 1)
        )
        + f'[[harnesses]]\nname = "loom"\nkind = "{kind}"\norder = ["mouth", "lower", "upper", "exit"]\n'
    )
    t_s = clock(LENGTH_S, 50.0)
    log = log_of(*(switch(name, [0.0] * len(t_s), t_s.tolist()) for name in BEAMS))
    return analysis_of(robot, log, beams={name: switching(on[name], LENGTH_S) for name in BEAMS})


def _passes(name: str, until_s: float = 90.0) -> list[tuple[float, float]]:
    """A piece every four seconds goes past the beams, half a second apart, until an instant."""
    delay_s = 0.5 * BEAMS.index(name)
    return passing([at for at in (np.arange(4.0, 88.0, 4.0) + delay_s).tolist() if at < until_s])


def _silent_from(lost: Sequence[str], at_s: float) -> dict[str, Intervals]:
    return {name: _passes(name, at_s if name in lost else 90.0) for name in BEAMS}


def _found(known: Analysis) -> SilentPart | None:
    return find_silent_part(known, known.robot.harnesses[0])


def test_beams_that_miss_what_goes_by_beyond_them_were_lost_together() -> None:
    """From the last change of any of them: the upper one sees the piece of 40 s at 41 s."""
    part = _found(_known(_silent_from(BEAMS[:3], 41.5), unplugged="clear"))
    assert part is not None
    assert part.beams == BEAMS[:3]
    assert (part.start_s, part.end_s) == (pytest.approx(41.15), pytest.approx(90.0))


def test_it_is_one_break_that_names_what_was_lost() -> None:
    (one,) = find_harness_breaks(_known(_silent_from(BEAMS[:3], 41.5), unplugged="clear"))
    assert (one.link, tuple(one.lost)) == (("loom",), BEAMS[:3])
    assert one.open_at_end


@pytest.mark.parametrize(("at_s", "found"), [(73.5, True), (77.5, False)])
def test_more_pieces_must_pass_than_a_robot_holds(at_s: float, found: bool) -> None:
    """Two aboard and two more: four pieces pass the exit from 73.5 s on, three from 77.5 s on."""
    assert (_found(_known(_silent_from(BEAMS[:3], at_s), unplugged="clear")) is not None) is found


def test_sound_beams_and_one_beam_alone_are_no_part() -> None:
    assert _found(_known(_silent_from((), 41.5), unplugged="clear")) is None
    assert _found(_known(_silent_from(("lower",), 41.5), unplugged="clear")) is None


def test_a_beam_lost_long_before_the_others_was_lost_by_itself() -> None:
    on = _silent_from(("lower", "upper"), 41.5) | {"mouth": _passes("mouth", 13.0)}
    part = _found(_known(on, unplugged="clear"))
    assert part is not None
    assert part.beams == ("lower", "upper")


@pytest.mark.parametrize(("at_s", "found"), [(33.5, False), (9.5, True)])
def test_a_beam_that_never_saw_a_piece_was_lost_with_the_others(at_s: float, found: bool) -> None:
    """Unless pieces had gone by it for long before they were: then it was lost by itself."""
    on = _silent_from(("mouth",), at_s) | {"lower": [], "upper": _passes("upper")}
    part = _found(_known(on, unplugged="clear"))
    assert (part is not None and part.beams == ("mouth", "lower")) is found


def test_beams_that_read_the_wrong_way_are_not_unplugged() -> None:
    assert _found(_known(_silent_from(BEAMS[:3], 41.5), unplugged="broken")) is None


@pytest.mark.parametrize(
    ("since_s", "unplugged", "beams"),
    [
        ((46.0, 46.0), "broken", ("mouth", "lower")),
        ((46.0, 46.02), "broken", ("mouth", "lower")),
        ((46.0, 46.0), "clear", None),
    ],
)
def test_beams_that_go_dark_in_one_instant_were_lost_together(
    since_s: tuple[float, float], unplugged: str, beams: tuple[str, ...] | None
) -> None:
    """Nothing passes any more that could gainsay them."""
    on: dict[str, Intervals] = {name: _passes(name, 43.0) for name in BEAMS}
    for name, since in zip(("mouth", "lower"), since_s, strict=True):
        on[name] = [*on[name], (since, LENGTH_S)]
    part = _found(_known(on, unplugged=unplugged))
    assert (part.beams if part else None) == beams


@pytest.mark.parametrize(("before", "found"), [("lower", False), ("mouth", True)])
def test_beams_that_often_change_together_do_not_say_that_they_were_lost(before: str, found: bool) -> None:
    """A quick piece goes by both between two readings; else only in the instant in which they are lost."""
    on: dict[str, Intervals] = {name: _passes(name, 43.0) for name in BEAMS}
    on |= {"mouth": [*_passes(before, 40.0), (40.5, 40.65)], "lower": _passes("lower", 43.0)}
    assert (_found(_known(on, unplugged="clear")) is not None) is found


def test_a_beam_that_was_dark_already_is_lost_with_the_others() -> None:
    """A piece stood at the upper beam when the harness broke."""
    on: dict[str, Intervals] = {name: _passes(name, 43.0) for name in BEAMS}
    on |= {name: [*on[name], (46.0, LENGTH_S)] for name in ("mouth", "lower")}
    part = _found(_known(on | {"upper": [*on["upper"], (44.0, LENGTH_S)]}, unplugged="broken"))
    assert part is not None
    assert part.beams == ("mouth", "lower", "upper")


def test_beams_that_go_dark_one_after_the_other_hold_pieces() -> None:
    on: dict[str, Intervals] = {name: _passes(name, 43.0) for name in BEAMS}
    on |= {"mouth": [*on["mouth"], (47.0, LENGTH_S)], "lower": [*on["lower"], (46.0, LENGTH_S)]}
    assert _found(_known(on, unplugged="broken")) is None


def test_chatter_is_no_sign_that_pieces_pass() -> None:
    """Twenty flickers of the exit, 20 ms apart, are no pieces that the others missed."""
    flicker = [(60.0 + 0.04 * n, 60.02 + 0.04 * n) for n in range(20)]
    on = _silent_from(BEAMS, 43.0)
    assert _found(_known(on | {"exit": [*on["exit"], *flicker]}, unplugged="clear")) is None


def test_a_chain_is_judged_by_its_order_alone() -> None:
    assert _found(_known(_silent_from(BEAMS[:3], 41.5), unplugged="clear", kind="chain")) is None

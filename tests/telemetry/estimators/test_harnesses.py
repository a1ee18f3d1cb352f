"""Devices of one harness lost in the same instant, and the link that broke."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.analysis import Analysis
from telemetry.estimators.harnesses import explained_by_harness, find_harness_breaks
from telemetry.records.motors import Interruption, MotorTrace
from telemetry.records.sensors import HarnessBreak, Lapse
from tests.telemetry.building import analysis_of, clock, held, inside, passing, robot_of, switching
from tests.telemetry.logs import log_of, numbers, switch

MOTORS = ("left", "right", "feed", "arm")
CHAIN = robot_of(
    "".join(f'[motors.{name}]\ncurrent = "{name}_a"\n' for name in MOTORS)
    + '[[harnesses]]\nname = "bus"\nkind = "chain"\norder = ["left", "right", "feed", "arm"]\n'
)
STAR = robot_of(
    "".join(
        f'[beams.{name}]\nsignal = "{name}"\nstation = {n}\n'
        for n, name in enumerate(("entry", "middle", "gate"), 1)
    )
    + '[motors.launcher]\ncurrent = "launcher_a"\n[launcher]\nmotor = "launcher"\n'
    + '[[harnesses]]\nname = "loom"\nkind = "star"\norder = ["entry", "middle", "gate"]\n'
)


def _lapse(device: str, start_s: float, end_s: float = 60.0, kind: str = "missing") -> Lapse:
    return Lapse(f"{device}_a", kind, start_s, end_s)


def _chain(*lapses: Lapse, **parts: Any) -> Analysis:
    t_s = clock(100.0, 50.0)
    log = log_of(*(numbers(f"{name}_a", [1.0] * len(t_s), t_s.tolist()) for name in MOTORS))
    return analysis_of(CHAIN, log, lapses={lapse.channel: (lapse,) for lapse in lapses}, **parts)


def _breaks(known: Analysis) -> list[HarnessBreak]:
    return list(find_harness_breaks(known))


# Chain


def test_a_chain_breaks_before_the_first_device_that_is_lost() -> None:
    (one,) = _breaks(_chain(_lapse("feed", 40.0), _lapse("arm", 40.02)))
    assert (one.harness, one.link) == ("bus", ("right", "feed"))
    assert dict(one.lost) == {"feed": "missing", "arm": "missing"}
    assert (one.start_s, one.end_s, one.open_at_end) == (40.0, 60.0, False)


def test_a_chain_lost_whole_broke_at_its_head() -> None:
    (one,) = _breaks(_chain(*(_lapse(name, 40.0) for name in MOTORS)))
    assert one.link == ("bus", "left")


def test_a_device_beyond_the_break_that_lives_rules_it_out() -> None:
    assert _breaks(_chain(_lapse("right", 40.0), _lapse("feed", 40.0))) == []


def test_one_device_alone_is_its_own_trouble() -> None:
    assert _breaks(_chain(_lapse("arm", 40.0))) == []


@pytest.mark.parametrize(("later_s", "number"), [(0.15, 1), (0.25, 0)])
def test_lost_together_means_within_a_few_readings(later_s: float, number: int) -> None:
    """0.15 s and two readings of 20 ms."""
    assert len(_breaks(_chain(_lapse("feed", 40.0), _lapse("arm", 40.0 + later_s)))) == number


def test_what_is_lost_until_the_end_is_open() -> None:
    (one,) = _breaks(_chain(_lapse("feed", 40.0, 99.0), _lapse("arm", 40.0, 99.0)))
    assert one.open_at_end


def test_frozen_devices_are_lost_as_well() -> None:
    (one,) = _breaks(_chain(_lapse("feed", 40.0, kind="frozen"), _lapse("arm", 40.0, kind="frozen")))
    assert set(one.lost.values()) == {"frozen"}


# No draw


def _motor(loaded: list[tuple[float, float]], driven: list[tuple[float, float]]) -> MotorTrace:
    t_s = clock(100.0, 50.0)
    nan = np.full(len(t_s), np.nan)
    current = np.where(inside(t_s, loaded), 20.0, 0.0)
    return MotorTrace(t_s, current, nan, nan, nan, nan, nan, inside(t_s, driven), "none")


def _no_draw(start_s: float, *, while_driven: bool) -> tuple[Interruption, ...]:
    one = Interruption(
        start_s=start_s,
        end_s=80.0,
        while_driven=while_driven,
        came_back=False,
        worked_before=True,
        back_while_driven=False,
        one_drive=False,
        before_a=20.0,
    )
    return (one,)


def test_a_motor_idle_at_the_break_shows_it_when_it_is_next_driven() -> None:
    motors = {
        "left": _motor([(10, 80)], [(10, 80)]),
        "right": _motor([(10, 80)], [(10, 80)]),
        "feed": _motor([(10, 40)], [(10, 80)]),
        "arm": _motor([(10, 39)], [(10, 39), (50, 80)]),
    }
    drew_nothing = {"feed": _no_draw(40.0, while_driven=True), "arm": _no_draw(50.0, while_driven=False)}
    (one,) = _breaks(_chain(motors=motors, interruptions=drew_nothing))
    assert (one.link, one.start_s) == (("right", "feed"), 40.0)
    assert dict(one.lost) == {"feed": "no draw", "arm": "no draw"}


def test_a_motor_that_still_drew_later_was_lost_by_itself() -> None:
    motors = {name: _motor([(10, 80)], [(10, 80)]) for name in ("left", "right")}
    motors |= {"feed": _motor([(10, 40)], [(10, 80)]), "arm": _motor([(10, 48)], [(10, 80)])}
    drew_nothing = {"feed": _no_draw(40.0, while_driven=True), "arm": _no_draw(50.0, while_driven=False)}
    assert _breaks(_chain(motors=motors, interruptions=drew_nothing)) == []


# Star


def _star(silent: tuple[float, float] | None, **parts: Any) -> Analysis:
    """A piece passes the three beams and leaves every 5 s; the launcher dips at each."""
    times = np.arange(5.0, 90.0, 5.0)
    seen = [at for at in times.tolist() if silent is None or not silent[0] <= at < silent[1]]
    beams = {
        name: switching(passing([at - early for at in seen], 0.15), 100.0)
        for name, early in (("entry", 2.0), ("middle", 1.0), ("gate", 0.2))
    }
    t_s = clock(100.0, 50.0)
    speed = np.full(len(t_s), 400.0)
    for at in times.tolist():
        speed[inside(t_s, [(at, at + 0.1)])] = 360.0
    nan = np.full(len(t_s), np.nan)
    trace = MotorTrace(t_s, nan, nan, speed, nan, nan, nan, np.ones(len(t_s), dtype=bool), "channel")
    signals = [switch(name, [0.0] * len(t_s), t_s.tolist()) for name in ("entry", "middle", "gate")]
    log = log_of(held("launcher_a", t_s, {}), *signals)
    return analysis_of(STAR, log, beams=beams, motors={"launcher": trace}, **parts)


def test_a_star_that_keeps_silent_while_pieces_leave_lost_its_connector() -> None:
    (one,) = _breaks(_star((39.0, 61.0)))
    assert (one.link, set(one.lost)) == (("loom",), {"entry", "middle", "gate"})
    assert set(one.lost.values()) == {"silent"}
    assert one.start_s == pytest.approx(34.95)
    assert one.end_s == pytest.approx(63.0)


def test_a_sound_star_is_clear() -> None:
    assert _breaks(_star(None)) == []


def test_one_piece_unseen_by_all_is_no_break() -> None:
    assert _breaks(_star((39.0, 41.0))) == []


@pytest.mark.parametrize(("false_dips", "number"), [(0, 1), (3, 0)])
def test_a_launcher_that_dips_without_pieces_proves_less(false_dips: int, number: int) -> None:
    """Two dips that no beam saw are a break where all others were seen, and chance where three were not."""
    known = _star((49.0, 56.0))
    trace = known.motors["launcher"]
    speed = trace.speed_rad_s.copy()
    for at in (12.5, 37.5, 72.5)[:false_dips]:
        speed[inside(trace.t_s, [(at, at + 0.1)])] = 360.0
    motors = {"launcher": replace(trace, speed_rad_s=speed)}
    assert len(_breaks(replace(known, motors=motors))) == number


def test_a_star_whose_values_are_missing() -> None:
    lapses = {name: (Lapse(name, "missing", 40.0, 50.0),) for name in ("entry", "middle", "gate")}
    (one,) = _breaks(_star(None, lapses=lapses))
    assert (one.link, set(one.lost.values())) == (("loom",), {"missing"})


def test_a_star_of_which_one_lives_did_not_lose_its_connector() -> None:
    lapses = {name: (Lapse(name, "missing", 40.0, 50.0),) for name in ("entry", "middle")}
    assert _breaks(_star(None, lapses=lapses)) == []


def _dark(since_s: tuple[float, float, float], unplugged: str, until_s: float = 100.0) -> Analysis:
    """Pieces pass every 5 s until 40 s; then each beam reads broken from its own instant on."""
    robot = STAR.model_copy(
        update={
            "beams": {
                name: beam.model_copy(update={"unplugged": unplugged}) for name, beam in STAR.beams.items()
            }
        }
    )
    names = ("entry", "middle", "gate")
    beams = {
        name: switching([*passing(np.arange(5.0 + n, 41.0, 5.0).tolist()), (since, until_s)], 100.0)
        for n, (name, since) in enumerate(zip(names, since_s, strict=True))
    }
    t_s = clock(100.0, 50.0)
    signals = [switch(name, [0.0] * len(t_s), t_s.tolist()) for name in names]
    return analysis_of(robot, log_of(*signals), beams=beams)


@pytest.mark.parametrize(
    ("since_s", "unplugged", "number"),
    [
        ((46.0, 46.0, 46.0), "broken", 1),
        ((46.0, 46.02, 46.0), "broken", 1),
        ((45.0, 46.0, 47.0), "broken", 0),
        ((46.0, 46.0, 46.0), "clear", 0),
    ],
)
def test_beams_that_go_at_once_to_what_they_read_unplugged_lost_their_connector(
    since_s: tuple[float, float, float], unplugged: str, number: int
) -> None:
    """Three pieces that come to stand one after the other do not, nor beams that would read clear."""
    found = _breaks(_dark(since_s, unplugged))
    assert [one.start_s for one in found] == [pytest.approx(46.0, abs=0.03)] * number


def test_beams_that_keep_silent_no_longer_than_usual_lost_nothing() -> None:
    assert _breaks(_dark((46.0, 46.0, 46.0), "broken", until_s=52.0)) == []


# In place of the devices' own findings


@pytest.mark.parametrize(
    ("device", "start_s", "explained"), [("feed", 40.1, True), ("left", 40.1, False), ("feed", 70.0, False)]
)
def test_a_break_explains_its_devices_while_it_lasts(device: str, start_s: float, explained: bool) -> None:
    known = _chain()
    one = HarnessBreak("bus", 40.0, 60.0, ("right", "feed"), {"feed": "missing"}, 0.97, False)
    known = analysis_of(CHAIN, known.log, harness_breaks=(one,))
    assert explained_by_harness(known, device, start_s, start_s + 5) == explained

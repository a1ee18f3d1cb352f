"""Pieces on the belt: the geometry they must keep."""

import pytest

from telemetry.simulator.specification import BeamSpec, TowerSpec
from telemetry.simulator.tower import Tower

ENTRY, MIDDLE, GATE = 1, 2, 4


def fill(pieces: int) -> Tower:
    """A tower into which that many pieces rode up, as far as they can."""
    tower = Tower(TowerSpec(), preload=0)
    for _ in range(pieces):
        tower.take()
        for _ in range(1000):
            tower.carry(0.001, 1.0)
    return tower


def test_a_preloaded_piece_rests_between_middle_and_gate_where_no_beam_sees_it() -> None:
    tower = Tower(TowerSpec(), preload=1)
    assert tower.aboard == 1
    assert tower.broken == 0


@pytest.mark.parametrize(("pieces", "broken"), [(1, 0), (2, MIDDLE), (3, MIDDLE | ENTRY)])
def test_resting_pieces_keep_the_beams_broken_that_they_stand_in(pieces: int, broken: int) -> None:
    tower = fill(pieces)
    assert tower.broken == broken


def test_pieces_queue_up_below_the_catch_without_overlap() -> None:
    fronts = [piece.front_m for piece in fill(3).pieces]
    assert fronts == pytest.approx([0.57, 0.39, 0.21])


def test_a_full_tower_has_no_room_but_a_shorter_queue_has() -> None:
    crowded = TowerSpec(catch_m=0.53)
    tower = Tower(crowded, preload=3)
    assert not tower.has_room
    assert fill(2).has_room


def test_a_beam_is_broken_for_exactly_the_length_of_the_piece() -> None:
    tower = Tower(TowerSpec(), preload=0)
    tower.take()
    seen = 0
    for _ in range(400):
        tower.carry(0.001, 0.0)
        seen += bool(tower.broken & ENTRY)
    assert seen == pytest.approx(180, abs=1)


def test_the_open_catch_lets_one_piece_by_and_closes_behind_it() -> None:
    tower = fill(3)
    tower.catch_open = True
    gripped = [step for step in range(1000) if tower.carry(0.001, 9.0)]
    assert len(gripped) == 1
    assert tower.aboard == 2
    assert tower.story[0].released_s == 9.0
    assert tower.pieces[0].front_m == pytest.approx(0.57)


def test_a_piece_enters_when_its_front_breaks_the_first_beam() -> None:
    tower = Tower(TowerSpec(), preload=1)
    tower.take()
    for step in range(200):
        tower.carry(0.001, step * 0.001)
    assert tower.story[0].entered_s is None
    assert tower.story[1].entered_s == pytest.approx(0.099, abs=0.0015)


def test_a_belt_run_backwards_keeps_its_pieces_apart_and_aboard() -> None:
    tower = fill(3)
    for _ in range(500):
        tower.carry(-0.001, 2.0)
    fronts = [piece.front_m for piece in tower.pieces]
    assert fronts == pytest.approx([0.49, 0.31, 0.13])
    assert tower.blocked == 3


def test_beams_out_of_order_are_refused() -> None:
    beams = (BeamSpec(name="a", position_m=0.3), BeamSpec(name="b", position_m=0.1))
    with pytest.raises(ValueError, match="in order"):
        TowerSpec(beams=beams)


def test_levels_of_two_types_are_refused() -> None:
    with pytest.raises(ValueError, match="one type"):
        BeamSpec(name="a", position_m=0.1, broken=True, clear=0)

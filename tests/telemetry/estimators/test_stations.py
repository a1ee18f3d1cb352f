"""What may stand where, and how pieces may move."""

from __future__ import annotations

import time
from itertools import product

import numpy as np
import pytest

from telemetry.estimators.stations import Move, StateSpace
from telemetry.log import FloatArray

SIZES = [(1, 1), (1, 3), (2, 2), (2, 5), (3, 3)]
BY_ONE = {
    Move.ENTER: 1,
    Move.ENTER_TOUCHING: 1,
    Move.RELEASE: -1,
    Move.SPIT: -1,
    Move.FORWARD: 0,
    Move.FOLLOW: 0,
    Move.BACK: 0,
    Move.PASS: 0,
    Move.ENTER_PAST: 1,
    Move.FOLLOW_BACK: 0,
    Move.SPIT_TOUCHING: -1,
}


def _built(beams: int, capacity: int) -> StateSpace:
    space = StateSpace.build(beams, capacity)
    assert space is not None
    return space


def test_one_beam_and_two_pieces_written_out() -> None:
    assert _built(1, 2).slots.tolist() == [[0, 0], [0, 1], [0, 2], [1, 0], [1, 1]]


def test_the_moves_of_one_beam_and_one_piece_written_out() -> None:
    space = _built(1, 1)
    assert space.slots.tolist() == [[0, 0], [0, 1], [1, 0]]
    nowhere, past, at = 0, 1, 2
    moves = space.moves
    found = set(
        zip(
            moves.origin.tolist(),
            moves.target.tolist(),
            moves.kind.tolist(),
            moves.beam.tolist(),
            strict=True,
        )
    )
    assert found == {
        (nowhere, at, Move.ENTER, 0),
        (at, nowhere, Move.SPIT, 0),
        (at, nowhere, Move.RELEASE, 0),
        (past, nowhere, Move.RELEASE, -1),
        (at, past, Move.FORWARD, 0),
        (past, at, Move.BACK, 0),
    }


@pytest.mark.parametrize(("beams", "capacity"), SIZES)
def test_every_occupancy_within_capacity_is_there_once(beams: int, capacity: int) -> None:
    at_and_past = [range(2), range(capacity + 1)] * beams
    expected = [slots for slots in product(*at_and_past) if sum(slots) <= capacity]
    assert sorted(map(tuple, _built(beams, capacity).slots.tolist())) == expected


@pytest.mark.parametrize(("beams", "capacity"), SIZES)
def test_no_move_makes_or_loses_pieces_but_those_in_and_out(beams: int, capacity: int) -> None:
    space = _built(beams, capacity)
    change = space.aboard[space.moves.target] - space.aboard[space.moves.origin]
    assert change.tolist() == [BY_ONE[Move(kind)] for kind in space.moves.kind.tolist()]


@pytest.mark.parametrize(("beams", "capacity"), SIZES)
def test_a_move_changes_the_beam_it_names_and_no_other(beams: int, capacity: int) -> None:
    space = _built(beams, capacity)
    changed = space.at_beam[space.moves.target] != space.at_beam[space.moves.origin]
    named = space.moves.beam[:, None] == np.arange(beams)
    passes = np.isin(space.moves.kind, (Move.PASS, Move.ENTER_PAST))
    assert (changed == named & ~passes[:, None]).all()


@pytest.mark.parametrize(("beams", "capacity"), SIZES)
def test_from_every_occupancy_every_other_can_be_reached(beams: int, capacity: int) -> None:
    space = _built(beams, capacity)
    reach = _matrix(space, np.full(len(space.moves.kind), 0.05)) > 0
    for _ in range(6):
        reach = (reach.astype(float) @ reach.astype(float)) > 0
    assert reach.all()


def _matrix(space: StateSpace, weight: FloatArray) -> FloatArray:
    """The step as a full matrix, (S, S), rows are where from."""
    matrix = np.zeros((len(space.slots), len(space.slots)))
    origin = space.sources[0]
    target = np.broadcast_to(np.arange(len(space.slots))[:, None], origin.shape)
    np.add.at(matrix, (origin, target), space.weights(weight[None])[:, :, 0].T)
    return matrix


@pytest.mark.parametrize("weight", [0.0, 0.01, 0.5, 40.0])
def test_a_step_shares_out_each_state_whole(weight: float) -> None:
    space = _built(3, 3)
    matrix = _matrix(space, np.full(len(space.moves.kind), weight))
    assert matrix.sum(axis=1) == pytest.approx(1.0)
    assert (matrix >= 0).all()
    assert (np.diag(matrix) >= 0.05 - 1e-12).all()


def test_a_step_has_the_weights_of_its_moves() -> None:
    space = _built(1, 1)
    weight = np.where(space.moves.kind == Move.ENTER, 0.3, 0.0)
    assert _matrix(space, weight).tolist() == [[0.7, 0.0, 0.3], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]


def test_a_hopper_between_two_beams_keeps_its_whole_capacity() -> None:
    assert _built(2, 20).most_aboard == 20


@pytest.mark.parametrize(("beams", "capacity"), [(4, 8), (3, 40)])
def test_where_there_are_too_many_places_fewer_may_stand_between_two_beams(beams: int, capacity: int) -> None:
    space = _built(beams, capacity)
    assert len(space.slots) <= 1000
    assert space.slots[:, 1::2].max() < capacity
    assert (space.aboard <= capacity).all()
    assert len(set(map(tuple, space.slots.tolist()))) == len(space.slots)


@pytest.mark.parametrize(("beams", "capacity"), [(6, 20), (20, 20), (100, 1), (100, 20), (6, 1), (1, 20)])
def test_building_takes_no_time_however_large(beams: int, capacity: int) -> None:
    before = time.perf_counter()
    space = StateSpace.build(beams, capacity)
    assert time.perf_counter() - before < 1.0
    assert space is None or len(space.slots) <= 1000


@pytest.mark.parametrize(
    ("beams", "capacity", "built"),
    [(6, 3, True), (5, 5, True), (20, 1, True), (60, 1, False), (9, 20, False)],
)
def test_what_cannot_be_computed_is_not_built(beams: int, capacity: int, built: bool) -> None:
    """Time and memory grow with the occupancies × what may ail the beams: 8,000 at most."""
    assert (StateSpace.build(beams, capacity) is not None) == built


def test_a_piece_longer_than_the_way_between_two_beams_stands_at_both() -> None:
    space = StateSpace.build(2, 1, spanned=[True])
    assert space is not None
    by_slots = {tuple(row): at.tolist() for row, at in zip(space.slots.tolist(), space.at_beam, strict=True)}
    assert by_slots == {
        (0, 0, 0, 0): [False, False],
        (0, 0, 0, 1): [False, False],
        (0, 0, 1, 0): [False, True],
        (0, 1, 0, 0): [True, True],
        (1, 0, 0, 0): [True, False],
    }
    forward = space.moves.kind == Move.FORWARD
    ways = zip(
        space.slots[space.moves.origin[forward]].tolist(), space.moves.beam[forward].tolist(), strict=True
    )
    assert sorted(ways) == [([0, 0, 1, 0], 1), ([0, 1, 0, 0], 0), ([1, 0, 0, 0], 1)]


@pytest.mark.parametrize("spanned", [[True, False], [False, True], [True, True]])
def test_where_pieces_stand_at_two_beams_a_move_changes_the_beam_it_names(spanned: list[bool]) -> None:
    space = StateSpace.build(3, 3, spanned=spanned)
    assert space is not None
    changed = space.at_beam[space.moves.target] != space.at_beam[space.moves.origin]
    named = space.moves.beam[:, None] == np.arange(3)
    passes = np.isin(space.moves.kind, (Move.PASS, Move.ENTER_PAST))
    assert (changed == named & ~passes[:, None]).all()
    change = space.aboard[space.moves.target] - space.aboard[space.moves.origin]
    assert change.tolist() == [BY_ONE[Move(kind)] for kind in space.moves.kind.tolist()]


def test_no_two_pieces_break_one_beam() -> None:
    space = StateSpace.build(3, 3, spanned=[True, True])
    assert space is not None
    at_first, at_both, at_second, at_next, at_third, _ = space.slots.T
    assert not (at_both & (at_first | at_second | at_next)).any()
    assert not (at_next & (at_second | at_third)).any()

"""Where the driver's time went: what lies on a cycle, how long cycles are, what faults and hits cost."""

from __future__ import annotations

from types import MappingProxyType

import pytest

from telemetry.analysis import Contact
from telemetry.estimators.driving import burden_cycles, sum_up_driving
from telemetry.records.pieces import BeamHealth, Count, Cycle, Pieces
from telemetry.robot import Robot

NONE = Count(0, 0, 0)


def _cycle(number: int, start_s: float, end_s: float, **more: object) -> Cycle:
    stages = MappingProxyType({"collect": 1.0, "load": 1.0, "carry": end_s - start_s - 2.0})
    return Cycle(number, start_s, end_s, 1, stages, **more)  # type: ignore[arg-type]


def _pieces(*stretches: BeamHealth) -> Pieces:
    return Pieces(NONE, NONE, (), (), (), {"entry": stretches})


def _burdened(cycles: list[Cycle], contacts: list[Contact], pieces: Pieces) -> tuple[Cycle, ...]:
    return burden_cycles(cycles, contacts=contacts, pieces=pieces, robot=Robot(), motors={})


def test_hits_and_lying_beams_lie_on_the_cycles_they_fall_in() -> None:
    cycles = [_cycle(1, 0.0, 10.0), _cycle(2, 10.0, 20.0)]
    contacts = [Contact(t, 4.0, 0.1, "accelerometer") for t in (3.0, 3.2, 9.8)]
    lying = BeamHealth(8.0, 14.0, "stuck_clear", 0.9, contradictions_s=(9.0,))
    first, second = _burdened(cycles, contacts, _pieces(lying))
    assert (first.contacts, second.contacts) == (3, 0)
    assert first.under_contact_s == pytest.approx(0.7 + 0.2)
    assert second.under_contact_s == pytest.approx(0.3)
    assert (first.faulty_sensor_s, second.faulty_sensor_s) == pytest.approx((2.0, 4.0))


def test_a_beam_that_nothing_gainsays_does_not_count_as_lying() -> None:
    idle = BeamHealth(2.0, 8.0, "stuck_clear", 0.6)
    (cycle,) = _burdened([_cycle(1, 0.0, 10.0)], [], _pieces(idle))
    assert cycle.faulty_sensor_s == 0.0


def test_without_a_drive_motor_standing_is_not_told() -> None:
    (cycle,) = _burdened([_cycle(1, 0.0, 10.0)], [], _pieces())
    assert cycle.standing_s is None


def test_clean_cycles_set_the_measure_of_the_others() -> None:
    """Clean cycles of 10, 12 and 14 s; one with two hits of 17 s, one with a lying beam of 15, one of 11."""
    cycles = [
        _cycle(1, 0.0, 10.0),
        _cycle(2, 10.0, 22.0),
        _cycle(3, 22.0, 36.0),
        _cycle(4, 36.0, 53.0, contacts=2),
        _cycle(5, 53.0, 68.0, faulty_sensor_s=4.0),
        _cycle(6, 68.0, 79.0, contacts=1),
        _cycle(7, 79.0, 109.0, open=True),
    ]
    told = sum_up_driving(cycles)
    assert told is not None
    assert (told.closed_cycles, told.clean_cycles, told.clean_median_s) == (6, 3, 12.0)
    assert told.median_s == 13.0
    assert (told.low_s, told.high_s) == (10.0, 17.0)
    assert told.contact_cost_s == pytest.approx(5.0)
    assert told.faulty_sensor_cost_s == pytest.approx(3.0)
    assert told.waiting_median_s == 14.0


def test_where_every_cycle_is_burdened_no_cost_is_told() -> None:
    told = sum_up_driving([_cycle(1, 0.0, 10.0, contacts=1)])
    assert told is not None
    assert (told.clean_median_s, told.contact_cost_s, told.low_s) == (None, None, None)


def test_without_a_closed_cycle_nothing_is_told() -> None:
    assert sum_up_driving([_cycle(1, 0.0, 90.0, open=True)]) is None


def test_a_cycle_that_only_launches_the_preload_is_no_measure_of_the_others() -> None:
    preload = Cycle(1, 0.0, 2.0, 1, MappingProxyType({"collect": 0.0, "load": 0.0, "carry": 2.0}))
    told = sum_up_driving([preload, _cycle(2, 2.0, 14.0)])
    assert told is not None
    assert (told.closed_cycles, told.median_s) == (1, 12.0)


@pytest.mark.parametrize(("clean", "told"), [(2, None), (3, 10.0)])
def test_a_cost_wants_three_clean_cycles_to_be_measured_by(clean: int, told: float | None) -> None:
    cycles = [_cycle(number, 10.0 * number, 10.0 * number + 10.0) for number in range(clean)]
    summary = sum_up_driving([*cycles, _cycle(9, 90.0, 110.0, contacts=1)])
    assert summary is not None
    assert (summary.clean_median_s, summary.contact_cost_s) == (told, told)

"""A whole honest match: what it holds must agree with itself and with its truth."""

import itertools

import numpy as np
import pytest

from telemetry.simulator import Contact, MatchPlan, SimulatedMatch, simulate_match
from telemetry.simulator.machine import STEP_S


def test_phases_follow_the_plan_and_start_at_the_first_record(clean: SimulatedMatch) -> None:
    phases = [(span["phase"], span["start_s"], span["end_s"]) for span in clean.truth["phases"]]
    assert phases == [
        ("disabled", 0.0, 3.0),
        ("autonomous", 3.0, 11.0),
        ("teleop", 11.0, 51.0),
        ("disabled", 51.0, 54.0),
    ]
    assert clean.table.steps[0] == 0


def test_pieces_are_conserved(clean: SimulatedMatch) -> None:
    pieces = clean.truth["pieces"]
    released = [piece for piece in pieces if piece["released_s"] is not None]
    entered = [piece for piece in pieces if piece["entered_s"] is not None]
    assert len(entered) + clean.spec.preload == len(pieces)
    assert len(released) == len(clean.truth["releases_s"]) >= 5
    assert clean.truth["timeline"][-1]["aboard"] == len(pieces) - len(released)


def test_pieces_leave_in_the_order_they_came_in(clean: SimulatedMatch) -> None:
    pieces = [piece for piece in clean.truth["pieces"] if piece["released_s"] is not None]
    assert [piece["released_s"] for piece in pieces] == sorted(piece["released_s"] for piece in pieces)
    assert all(piece["preload"] or piece["entered_s"] < piece["released_s"] for piece in pieces)


def test_timeline_steps_by_one_within_the_capacity(clean: SimulatedMatch) -> None:
    counts = [step["aboard"] for step in clean.truth["timeline"]]
    assert counts[0] == clean.spec.preload
    assert all(abs(after - before) == 1 for before, after in itertools.pairwise(counts))
    assert min(counts) >= 0
    assert max(counts) == clean.spec.capacity


def test_honest_beams_read_what_the_geometry_says(clean: SimulatedMatch) -> None:
    for honest, read in zip(clean.inputs.honest, clean.inputs.beams, strict=True):
        assert np.array_equal(honest, read)
        assert honest.any()


def test_every_piece_crosses_the_gate_just_before_its_release(clean: SimulatedMatch) -> None:
    gate = clean.inputs.beams[2]
    edges = np.flatnonzero(np.diff(gate.astype(int)) == 1) * STEP_S
    releases = np.array(clean.truth["releases_s"])
    assert len(edges) == len(releases)
    assert np.all((releases - edges > 0.05) & (releases - edges < 0.3))


def test_launcher_dips_at_each_release(clean: SimulatedMatch) -> None:
    speed = clean.trace.speed_rad_s[clean.spec.motor_names.index("launcher")]
    for release_s in clean.truth["releases_s"]:
        at = round(release_s / STEP_S)
        dip = 1 - speed[at : at + 60].min() / speed[at]
        assert 0.05 <= dip <= 0.15


def test_honest_operation_holds_no_stall_and_no_dip(clean: SimulatedMatch) -> None:
    assert clean.truth["faults"] == []
    assert clean.truth["stalls"] == []
    assert clean.trace.bus_v.min() > clean.spec.battery.dip_v


def test_honest_hoist_is_never_driven_into_a_closed_limit(clean: SimulatedMatch) -> None:
    limits = clean.trace.limits[clean.table.steps]
    duty = clean.table.column("hoist.duty").values
    assert np.count_nonzero(limits == 2) > 5
    assert not np.any((limits == 2) & (duty >= 0.2))
    assert not np.any((limits == 1) & (duty <= -0.2))


def test_bus_voltage_is_open_circuit_less_current_times_resistance(clean: SimulatedMatch) -> None:
    trace = clean.trace
    sagged = trace.open_circuit_v - trace.supply_a * clean.spec.battery.resistance_ohm
    assert np.abs(trace.bus_v - sagged).max() < 1e-4
    assert trace.supply_a.max() > 50


def test_battery_current_is_the_standby_and_all_motors_supply_sides(clean: SimulatedMatch) -> None:
    trace = clean.trace
    sides = sum(duty * current for duty, current in zip(trace.duty, trace.current_a, strict=True))
    assert trace.supply_a == pytest.approx(sides + clean.spec.battery.standby_a, abs=1e-6)


def test_energy_of_the_battery_is_that_of_motors_and_standby(clean: SimulatedMatch) -> None:
    motors_wh = sum(motor["energy_wh"] for motor in clean.truth["motors"].values())
    standby_wh = clean.trace.bus_v.sum() * STEP_S * clean.spec.battery.standby_a / 3600
    assert clean.truth["supply"]["energy_wh"] == pytest.approx(motors_wh + standby_wh, abs=0.005)


def test_contacts_appear_in_the_accelerometer(clean: SimulatedMatch) -> None:
    times = clean.table.steps * STEP_S
    strength = np.hypot(clean.table.column("accel.x").values, clean.table.column("accel.y").values)
    quiet = np.ones(len(times), dtype=bool)
    assert len(clean.truth["contacts"]) >= 3
    for contact in clean.truth["contacts"]:
        assert contact["logged"]
        start_s, end_s = contact["t_s"], contact["t_s"] + contact["duration_s"]
        felt = strength[(times >= start_s) & (times < end_s)]
        assert felt.max() == pytest.approx(contact["peak_g"], rel=0.25)
        quiet &= ~((times >= start_s - 0.02) & (times < end_s + 0.5))
    assert strength[quiet].max() < 1.5


def test_direction_of_a_contact_is_that_of_the_acceleration() -> None:
    plan = MatchPlan(disabled_before_s=1.0, autonomous_s=3.0, teleop_s=3.0, endgame_s=0.0, bumps=0.0)
    ahead = Contact(t_s=1.5, peak_g=5.0, direction_deg=0.0, duration_s=0.1)
    left = Contact(t_s=5.0, peak_g=5.0, direction_deg=90.0, duration_s=0.1)
    match = simulate_match(seed=1, plan=plan, contacts=(ahead, left))
    times = match.table.steps * STEP_S
    x, y = match.table.column("accel.x").values, match.table.column("accel.y").values
    first, second = (times >= 1.5) & (times < 1.6), (times >= 5.0) & (times < 5.1)
    assert x[first].max() > 4.0 > 1.0 > y[first].max()
    assert y[second].max() > 4.0 > 1.0 > np.abs(x[second]).max()


def test_opponents_who_watch_the_light_hit_a_loaded_robot_more_often() -> None:
    plan = MatchPlan(
        autonomous_s=1.0, teleop_s=45.0, endgame_s=8.0, climbs=False, hits=12.0, hits_when_loaded=50.0
    )
    match = simulate_match(seed=3, plan=plan)
    loaded = match.trace.loaded
    hits = [bool(loaded[round(contact.t_s / STEP_S)]) for contact in match.trace.contacts]
    assert len(hits) >= 4
    assert np.mean(hits) > 0.7 > loaded.mean()

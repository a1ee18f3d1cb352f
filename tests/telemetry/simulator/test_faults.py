"""Every injected fault can be seen in the signal, within its window, and nowhere else."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.simulator import (
    BeamDropouts,
    BeamSpec,
    BreakerCycling,
    DeviceSilent,
    DevicesLost,
    FeedJam,
    LimitBounce,
    LimitDead,
    LimitEarly,
    LimitStray,
    MatchPlan,
    MotorUnplugged,
    NoisyRange,
    RangeSpec,
    RobotSpec,
    SimulatedMatch,
    TightMechanism,
    TowerSpec,
    relog,
    simulate_match,
)
from telemetry.simulator.machine import STEP_S


@pytest.fixture(scope="module")
def tight(short_plan: MatchPlan) -> SimulatedMatch:
    """A match with a stiff intake, and a jam of the belt that frees itself."""
    faults = (
        TightMechanism(motor="intake", factor=4.0),
        FeedJam(from_s=17.0, held_s=1.5, cleared_by="release"),
    )
    return simulate_match(seed=5, plan=short_plan, faults=faults)


def told(match: SimulatedMatch, kind: str, subject: str) -> list[dict[str, Any]]:
    return [f for f in match.truth["faults"] if (f["kind"], f["subject"]) == (kind, subject)]


def within(fault: dict[str, Any]) -> slice:
    return slice(round(fault["start_s"] / STEP_S), round(fault["end_s"] / STEP_S))


@pytest.mark.parametrize("place", [0, 1, 2])
def test_inputs_lie_within_the_windows_of_their_faults_only(troubled: SimulatedMatch, place: int) -> None:
    name = troubled.spec.tower.beams[place].name
    wrong = troubled.inputs.honest[place] != troubled.inputs.beams[place]
    faults = [fault for fault in troubled.truth["faults"] if fault["subject"] == name]
    assert faults
    for fault in faults:
        assert np.count_nonzero(wrong[within(fault)]) * STEP_S == pytest.approx(fault["detail"]["wrong_s"])
    assert wrong.any()
    for fault in faults:
        wrong[fault_and_power_up(fault)] = False
    assert not wrong.any()


def fault_and_power_up(fault: dict[str, Any]) -> slice:
    """The window, and the moment after it in which the receiver finds its emitter again."""
    part = within(fault)
    return slice(part.start, part.stop + 26)


def test_dropouts_begin_right_after_contacts(troubled: SimulatedMatch) -> None:
    contacts = [contact["t_s"] for contact in troubled.truth["contacts"]]
    dropouts = told(troubled, "dropout", "entry")
    assert len(dropouts) >= 3
    assert all(any(0 < fault["start_s"] - t_s < 0.2 for t_s in contacts) for fault in dropouts)


def test_an_unplugged_receiver_reads_its_unplugged_level(short_plan: MatchPlan) -> None:
    beams = (
        BeamSpec(name="entry", position_m=0.1, unplugged="clear"),
        BeamSpec(name="middle", position_m=0.35, unplugged="broken"),
    )
    windows = ((15.0, 25.0), (30.0, 35.0))
    faults = [BeamDropouts(beam=beam.name, windows=windows, flickers=False) for beam in beams]
    match = simulate_match(RobotSpec(tower=TowerSpec(beams=beams)), seed=5, plan=short_plan, faults=faults)
    for beam, read, honest in zip(beams, match.inputs.beams, match.inputs.honest, strict=True):
        for window in told(match, "dropout", beam.name):
            assert np.all(read[within(window)] == (beam.unplugged == "broken"))
        assert honest[15_000:25_000].any()
        assert not honest[15_000:25_000].all()
        assert np.array_equal(read[40_000:], honest[40_000:])


def test_chatter_bounces_within_its_limits(troubled: SimulatedMatch) -> None:
    bursts = told(troubled, "chatter", "middle")
    assert len(bursts) >= 3
    wrong = troubled.inputs.honest[1] != troubled.inputs.beams[1]
    edges = np.flatnonzero(np.diff(wrong.astype(int)))
    runs = np.diff(edges.reshape(-1, 2), axis=1)
    assert runs.min() >= 2
    assert runs.max() <= 41
    assert len(runs) * 2 == sum(burst["detail"]["edges"] for burst in bursts)


def test_chatter_comes_while_the_belt_runs(troubled: SimulatedMatch) -> None:
    duty = np.abs(troubled.trace.duty[troubled.spec.motor_names.index("feed")])
    assert all(duty[round(f["start_s"] / STEP_S)] >= 0.2 for f in told(troubled, "chatter", "middle"))


def test_a_dead_beam_never_changes_again(troubled: SimulatedMatch) -> None:
    [dead] = told(troubled, "dropout", "gate")
    assert dead["detail"]["state"] == "stuck_broken"
    assert dead["end_s"] == 54.0
    assert troubled.inputs.beams[2][within(dead)].all()
    assert not troubled.inputs.honest[2][within(dead)].all()


def test_a_jam_stalls_the_feed_until_the_driver_reverses(troubled: SimulatedMatch) -> None:
    feed = troubled.spec.motor_names.index("feed")
    [jam] = told(troubled, "stall", "feed")
    [stall] = [stall for stall in troubled.truth["stalls"] if stall["motor"] == "feed"]
    assert jam["end_s"] - jam["start_s"] == pytest.approx(1.5, abs=0.1)
    assert stall["start_s"] == pytest.approx(jam["start_s"], abs=0.05)
    duty, current = troubled.trace.duty[feed], troubled.trace.current_a[feed]
    middle = round((stall["start_s"] + stall["end_s"]) / 2 / STEP_S)
    stalled_a = duty[middle] * troubled.trace.bus_v[middle] / troubled.spec.feed.resistance_ohm
    assert current[middle] == pytest.approx(stalled_a, rel=0.01)
    after = within(jam).stop
    assert duty[after : after + 200].max() < 0


def test_a_jam_may_free_itself(tight: SimulatedMatch) -> None:
    [fault] = told(tight, "stall", "feed")
    after = within(fault).stop
    feed = tight.spec.motor_names.index("feed")
    assert tight.trace.duty[feed].min() >= 0
    assert tight.trace.speed_rad_s[feed][after + 100] > 100


def test_an_unplugged_motor_is_driven_without_current(troubled: SimulatedMatch) -> None:
    [fault] = told(troubled, "no_draw", "intake")
    intake = troubled.spec.motor_names.index("intake")
    assert not troubled.trace.current_a[intake][within(fault)].any()
    assert np.abs(troubled.trace.duty[intake][within(fault)]).max() > 0.2


def test_an_overrun_drives_on_after_the_limit_closed(troubled: SimulatedMatch) -> None:
    [high] = told(troubled, "limit_overrun", "hoist_high")
    [low] = told(troubled, "limit_overrun", "hoist_low")
    for fault in (high, low):
        assert fault["end_s"] - fault["start_s"] == pytest.approx(1.0, abs=0.05)
    assert [stall["motor"] for stall in troubled.truth["stalls"]].count("hoist") == 2


def test_a_loose_lug_raises_the_source_resistance(troubled: SimulatedMatch) -> None:
    [fault] = told(troubled, "source_resistance", "supply")
    trace = troubled.trace
    drawing = trace.supply_a > 30
    ohms = (trace.open_circuit_v - trace.bus_v)[drawing] / trace.supply_a[drawing]
    after = np.flatnonzero(drawing) >= within(fault).start + 20
    assert np.median(ohms[after]) == pytest.approx(0.05, rel=1e-3)
    assert ohms[np.flatnonzero(drawing) < within(fault).start].max() == pytest.approx(0.017, rel=1e-3)


def test_the_log_has_no_record_within_its_gap(troubled: SimulatedMatch) -> None:
    times = troubled.table.steps * STEP_S
    assert not np.any((times > 28.02) & (times < 29.48))
    assert np.diff(times).max() == pytest.approx(1.5, abs=0.06)


def test_one_more_fault_leaves_the_rest_of_the_match_as_it_was(
    clean: SimulatedMatch, short_plan: MatchPlan
) -> None:
    match = simulate_match(seed=5, plan=short_plan, faults=[BeamDropouts(beam="entry")])
    assert match.truth["pieces"] == clean.truth["pieces"]
    assert match.truth["contacts"] == clean.truth["contacts"]
    assert np.array_equal(match.table.column("accel.x").values, clean.table.column("accel.x").values)


def test_lost_devices_leave_the_record_and_come_back(clean: SimulatedMatch) -> None:
    lost = DevicesLost(subject="motor bus", devices=("feed", "gate"), at_s=20.0, length_s=5.0)
    match = relog(replace(clean, faults=(lost,)), clean.logger)
    times = match.table.steps * STEP_S
    gone = (times >= 20.0) & (times < 25.0)
    for key in ("feed.current", "feed.speed", "beam.gate"):
        assert np.array_equal(match.table.column(key).present, ~gone)
    assert match.table.column("launcher.current").present.all()


def test_a_tight_mechanism_draws_more_current(clean: SimulatedMatch, tight: SimulatedMatch) -> None:
    assert tight.truth["motors"]["intake"]["rms_a"] > 1.2 * clean.truth["motors"]["intake"]["rms_a"]


@pytest.fixture(scope="module")
def switches(short_plan: MatchPlan) -> SimulatedMatch:
    """A match with bad limit switches, a breaker that cycles and a range sensor that jumps about."""
    faults = (
        LimitDead(limit="hoist_high"),
        LimitBounce(limit="hoist_low"),
        LimitStray(limit="hoist_high", windows=((20.0, 20.5),)),
        BreakerCycling(motor="drive_left", from_s=15.0, off_s=2.0, on_s=3.0, times=2),
        NoisyRange(from_s=30.0),
    )
    spec = RobotSpec(tower=TowerSpec(range_sensor=RangeSpec()))
    return simulate_match(spec, seed=5, plan=short_plan, faults=faults)


def test_a_dead_limit_lets_the_arm_run_into_its_stop(switches: SimulatedMatch) -> None:
    hoist = switches.spec.motor_names.index("hoist")
    upper = switches.inputs.limits & 2 > 0
    upper[20_000:20_520] = False
    assert not upper.any()
    [stall] = [stall for stall in switches.truth["stalls"] if stall["motor"] == "hoist"]
    assert stall["end_s"] - stall["start_s"] == pytest.approx(1.2, abs=0.1)
    assert switches.trace.speed_rad_s[hoist].min() < -100


def test_a_stray_limit_closes_within_its_windows(switches: SimulatedMatch) -> None:
    [fault] = told(switches, "limit_stray", "hoist_high")
    assert np.all(switches.inputs.limits[20_001:20_500] & 2)
    assert (fault["start_s"], fault["end_s"]) == (20.0, 20.5)


def test_a_bouncing_limit_opens_again_after_it_closed(switches: SimulatedMatch) -> None:
    [fault] = told(switches, "limit_bounce", "hoist_low")
    pressed = switches.inputs.limits & 1 > 0
    closed = np.flatnonzero(np.diff(pressed.astype(int)) == 1)
    assert np.count_nonzero((closed * STEP_S >= fault["start_s"]) & (closed * STEP_S < fault["end_s"])) >= 3
    assert np.all(switches.trace.limits[within(fault)] & 1)


def test_a_cycling_breaker_cuts_the_current_and_gives_it_back(switches: SimulatedMatch) -> None:
    [fault] = told(switches, "breaker_cycling", "drive_left")
    current = np.abs(switches.trace.current_a[0])
    assert (fault["start_s"], fault["end_s"]) == (15.0, 22.0)
    assert not current[15_000:17_000].any()
    assert current[17_000:20_000].max() > 10
    assert not current[20_000:22_000].any()


def test_a_range_sensor_sees_pieces_until_it_jumps_about(switches: SimulatedMatch) -> None:
    sensed = switches.inputs.range_mm
    assert sensed is not None
    honest = switches.inputs.honest[0]
    assert np.array_equal(sensed[:30_000] < 60, honest[:30_000])
    wrong = (sensed < 60) != honest
    assert 0.005 < wrong[30_000:].mean() < 0.3


def test_faults_of_parts_the_robot_lacks_are_refused(short_plan: MatchPlan) -> None:
    with pytest.raises(ValueError, match=r"no beam is named 'hatch'; there are entry, middle, gate"):
        simulate_match(seed=1, plan=short_plan, faults=[BeamDropouts(beam="hatch")])
    with pytest.raises(ValueError, match="no motor is named 'wing'"):
        simulate_match(seed=1, plan=short_plan, faults=[MotorUnplugged(motor="wing", from_s=5.0)])
    with pytest.raises(ValueError, match="no limit is named 'top'; there are hoist_low, hoist_high"):
        simulate_match(seed=1, plan=short_plan, faults=[LimitDead(limit="top")])


@pytest.mark.parametrize("share", [0.4, 0.6])
def test_an_early_limit_closes_over_its_share_of_the_way(share: float, short_plan: MatchPlan) -> None:
    match = simulate_match(seed=5, plan=short_plan, faults=[LimitEarly(limit="hoist_low", share=share)])
    (fault,) = told(match, "limit_stray", "hoist_low")
    assert np.all(match.trace.limits[within(fault)] & 1)
    way = match.trace.speed_rad_s[match.spec.motor_names.index("hoist")]
    up, down = np.maximum(way, 0.0).sum(), -np.minimum(way, 0.0).sum()
    assert down / up == pytest.approx(share, abs=0.05)


def test_a_stray_limit_at_the_other_end_is_a_conflict_too(short_plan: MatchPlan) -> None:
    stray = LimitStray(limit="hoist_high", windows=((10.0, 10.5),))
    match = simulate_match(seed=5, plan=short_plan, faults=[stray])
    (fault,) = told(match, "limit_conflict", "hoist_high")
    assert (fault["start_s"], fault["end_s"]) == pytest.approx((10.0, 10.5), abs=0.021)
    assert np.all(match.trace.limits[within(fault)] & 3 == 3)


@pytest.mark.parametrize("frozen", [False, True])
def test_a_silent_device_sends_nothing_or_its_last_numbers(frozen: bool, short_plan: MatchPlan) -> None:
    fault = DeviceSilent(device="feed", at_s=8.0, length_s=3.0, frozen=frozen)
    match = simulate_match(seed=5, plan=short_plan, faults=[fault])
    (record,) = told(match, "flatline", "feed")
    assert (record["start_s"], record["end_s"]) == (8.0, 11.0)
    times_s = match.table.steps * STEP_S
    gone = (times_s >= 8.0) & (times_s < 11.0)
    current, other = match.table.column("feed.current"), match.table.column("intake.current")
    assert other.present.all()
    assert len(np.unique(other.values[gone])) > 1
    if frozen:
        assert len(np.unique(current.values[gone])) == 1
    else:
        assert (current.present == ~gone).all()

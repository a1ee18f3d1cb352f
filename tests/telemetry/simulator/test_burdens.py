"""Motors that drag, sit behind a bad joint, share a shaft or fight over it: the physics of each."""

from dataclasses import replace

import numpy as np
import pytest

from telemetry.simulator import (
    BadJoint,
    Dragging,
    Fighting,
    MatchPlan,
    RobotSpec,
    SimulatedMatch,
    TwinSpec,
    simulate_match,
)

JAY = RobotSpec()
TWIN = TwinSpec(motor=replace(JAY.feed, name="feed_b"), beside="feed")
PAIR = replace(JAY, twins=(TWIN,))
FEED, FEED_B = PAIR.motor_names.index("feed"), PAIR.motor_names.index("feed_b")


def played(
    plan: MatchPlan, *faults: BadJoint | Dragging | Fighting, spec: RobotSpec = PAIR
) -> SimulatedMatch:
    return simulate_match(spec, seed=5, plan=plan, faults=faults, contacts=())


def loads(match: SimulatedMatch, from_s: float = 0.0) -> tuple[float, float]:
    """Mean current of the pair along the drive, while driven, from an instant on."""
    trace, after = match.trace, slice(round(from_s * 1000), None)
    driven = np.abs(trace.duty[FEED][after]) >= 0.2
    way = np.sign(trace.duty[FEED][after])
    lead, other = ((trace.current_a[place][after] * way)[driven].mean() for place in (FEED, FEED_B))
    return float(lead), float(other)


def test_twins_turn_as_one_and_share_the_load(short_plan: MatchPlan) -> None:
    match = played(short_plan)
    speed = match.trace.speed_rad_s
    assert np.array_equal(speed[FEED], speed[FEED_B])
    lead, other = loads(match)
    assert other == pytest.approx(lead, rel=1e-6)
    alone = simulate_match(JAY, seed=5, plan=short_plan, contacts=())
    assert lead < 0.8 * np.abs(alone.trace.current_a[FEED][np.abs(alone.trace.duty[FEED]) >= 0.2]).mean()


def test_a_motor_behind_a_bad_joint_carries_less(short_plan: MatchPlan) -> None:
    match = played(short_plan, BadJoint(motor="feed_b", factor=2.5))
    lead, other = loads(match)
    assert other == pytest.approx(lead / 2.5, rel=0.01)
    (told,) = match.truth["faults"]
    assert (told["kind"], told["subject"], told["detail"]["motor"]) == ("load_share", "tower", "feed_b")


def test_a_twin_under_less_duty_is_dragged(short_plan: MatchPlan) -> None:
    lead, other = loads(played(short_plan, Fighting(motor="feed_b", from_s=20.0, duty_factor=0.5)), 20.0)
    assert other < 0.0 < lead


@pytest.mark.parametrize("tells", [True, False])
def test_a_controller_tells_its_duty_or_what_it_was_asked_for(short_plan: MatchPlan, tells: bool) -> None:
    match = played(short_plan, Fighting(motor="feed_b", duty_factor=0.5, tells=tells))
    told, done = match.trace.told_duty[FEED_B], match.trace.duty[FEED_B]
    driven = np.abs(match.trace.duty[FEED]) >= 0.2
    lead = match.trace.duty[FEED][driven]
    assert told[driven] / lead == pytest.approx(0.5 if tells else 1.0)
    assert done[driven] / lead == pytest.approx(0.5)


def test_a_wrong_gear_is_a_robot_of_its_own(short_plan: MatchPlan) -> None:
    match = played(short_plan, spec=replace(JAY, twins=(replace(TWIN, gear=1.3),)))
    speed = match.trace.speed_rad_s
    assert speed[FEED_B] == pytest.approx(1.3 * speed[FEED])
    lead, other = loads(match)
    assert other < lead


@pytest.mark.parametrize("share", [0.08, 0.16])
def test_a_dragging_motor_turns_at_so_much_of_its_free_speed(short_plan: MatchPlan, share: float) -> None:
    drag = Dragging(motor="intake", from_s=12.0, to_s=20.0, speed_share=share, rub=0.0)
    match = played(short_plan, drag, spec=JAY)
    place = JAY.motor_names.index("intake")
    part = slice(13_000, 20_000)
    duty, speed = match.trace.duty[place][part], match.trace.speed_rad_s[place][part]
    driven = np.abs(duty) >= 0.2
    free = np.abs(duty) * match.trace.bus_v[part] / JAY.intake.constant_v_s
    turned = (np.abs(speed) / np.maximum(free, 1.0))[driven]
    assert driven.sum() > 3_000
    assert 0.6 * share < np.median(turned) <= share


def test_a_warm_winding_resists_more(short_plan: MatchPlan) -> None:
    warm = replace(JAY, intake=replace(JAY.intake, winding_rise_k=80.0))
    drag = Dragging(motor="intake", from_s=0.0, to_s=50.0, speed_share=0.05, rub=0.0)
    cold_a, warm_a = (
        np.abs(played(short_plan, drag, spec=spec).trace.current_a[2]).max() for spec in (JAY, warm)
    )
    assert warm_a <= cold_a
    end_cold, end_warm = (
        np.abs(played(short_plan, drag, spec=spec).trace.current_a[2][20_000:30_000]).max()
        for spec in (JAY, warm)
    )
    assert end_warm < 0.97 * end_cold


def test_motors_the_robot_lacks_are_refused(short_plan: MatchPlan) -> None:
    with pytest.raises(ValueError, match="no motor is named 'wing'"):
        played(short_plan, BadJoint(motor="wing"))
    with pytest.raises(ValueError, match="no motor is named 'wing' for feed_b to stand beside"):
        replace(JAY, twins=(replace(TWIN, beside="wing"),))

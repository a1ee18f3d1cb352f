"""What people who build such machines quote to each other. Each is common practice, no source."""

from __future__ import annotations

import pytest

from telemetry.drivetrain import (
    N_PER_LBF,
    chain_load_share,
    chain_pull_n,
    gear_reduction,
    held_torque_nm,
    lbf_in_to_nm,
    motor_torque_nm,
    nm_to_lbf_in,
    output_torque_nm,
    pitch_diameter,
)
from telemetry.robot import Chain

LIGHT_CHAIN_LBF = 400
HEAVY_CHAIN_LBF = 2_500
KG_PER_LB = 0.45359237
M_PER_IN = 0.0254


def test_three_planetary_stages_and_a_gear_pair_make_the_ratio_of_a_heavy_arm() -> None:
    """Common practice, no source: 250 to 300:1 for a heavy arm."""
    ratio = gear_reduction([(1, 5), (1, 5), (1, 5), (12, 28)])
    assert ratio == pytest.approx(291.7, abs=0.05)
    assert 250 <= ratio <= 300


@pytest.mark.parametrize(("reach_in", "torque_lbf_in"), [(55, 1_375), (60, 1_500)])
def test_a_held_arm_of_25_lbf_loads_its_axle(reach_in: float, torque_lbf_in: float) -> None:
    """Common practice, no source: 1,375 to 1,500 lbf·in at 55 to 60 in."""
    torque_nm = held_torque_nm(25 * KG_PER_LB, reach_in * M_PER_IN)
    assert nm_to_lbf_in(torque_nm) == pytest.approx(torque_lbf_in, rel=1e-9)
    assert lbf_in_to_nm(torque_lbf_in) == pytest.approx(torque_nm, rel=1e-9)


@pytest.mark.parametrize("radius_in", [2, 3])
@pytest.mark.parametrize("torque_lbf_in", [1_375, 1_500])
def test_such_an_arm_wants_a_heavy_chain(radius_in: float, torque_lbf_in: float) -> None:
    """Common practice, no source: 400 lbf break at 2 to 3 in pitch radius, 2,500 lbf hold."""
    teeth, pitch_in = _sprocket(radius_in)
    torque_nm = lbf_in_to_nm(torque_lbf_in)
    pull_lbf = chain_pull_n(torque_nm, pitch_in=pitch_in, teeth=teeth) / N_PER_LBF
    assert pull_lbf == pytest.approx(torque_lbf_in / radius_in, rel=1e-9)
    assert LIGHT_CHAIN_LBF < pull_lbf < HEAVY_CHAIN_LBF
    light, heavy = (
        chain_load_share(
            torque_nm, 1.0, Chain(sprocket_teeth=teeth, pitch_in=pitch_in, breaking_load_lbf=strength)
        )
        for strength in (LIGHT_CHAIN_LBF, HEAVY_CHAIN_LBF)
    )
    assert light > 1.0 > heavy


@pytest.mark.parametrize("pull_lbf", [60, 65])
def test_a_twenty_to_one_lift_on_two_light_chains(pull_lbf: float) -> None:
    """Common practice, no source: 60 to 65 lbf on each of two chains, well within a light 400 lbf chain."""
    teeth, pitch_in, chains, reduction = 22, 0.25, 2, 20.0
    radius_in = pitch_diameter(pitch_in, teeth) / 2
    by_hand_lbf_in = pull_lbf * radius_in * chains / reduction
    motor_nm = motor_torque_nm(chains * pull_lbf * N_PER_LBF * radius_in * M_PER_IN, reduction)
    assert nm_to_lbf_in(motor_nm) == pytest.approx(by_hand_lbf_in, rel=1e-9)
    sprocket_nm = output_torque_nm(motor_nm, reduction) / chains
    back_lbf = chain_pull_n(sprocket_nm, pitch_in=pitch_in, teeth=teeth) / N_PER_LBF
    assert back_lbf == pytest.approx(pull_lbf, rel=1e-9)
    chain = Chain(sprocket_teeth=teeth, pitch_in=pitch_in, breaking_load_lbf=LIGHT_CHAIN_LBF)
    assert chain_load_share(motor_nm / chains, reduction, chain) == pytest.approx(pull_lbf / LIGHT_CHAIN_LBF)
    assert chain_load_share(motor_nm / chains, reduction, chain) < 0.2


def test_a_newton_metre_is_nearly_nine_pound_inches() -> None:
    """Common practice, no source: 8.85 lbf·in."""
    assert nm_to_lbf_in(1.0) == pytest.approx(8.85, abs=0.005)


def _sprocket(radius_in: float) -> tuple[int, float]:
    """A sprocket of that pitch radius: 24 teeth, and the pitch that goes with them."""
    teeth = 24
    return teeth, 2 * radius_in / pitch_diameter(1.0, teeth)

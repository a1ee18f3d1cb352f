from __future__ import annotations

import numpy as np
import pytest

from telemetry.drivetrain import (
    N_PER_LBF,
    chain_load_share,
    chain_pull_n,
    motor_torque_nm,
    output_torque_nm,
    pitch_diameter,
)
from telemetry.robot import Chain

CHAIN = Chain(sprocket_teeth=22, pitch_in=0.25, breaking_load_lbf=780)


def test_torque_goes_down_the_train_and_back() -> None:
    down = output_torque_nm(2.4, 5.0, efficiencies=[0.9, 0.8])
    assert down == pytest.approx(2.4 * 5 * 0.72)
    assert motor_torque_nm(down, 5.0, efficiencies=[0.9, 0.8]) == pytest.approx(2.4)


def test_pull_times_radius_is_torque() -> None:
    radius_m = pitch_diameter(0.25, 22) / 2 * 0.0254
    assert chain_pull_n(12.0, pitch_in=0.25, teeth=22) * radius_m == pytest.approx(12.0)


def test_the_share_of_the_breaking_load_is_that_of_the_pull_behind_the_reduction() -> None:
    torque = np.array([0.0, 2.4])
    pull = chain_pull_n(torque * 5.0, pitch_in=0.25, teeth=22)
    assert chain_load_share(torque, 5.0, CHAIN) == pytest.approx(pull / (780 * N_PER_LBF))
    # By hand: 12 N·m are 106.21 lbf·in, the pitch radius is 0.8783 in, so the pull is 120.92 lbf of 780.
    assert chain_load_share(2.4, 5.0, CHAIN) == pytest.approx(0.15503, abs=5e-6)


def test_two_teeth_make_no_sprocket() -> None:
    with pytest.raises(ValueError, match="at least 3 teeth"):
        pitch_diameter(0.25, 2)

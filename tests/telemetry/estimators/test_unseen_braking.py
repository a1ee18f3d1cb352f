"""Whether a motor brakes in its rests, told by the speed at which its next drive meets it."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.unseen_braking import UnseenBraking, unseen_braking
from tests.telemetry.estimators.test_unseen_duty import BATTERY_V, OHM, K, driven


def told(rest_s: float, *, brakes: bool, drives: int = 8) -> tuple[UnseenBraking | None, np.ndarray]:
    """What is told of a motor driven for a second at a time, and the current that did flow."""
    duty = np.tile(np.concatenate([np.full(100, 0.8), np.zeros(round(rest_s * 100))]), drives)
    t_s, supply_a, winding_a, _ = driven(duty, brakes=brakes, step_s=0.01)
    current_a = np.where(duty > 0, supply_a / 0.8, 0.0)
    found = unseen_braking(
        t_s, current_a, duty, (duty * BATTERY_V - current_a * OHM) / K,
        motoring=np.ones(len(t_s)), resistance_ohm=np.full(len(t_s), OHM), k_v_s_per_rad=K,
    )  # fmt: skip
    return found, winding_a


@pytest.mark.parametrize("brakes", [True, False])
def test_a_rest_of_a_second_tells(brakes: bool) -> None:
    found, _ = told(1.0, brakes=brakes)
    assert found is not None
    assert found.brakes is brakes


@pytest.mark.parametrize("rest_s", [0.05, 20.0])
def test_a_rest_so_short_or_so_long_that_both_end_alike_does_not(rest_s: float) -> None:
    found, _ = told(rest_s, brakes=True)
    assert found is not None
    assert found.brakes is None


def test_the_most_is_what_a_shorted_winding_carries() -> None:
    found, winding_a = told(1.0, brakes=True)
    assert found is not None
    assert np.sum(found.most_a**2) == pytest.approx(np.sum(winding_a**2), rel=0.1)


def test_one_short_drive_tells_nothing() -> None:
    found, _ = told(0.1, brakes=True, drives=1)
    assert found is None or found.brakes is None


@pytest.mark.parametrize("step_s", [0.01, 0.05, 0.1])
def test_a_braking_current_is_told_for_the_time_its_reading_stands_for(step_s: float) -> None:
    """The rotor slows by a time constant of 0.3 s: of readings 0.1 s apart each is a mean square."""
    drive, rest = round(1 / step_s), round(2 / step_s)
    duty = np.tile(np.concatenate([np.full(drive, 0.8), np.zeros(rest)]), 8)
    t_s, supply_a, _, _ = driven(duty, brakes=True, step_s=step_s)
    _, _, fine_a, _ = driven(np.repeat(duty, round(step_s * 1000)), brakes=True, step_s=0.001)
    current_a = np.where(duty > 0, supply_a / 0.8, 0.0)
    found = unseen_braking(
        t_s, current_a, duty, (duty * BATTERY_V - current_a * OHM) / K,
        motoring=np.ones(len(t_s)), resistance_ohm=np.full(len(t_s), OHM), k_v_s_per_rad=K,
    )  # fmt: skip
    assert found is not None
    resting = np.repeat(duty, round(step_s * 1000)) == 0
    true = np.sum(fine_a[resting] ** 2) * 0.001
    assert np.sum(found.most_a[duty == 0] ** 2) * step_s == pytest.approx(true, rel=0.2)

"""Distance sensors: noise, jumps, levels, and a threshold that would have worked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.estimators.ranges import find_range_use
from telemetry.log import Channel
from telemetry.records.sensors import RangeUse
from tests.telemetry.building import clock, inside, passing, robot_of
from tests.telemetry.logs import log_of, numbers

ROBOT = robot_of('[ranges.hopper]\nsignal = "hopper_mm"\nnear = 60\n')
PIECES = passing(list(np.arange(5.0, 95.0, 5.0)), 0.2)
JUMPS = [(at, at + 0.03) for at in np.arange(7.5, 95.0, 5.0).tolist()]


def _channel(
    rate_hz: float = 50.0, *, jumps: bool = False, noise: float = 2.0, jitter: float = 0.0
) -> Channel:
    t_s = clock(100.0, rate_hz, jitter=jitter)
    read = np.where(inside(t_s, PIECES), 40.0, 150.0)
    if jumps:
        read[inside(t_s, JUMPS)] = 50.0
    read += noise * np.random.default_rng(5).standard_normal(len(t_s))
    return numbers("hopper_mm", read.tolist(), t_s.tolist())


def _use(channel: Channel) -> RangeUse:
    return find_range_use(log_of(channel), ROBOT)["hopper"]


@pytest.mark.parametrize("rate_hz", [40.0, 50.0, 60.0, 250.0, 1000.0])
def test_noise_and_the_two_levels(rate_hz: float) -> None:
    use = _use(_channel(rate_hz))
    assert use.noise == pytest.approx(2.0, rel=0.1)
    assert (use.near_level, use.far_level) == pytest.approx((40.0, 150.0), abs=1.0)
    assert (use.crossings, use.pieces, len(use.jumps_s)) == (18, 18, 0)


@pytest.mark.parametrize("rate_hz", [50.0, 60.0, 1000.0])
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_jumps_are_counted_apart_from_pieces(rate_hz: float, jitter: float) -> None:
    use = _use(_channel(rate_hz, jumps=True, jitter=jitter))
    assert use.jumps_s.tolist() == pytest.approx([at for at, _ in JUMPS], abs=(1 + 2 * jitter) / rate_hz)
    assert (use.crossings, use.pieces) == (36, 18)
    assert use.longest_jump_s == pytest.approx(0.03, abs=(1 + 2 * jitter) / rate_hz + 1e-6)


def test_the_better_threshold_lies_midway() -> None:
    use = _use(_channel())
    assert use.better_threshold == pytest.approx(95.0, abs=1.0)
    assert use.better_hysteresis == pytest.approx(11.0, abs=0.5)
    assert use.better_crossings == 18


def test_more_noise_wants_more_hysteresis() -> None:
    """A reading that trembles by a sixth of the way between its levels crosses a bare threshold too often."""
    use = _use(_channel(noise=18.0))
    assert use.better_hysteresis is not None
    assert use.better_hysteresis > 20.0
    assert use.better_crossings == pytest.approx(18, abs=2)
    assert use.crossings == 36


@pytest.mark.parametrize("rate_hz", [40.0, 60.0, 250.0])
def test_a_reading_that_trembles_about_its_threshold_crosses_it_without_a_piece(rate_hz: float) -> None:
    """Noise of 14 mm about a near level 20 mm below the threshold; the levels themselves are well apart."""
    use = _use(_channel(rate_hz, noise=14.0))
    assert use.crossings - use.pieces >= 6
    assert use.pieces == pytest.approx(18, abs=2)
    assert use.better_crossings == 18
    assert len(use.crossings_s) == use.crossings


def test_one_level_only_has_no_better_threshold() -> None:
    t_s = clock(100.0, 50.0)
    read = 150.0 + np.random.default_rng(5).standard_normal(len(t_s))
    use = _use(numbers("hopper_mm", read.tolist(), t_s.tolist()))
    assert (use.near_level, use.far_level, use.better_threshold) == (None, None, None)


@pytest.mark.parametrize(("rate_hz", "told"), [(20.0, False), (25.0, True)])
def test_read_too_seldom_nothing_is_said(rate_hz: float, told: bool) -> None:
    assert ("hopper" in find_range_use(log_of(_channel(rate_hz)), ROBOT)) == told


def test_logged_on_change_only_nothing_is_said() -> None:
    assert find_range_use(log_of(replace(_channel(), sampled=False)), ROBOT) == {}

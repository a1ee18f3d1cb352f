"""Hits: found, told from driving, measured, and merged with their rebound."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from telemetry.analysis import Contact
from telemetry.estimators.contacts import AFTER_CONTACT_S, contact_before, find_contacts
from telemetry.log import Channel, FloatArray, Log
from tests.telemetry.building import RATES_HZ, clock, robot_of
from tests.telemetry.logs import log_of, numbers

ROBOT = robot_of('[contact]\naccelerometer = ["ax_g", "ay_g"]')
LENGTH_S = 20.0

Hit = tuple[float, float]
"""When, and how many g."""


def _hits(t_s: FloatArray, hits: Sequence[Hit], lasting_s: float) -> FloatArray:
    """Square pushes of one length."""
    push = np.zeros(len(t_s))
    for at_s, peak_g in hits:
        push[(t_s >= at_s - 1e-9) & (t_s < at_s + lasting_s - 1e-9)] = peak_g
    return push


def _log(
    hits: Sequence[Hit],
    *,
    rate_hz: float = 50.0,
    jitter: float = 0.0,
    direction_deg: float = 0.0,
    lasting_s: float = 0.1,
    slow: float = 0.0,
) -> Log:
    t_s = clock(LENGTH_S, rate_hz, jitter=jitter)
    push = _hits(t_s, hits, lasting_s)
    tremble = 0.05 * np.random.default_rng(1).standard_normal((2, len(t_s)))
    angle = np.radians(direction_deg)
    axes = {"ax_g": np.cos(angle) * push + slow, "ay_g": np.sin(angle) * push}
    return log_of(
        *(
            numbers(name, (axis + tremble[n]).tolist(), t_s.tolist())
            for n, (name, axis) in enumerate(axes.items())
        )
    )


# What is a hit


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_two_hits_are_found_at_any_rate(rate_hz: float, jitter: float) -> None:
    log = _log([(6.0, 5.0), (13.0, 4.0)], rate_hz=rate_hz, jitter=jitter, lasting_s=0.2)
    found = find_contacts(log, ROBOT)
    sample_s = (1 + 2 * jitter) / rate_hz
    assert [contact.t_s for contact in found] == pytest.approx([6.0, 13.0], abs=sample_s)
    assert [contact.peak_g for contact in found] == pytest.approx([5.0, 4.0], abs=0.3)
    assert [contact.duration_s for contact in found] == pytest.approx([0.2, 0.2], abs=2 * sample_s)
    assert {contact.source for contact in found} == {"accelerometer"}


def test_quiet_driving_is_no_hit() -> None:
    assert find_contacts(_log([]), ROBOT) == ()


def test_hard_driving_is_no_hit() -> None:
    """A second of 0.9 g, as hard as tyres allow."""
    assert find_contacts(_log([(6.0, 0.9), (12.0, -0.9)], lasting_s=1.0), ROBOT) == ()


@pytest.mark.parametrize(("peak_g", "number"), [(1.7, 0), (2.3, 1)])
def test_a_hit_has_two_g_where_the_robot_file_says_nothing(peak_g: float, number: int) -> None:
    assert len(find_contacts(_log([(6.0, peak_g)]), ROBOT)) == number


@pytest.mark.parametrize(("threshold_g", "number"), [(3.7, 1), (4.3, 0)])
def test_the_robot_file_may_set_the_floor(threshold_g: float, number: int) -> None:
    robot = robot_of(f'[contact]\naccelerometer = ["ax_g", "ay_g"]\nthreshold_g = {threshold_g}')
    assert len(find_contacts(_log([(6.0, 4.0)]), robot)) == number


def test_a_tilted_accelerometer_sees_the_same() -> None:
    level, tilted = (find_contacts(_log([(6.0, 4.0)], slow=slow), ROBOT) for slow in (0.0, 0.7))
    assert [c.peak_g for c in tilted] == pytest.approx([c.peak_g for c in level])
    assert [c.t_s for c in tilted] == [c.t_s for c in level]


# Direction and units


@pytest.mark.parametrize("direction_deg", [0.5, 90.0, 200.0, 300.0])
def test_the_direction_is_that_of_the_push(direction_deg: float) -> None:
    (contact,) = find_contacts(_log([(6.0, 5.0)], direction_deg=direction_deg), ROBOT)
    assert contact.direction_deg is not None
    turned = (contact.direction_deg - direction_deg + 180) % 360 - 180
    assert abs(turned) < 5


def test_one_axis_has_no_direction() -> None:
    robot = robot_of('[contact]\naccelerometer = ["ax_g"]')
    (contact,) = find_contacts(_log([(6.0, 5.0)]), robot)
    assert contact.direction_deg is None


def test_metres_per_second_squared_are_brought_to_g() -> None:
    t_s = clock(LENGTH_S)
    tremble = 0.5 * np.random.default_rng(1).standard_normal(len(t_s))
    log = log_of(
        numbers("ax_m_s2", (9.80665 * _hits(t_s, [(6.0, 4.0)], 0.1) + tremble).tolist(), t_s.tolist())
    )
    (contact,) = find_contacts(log, robot_of('[contact]\naccelerometer = ["ax_m_s2"]'))
    assert contact.peak_g == pytest.approx(4.0, abs=0.2)


# Rebounds


@pytest.mark.parametrize(("quiet_s", "number"), [(0.25, 1), (0.45, 2)])
def test_what_follows_within_a_third_of_a_second_is_the_rebound(quiet_s: float, number: int) -> None:
    found = find_contacts(_log([(6.0, 5.0), (6.1 + quiet_s, 4.5)]), ROBOT)
    assert len(found) == number
    assert found[0].t_s == pytest.approx(6.0)


def test_a_stronger_hit_is_no_rebound() -> None:
    found = find_contacts(_log([(6.0, 2.6), (6.4, 8.0)]), ROBOT)
    assert max(contact.peak_g or 0.0 for contact in found) == pytest.approx(8.0, abs=0.3)


# What cannot be seen


@pytest.mark.parametrize("damaged", [1e308, -5e6, 1_001.0])
def test_damaged_digits_are_no_hit_and_hide_none(damaged: float) -> None:
    log = _log([(6.0, 5.0), (13.0, 4.0)])
    values = log.channels["ax_g"].values.copy()
    values[480] = damaged
    spoiled = log_of(numbers("ax_g", values.tolist(), log.t_s.tolist()), log.channels["ay_g"])
    assert [contact.t_s for contact in find_contacts(spoiled, ROBOT)] == pytest.approx([6.0, 13.0])


def test_an_axis_of_damaged_digits_alone_is_no_hit() -> None:
    assert find_contacts(log_of(numbers("ax_g", [1e9] * 500, clock(10).tolist())), ROBOT) == ()


@pytest.mark.parametrize("channels", [[], [numbers("ax_g", [])], [numbers("ax_g", [9.0])]])
def test_nothing_to_see_is_no_hit(channels: list[Channel]) -> None:
    assert find_contacts(log_of(*channels), ROBOT) == ()


# What follows a hit


@pytest.mark.parametrize(
    ("t_s", "follows"), [(9.99, False), (10.0, True), (10.0 + AFTER_CONTACT_S, True), (10.501, False)]
)
def test_half_a_second_after_a_hit_follows_it(t_s: float, follows: bool) -> None:
    hits = [Contact(3.0, 4.0, 0.1, "accelerometer"), Contact(10.0, 5.0, 0.1, "accelerometer")]
    assert (contact_before(hits, t_s) is hits[1]) == follows


def test_the_last_of_two_hits_is_followed() -> None:
    hits = [Contact(10.0, 4.0, 0.1, "accelerometer"), Contact(10.3, 5.0, 0.1, "accelerometer")]
    assert contact_before(hits, 10.4) is hits[1]
    assert contact_before([], 10.4) is None


# The first seconds, low rates, any mount


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("at_s", [0.2, 1.0, 19.5])
def test_a_hit_at_the_edge_of_the_log_is_found(rate_hz: float, at_s: float) -> None:
    (found,) = find_contacts(_log([(at_s, 5.0)], rate_hz=rate_hz, lasting_s=0.2), ROBOT)
    assert found.t_s == pytest.approx(at_s, abs=1.01 / rate_hz)


def test_one_hit_does_not_hide_the_next() -> None:
    found = find_contacts(_log([(6.0, 8.0), (6.8, 3.0), (7.6, 8.0)]), ROBOT)
    assert [contact.t_s for contact in found] == pytest.approx([6.0, 6.8, 7.6])


@pytest.mark.parametrize(("peak_g", "number"), [(1.1, 0), (1.3, 1)])
def test_read_ten_times_a_second_less_of_a_hit_shows(peak_g: float, number: int) -> None:
    """Of a half sine of 0.1 s, six tenths of a quarter turn off its peak: cos(0.3 π) of 2 g."""
    assert len(find_contacts(_log([(6.0, peak_g)], rate_hz=10.0), ROBOT)) == number


def test_a_floor_that_the_robot_file_sets_holds_at_any_rate() -> None:
    robot = robot_of('[contact]\naccelerometer = ["ax_g", "ay_g"]\nthreshold_g = 2.0')
    assert find_contacts(_log([(6.0, 1.9)], rate_hz=10.0), robot) == ()


ON_ITS_SIDE = {"flat": (0, 1, 2), "on its side": (0, 2, 1), "on its nose": (2, 0, 1)}
"""Which of ahead, left and up each axis points along."""


@pytest.mark.parametrize("points", ON_ITS_SIDE.values(), ids=ON_ITS_SIDE)
def test_three_axes_on_any_mount(points: tuple[int, int, int]) -> None:
    """A hit of 4 g in the plane, and a jolt of 6 g along gravity, which is none."""
    t_s = clock(LENGTH_S)
    tremble = 0.05 * np.random.default_rng(1).standard_normal((3, len(t_s)))
    body = np.stack([_hits(t_s, [(6.0, 4.0)], 0.1), np.zeros(len(t_s)), 1.0 + _hits(t_s, [(12.0, 6.0)], 0.1)])
    axes = (body + tremble)[list(points)]
    names = ("ax_g", "ay_g", "az_g")
    log = log_of(
        *(numbers(name, axis.tolist(), t_s.tolist()) for name, axis in zip(names, axes, strict=True))
    )
    robot = robot_of('[contact]\naccelerometer = ["ax_g", "ay_g", "az_g"]')
    (found,) = find_contacts(log, robot)
    assert (found.t_s, found.peak_g) == pytest.approx((6.0, 4.0), abs=0.2)
    assert found.direction_deg is not None


def test_three_axes_tilted_by_thirty_degrees() -> None:
    t_s = clock(LENGTH_S)
    tremble = 0.05 * np.random.default_rng(1).standard_normal((3, len(t_s)))
    ahead, up = _hits(t_s, [(6.0, 4.0)], 0.1), np.ones(len(t_s))
    tilt = np.radians(30)
    axes = tremble + np.stack(
        [np.cos(tilt) * ahead + np.sin(tilt) * up, 0 * up, np.cos(tilt) * up - np.sin(tilt) * ahead]
    )
    names = ("ax_g", "ay_g", "az_g")
    log = log_of(
        *(numbers(name, axis.tolist(), t_s.tolist()) for name, axis in zip(names, axes, strict=True))
    )
    (found,) = find_contacts(log, robot_of('[contact]\naccelerometer = ["ax_g", "ay_g", "az_g"]'))
    assert found.peak_g == pytest.approx(4.0, abs=0.2)
    assert found.direction_deg is not None
    assert (found.direction_deg + 180) % 360 - 180 == pytest.approx(0.0, abs=5)

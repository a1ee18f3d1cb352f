"""Hits by other robots and bumps of the floor: when they come, how they push, what an accelerometer feels."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from telemetry.simulator.plan import MatchPlan

__all__ = ["Accelerations", "Contact", "draw_bumps", "draw_contacts", "feel", "push"]

_GRAVITY = 9.81
_BODY_SHARE = 0.22  # of the pulse that moves the whole robot; the rest shakes the frame
_LEAST_SPACING_S = 3.0
_TRACK_M = 0.6
_REBOUND = 0.35
_RING_HZ = 22.0
_RING_DECAY_S = 0.05
_MOUNT_S = 0.005

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Contact:
    """A hit: a pulse of ``peak_g`` towards ``direction_deg`` (0 ahead, 90 left), then a push for a while.

    The chances tell how likely it comes to pass at all, by whether the robot is fully loaded.
    """

    t_s: float
    peak_g: float
    direction_deg: float
    duration_s: float
    push_s: float = 0.0
    push_n: float = 0.0
    chance_empty: float = 1.0
    chance_loaded: float = 1.0

    @property
    def ahead(self) -> float:
        """Share of the pulse along the robot."""
        return math.cos(math.radians(self.direction_deg))

    @property
    def left(self) -> float:
        """Share of the pulse across the robot."""
        return math.sin(math.radians(self.direction_deg))


@dataclass(frozen=True)
class Accelerations:
    """What the accelerometer feels, in g, one array an axis: x ahead, y left, z up."""

    x: Floats
    y: Floats
    z: Floats


def draw_contacts(plan: MatchPlan, rng: np.random.Generator) -> tuple[Contact, ...]:
    """Draw the hits of a match, in teleop before the climb, at least three seconds apart.

    Opponents that look at the robot's light are ``plan.hits_when_loaded`` times as likely to hit when lit.
    """
    teleop = plan.teleop
    first_s, last_s = teleop.start_s + 4.0, teleop.end_s - max(plan.endgame_s - 4.0, 4.0)
    if plan.hits <= 0 or last_s <= first_s:
        return ()
    ratio = plan.hits_when_loaded
    chances = {"chance_empty": min(1.0, 1 / ratio), "chance_loaded": min(1.0, ratio)}
    count = int(rng.poisson(plan.hits * max(1.0, ratio)))
    kept: list[float] = []
    for time in np.sort(rng.uniform(first_s, last_s, count)):
        if not kept or time - kept[-1] >= _LEAST_SPACING_S:
            kept.append(round(float(time), 3))
    return tuple(replace(_draw_contact(time, rng), **chances) for time in kept)


def _draw_contact(t_s: float, rng: np.random.Generator) -> Contact:
    pushed = rng.random() < 0.4
    return Contact(
        t_s=t_s,
        peak_g=round(float(rng.uniform(2.8, 7.0)), 2),
        direction_deg=round(float(rng.uniform(-180, 180)), 1),
        duration_s=round(float(rng.uniform(0.05, 0.12)), 3),
        push_s=round(float(rng.uniform(0.5, 1.8)), 2) if pushed else 0.0,
        push_n=round(float(rng.uniform(80, 260)), 0) if pushed else 0.0,
    )


def draw_bumps(plan: MatchPlan, rng: np.random.Generator) -> tuple[Contact, ...]:
    """Draw the bumps of the floor: well below any hit, and no contacts."""
    spans = [span for span in plan.spans if span.phase != "disabled"]
    if not spans:
        return ()
    times = np.sort(rng.uniform(spans[0].start_s + 1.0, spans[-1].end_s - 1.0, int(rng.poisson(plan.bumps))))
    return tuple(
        Contact(
            t_s=round(float(time), 3),
            peak_g=round(float(rng.uniform(0.4, 0.9)), 2),
            direction_deg=float(rng.choice([0.0, 180.0])),
            duration_s=0.04,
        )
        for time in times
    )


def push(contact: Contact, sides_n: tuple[Floats, Floats], step_s: float, mass_kg: float) -> None:
    """Add the outside force of one contact to those on the left and right half of the robot, N a step."""
    first = round(contact.t_s / step_s)
    pulse_n = _half_sine(contact.duration_s, step_s) * contact.peak_g * _GRAVITY * _BODY_SHARE * mass_kg / 2
    push_n = np.full(round(contact.push_s / step_s), contact.push_n * contact.ahead / 2)
    twist = 0.3 * contact.left
    for side_n, share in zip(sides_n, (contact.ahead - twist, contact.ahead + twist), strict=True):
        _add(side_n, first, pulse_n * share)
        _add(side_n, first, push_n)


def feel(
    contacts: tuple[Contact, ...],
    speeds: tuple[Floats, Floats],
    acceleration: Floats,
    step_s: float,
    rng: np.random.Generator,
) -> Accelerations:
    """Put together the accelerations in g.

    ``contacts`` are hits and bumps; ``speeds`` the ground speeds of the two sides, m/s; ``acceleration``
    that of the whole robot ahead, m/s2. Driving, turning, a tilting floor and vibration are all in it.
    """
    steps = len(acceleration)
    x, y, z = _driving(speeds, acceleration, step_s)
    for contact in contacts:
        first = round(contact.t_s / step_s)
        pulse = _pulse(contact.duration_s, step_s) * contact.peak_g
        _add(x, first, pulse * contact.ahead * (1 - _BODY_SHARE))
        _add(y, first, pulse * contact.left)
        _add(z, first, pulse * 0.15)
    rough = 0.012 + 0.018 * (np.abs(speeds[0]) + np.abs(speeds[1])) / 2
    for axis, share in ((x, 1.0), (y, 0.9), (z, 1.6)):
        axis += rng.normal(0.0, 1.0, steps) * rough * share
        axis += _tilt(steps, step_s, rng)
    return Accelerations(x, y, z)


def _driving(
    speeds: tuple[Floats, Floats], acceleration: Floats, step_s: float
) -> tuple[Floats, Floats, Floats]:
    left, right = speeds
    width = max(round(_MOUNT_S / step_s), 1)
    ahead = np.convolve(acceleration, np.full(width, 1 / width), mode="same") / _GRAVITY
    across = np.clip((left + right) / 2 * (right - left) / _TRACK_M / _GRAVITY, -0.7, 0.7)
    return ahead * 1.03, across, np.ones(len(acceleration))


def _tilt(steps: int, step_s: float, rng: np.random.Generator) -> Floats:
    time = np.arange(steps) * step_s
    leak = np.zeros(steps)
    for hertz in rng.uniform(0.03, 0.3, 3):
        leak += 0.012 * np.sin(2 * np.pi * hertz * time + rng.uniform(0, 2 * np.pi))
    return leak


def _half_sine(duration_s: float, step_s: float) -> Floats:
    steps = max(round(duration_s / step_s), 2)
    return np.sin(np.pi * (np.arange(steps) + 0.5) / steps)


def _pulse(duration_s: float, step_s: float) -> Floats:
    main = _half_sine(duration_s, step_s)
    back = -_REBOUND * _half_sine(1.3 * duration_s, step_s)
    time = np.arange(round(5 * _RING_DECAY_S / step_s)) * step_s
    ring = 0.12 * np.exp(-time / _RING_DECAY_S) * np.sin(2 * np.pi * _RING_HZ * time)
    return np.concatenate([main, back, ring])


def _add(signal: Floats, first: int, part: Floats) -> None:
    kept = part[: max(len(signal) - first, 0)]
    signal[first : first + len(kept)] += kept

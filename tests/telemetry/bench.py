"""A test bench of many motors at once: each with its own constants, load and drive, stepped at 2 ms.

The equations are written out here once more, so that nothing of what is tested makes its own truth:
V·d = I·R + k·ω and J·dω/dt = k·I − friction − load, solved exactly over each step for constant input.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from telemetry.log import FloatArray, Log
from telemetry.robot import Robot
from tests.telemetry.building import robot_of
from tests.telemetry.logs import log_of, numbers

__all__ = ["STEP_S", "Bench", "Motors", "draw_motors", "run"]

STEP_S = 0.002
BUS_V = 12.0


@dataclass(frozen=True)
class Motors:
    """Data sheets and inertias of n motors, each array (n,), SI units but for the speeds in rpm."""

    free_rpm: FloatArray
    free_a: FloatArray
    stall_a: FloatArray
    inertia: FloatArray

    @property
    def ohm(self) -> FloatArray:
        return BUS_V / self.stall_a

    @property
    def k(self) -> FloatArray:
        return (BUS_V - self.free_a * self.ohm) / (self.free_rpm * math.pi / 30)


@dataclass(frozen=True)
class Bench:
    """What n motors did: (steps, n) each; current with its sign along the positive direction of turning."""

    motors: Motors
    duty: FloatArray
    current_a: FloatArray
    speed: FloatArray

    def log(
        self, number: int, rate_hz: float, *, speed: bool = True, noise_a: float = 0.2, unit_a: str = "a"
    ) -> Log:
        """One motor's log: battery, duty, current without sign, speed where told."""
        every = np.unique(np.round(np.arange(0, len(self.duty) * STEP_S, 1 / rate_hz) / STEP_S).astype(int))
        every = every[every < len(self.duty)]
        t_s = (every * STEP_S).tolist()
        rng = np.random.default_rng(number)
        current_a = np.abs(self.current_a[every, number] + noise_a * rng.standard_normal(len(every)))
        scale = {"a": 1.0, "ma": 1e3}[unit_a]
        channels = [
            numbers("battery_v", [BUS_V] * len(t_s), t_s),
            numbers("duty", self.duty[every, number].tolist(), t_s),
            numbers(f"current_{unit_a}", (current_a * scale).tolist(), t_s),
        ]
        if speed:
            channels.append(numbers("speed_rad_s", self.speed[every, number].tolist(), t_s))
        return log_of(*channels)

    def robot(self, number: int, *, speed: bool = True, unit_a: str = "a") -> Robot:
        """The robot file of one motor."""
        sheet = self.motors
        return robot_of(
            f'[motors.one]\ncurrent = "current_{unit_a}"\ncommand = "duty"\n'
            + ('speed = "speed_rad_s"\n' if speed else "")
            + f"free_speed_rpm = {sheet.free_rpm[number]}\nfree_current_a = {sheet.free_a[number]}\n"
            f"stall_current_a = {sheet.stall_a[number]}\n"
            '[supply]\nvoltage = "battery_v"\n'
        )


def draw_motors(number: int, seed: int) -> Motors:
    """Motors from small to large, with mechanical time constants of 15 ms to 0.4 s."""
    rng = np.random.default_rng(seed)
    stall_a = rng.uniform(50, 250, number)
    motors = Motors(
        rng.uniform(3000, 20000, number), stall_a * rng.uniform(0.01, 0.03, number), stall_a, stall_a
    )
    time_constant_s = np.exp(rng.uniform(math.log(0.015), math.log(0.4), number))
    return Motors(motors.free_rpm, motors.free_a, stall_a, time_constant_s * motors.k**2 / motors.ohm)


def run(
    motors: Motors,
    duty: FloatArray,
    load: FloatArray,
    *,
    coasts: bool = False,
    live: FloatArray | None = None,
) -> Bench:
    """Step all motors; every array (steps, n).

    `load` is a torque against the positive direction as a share of the stall torque: a number drags even a
    motor at rest; infinity holds the shaft. At duty 0 the winding is shorted, or open where it `coasts`.
    Where `live` is 0 no current flows.
    """
    k, ohm, inertia = motors.k, motors.ohm, motors.inertia
    friction = k * motors.free_a
    current_a, speed = np.zeros_like(duty), np.zeros_like(duty)
    omega = np.zeros(duty.shape[1])
    decay = np.exp(-STEP_S * k**2 / (ohm * inertia))
    for step in range(len(duty)):
        flows = np.ones(len(omega)) if live is None else live[step]
        if coasts:
            flows = flows * (duty[step] != 0)
        amperes = flows * (duty[step] * BUS_V - k * omega) / ohm
        current_a[step], speed[step] = amperes, omega
        held = np.isinf(load[step])
        outside = np.where(held, 0.0, load[step]) * k * motors.stall_a
        push = k * flows * duty[step] * BUS_V / ohm - outside
        drag = friction * np.where(omega != 0, np.sign(omega), np.clip(push / friction, -1, 1))
        rate = (push - drag) * ohm / k**2
        moved = np.where(flows > 0, rate + (omega - rate) * decay, omega + (push - drag) / inertia * STEP_S)
        crossed = (omega != 0) & (moved * omega < 0) & (np.abs(push) < friction)
        omega = np.where(held | crossed, 0.0, moved)
    return Bench(motors, duty, current_a, speed)

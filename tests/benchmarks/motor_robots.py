"""The robots, faults and loggers over which motor and supply troubles are measured.

Every robot differs from the demo robot in its motors' constants, gearing and battery, some have two motors on
a shaft, and every logger differs in rate, units and in which channels it writes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from telemetry.simulator import (
    BadJoint,
    BreakerCycling,
    ChainSpec,
    Dragging,
    Fault,
    FeedJam,
    Fighting,
    LimitDead,
    LimitOverrun,
    LoggerSpec,
    LooseLug,
    MatchPlan,
    MotorSpec,
    MotorUnplugged,
    RobotSpec,
    TwinSpec,
)

__all__ = ["OMITTED", "Scenario", "draw_logger", "draw_robot", "scenarios"]

RATES_HZ = (10.0, 20.0, 50.0, 100.0, 250.0)
OMITTED: tuple[tuple[str, ...], ...] = (
    (), ("speed",), ("duty",), ("battery",), ("speed", "battery"), ("speed", "duty"),
)  # fmt: skip

Scenario = tuple[str, tuple[Fault, ...], RobotSpec]


def draw_robot(rng: np.random.Generator) -> RobotSpec:
    """The demo robot with other motors, gears and battery, that still does its work."""
    jay = RobotSpec()
    motors = {
        role: _varied(getattr(jay, role), rng)
        for role in ("drive_left", "intake", "feed", "launcher", "hoist")
    }
    motors["drive_right"] = replace(motors["drive_left"], name="drive_right")
    battery = replace(
        jay.battery,
        open_circuit_v=float(rng.uniform(12.4, 13.0)),
        resistance_ohm=float(rng.uniform(0.012, 0.028)),
        sag_v_per_ah=float(rng.uniform(0.05, 0.3)),
    )
    return replace(jay, battery=battery, mass_kg=float(rng.uniform(40, 60)), **motors)


def _varied(motor: MotorSpec, rng: np.random.Generator) -> MotorSpec:
    faster = float(rng.uniform(0.85, 1.25))
    return replace(
        motor,
        free_speed_rpm=motor.free_speed_rpm * faster,
        reduction=motor.reduction * faster * float(rng.uniform(0.9, 1.1)),
        stall_current_a=motor.stall_current_a * float(rng.uniform(0.8, 1.4)),
        free_current_a=motor.free_current_a * float(rng.uniform(0.6, 1.5)),
        rotor_inertia_kg_m2=motor.rotor_inertia_kg_m2 * float(rng.uniform(0.6, 1.6)),
        heating_time_constant_s=float(rng.uniform(40, 140)),
        cooling_time_constant_s=float(rng.uniform(200, 600)),
        winding_rise_k=float(rng.uniform(60, 100)),
        current_side="supply" if rng.random() < 0.2 else "winding",
    )


def scenarios(spec: RobotSpec, plan: MatchPlan, rng: np.random.Generator) -> Iterable[Scenario]:
    """What goes wrong in the matches of one robot, each with its name and the robot that plays it."""
    at_s = float(rng.uniform(25, 40))
    motor = str(rng.choice(["feed", "intake", "drive_left", "launcher"]))
    weak = str(rng.choice(["feed", "drive_left", "launcher"]))
    jam = FeedJam(held_s=float(rng.uniform(0.6, 4)))
    lug = _lug(at_s, float(rng.uniform(1.35, 2.5)), spec)
    unplugged = MotorUnplugged(motor=motor, from_s=at_s, to_s=float(rng.choice([at_s + 30, 1e9])))
    hoist = LimitOverrun() if rng.random() < 0.5 else LimitDead(limit="hoist_high")
    small = _small(spec, rng)
    return [
        ("clean", (), spec),
        ("clean small", (), small),
        ("jams", (jam, FeedJam(held_s=float(rng.uniform(0.4, 3)))), spec),
        ("hoist", (hoist,), spec),
        ("unplugged", (unplugged,), spec),
        ("lug", (lug,), spec),
        ("weak", (jam,), _weakened(spec, weak, rng)),
        ("flat", (), _flattened(spec, rng)),
        ("cycling", (_cycling(str(rng.choice(["feed", "intake", "drive_left", "launcher"])), rng),), spec),
        ("cycling small", (_cycling("intake", rng),), small),
        ("drag", _dragging(str(rng.choice(["feed", "intake", "drive_left", "launcher"])), plan, rng), spec),
        ("drag small", _dragging("intake", plan, rng), small),
        ("drag hoist", (Dragging(motor="hoist", from_s=0.0, to_s=1e9, speed_share=_slow(rng)),), spec),
        *_paired(spec, rng),
        *_rare(spec, rng),
    ]


def _rare(spec: RobotSpec, rng: np.random.Generator) -> Iterable[Scenario]:
    """More of what other scenarios seldom hold: steps of the source, dips, brownouts, breakers and chains."""
    for number in (2, 3):
        at_s, factor = float(rng.uniform(20, 55)), float(rng.uniform(1.35, 2.5))
        yield f"lug {number}", (_lug(at_s, factor, spec),), spec
        yield f"flat {number}", (), _flattened(spec, rng, ohm=(0.03, 0.05))
        yield f"empty {number}", (), _flattened(spec, rng, ohm=(0.06, 0.1))
        weak = str(rng.choice(["feed", "drive_left", "launcher", "intake"]))
        jam = FeedJam(held_s=float(rng.uniform(0.6, 4)))
        yield f"weak {number}", (jam,), _weakened(spec, weak, rng)


def _lug(at_s: float, factor: float, spec: RobotSpec) -> LooseLug:
    return LooseLug(from_s=at_s, resistance_ohm=spec.battery.resistance_ohm * factor)


def _small(spec: RobotSpec, rng: np.random.Generator) -> RobotSpec:
    """An intake with a small motor, as roller motors often are."""
    smaller = float(rng.uniform(0.25, 0.6))
    intake = spec.intake
    small = replace(
        intake,
        stall_current_a=intake.stall_current_a * smaller,
        free_current_a=intake.free_current_a * smaller,
        rotor_inertia_kg_m2=intake.rotor_inertia_kg_m2 * smaller,
        reduction=intake.reduction / smaller,
        continuous_current_a=intake.continuous_current_a * smaller,
        breaker_a=10.0,
    )
    return replace(spec, intake=small)


def _flattened(
    spec: RobotSpec, rng: np.random.Generator, *, ohm: tuple[float, float] = (0.025, 0.06)
) -> RobotSpec:
    """A battery so empty or worn that the supply falls low under load."""
    battery = replace(
        spec.battery,
        open_circuit_v=float(rng.uniform(11.8, 12.5)),
        resistance_ohm=float(rng.uniform(*ohm)),
    )
    return replace(spec, battery=battery)


def _cycling(motor: str, rng: np.random.Generator) -> BreakerCycling:
    """A breaker that opens and closes by itself."""
    return BreakerCycling(
        motor=motor,
        from_s=float(rng.uniform(20, 35)),
        off_s=float(rng.uniform(2, 8)),
        on_s=float(rng.uniform(2, 8)),
        times=int(rng.integers(3, 8)),
    )


def _slow(rng: np.random.Generator) -> float:
    return float(rng.uniform(0.08, 0.16))


def _dragging(motor: str, plan: MatchPlan, rng: np.random.Generator) -> tuple[Fault, ...]:
    """A motor that hardly turns, for one to ten seconds at a time."""
    share = _slow(rng)
    return tuple(
        Dragging(motor=motor, from_s=at, to_s=at + float(rng.uniform(1, 10)), speed_share=share)
        for at in np.sort(rng.uniform(25, plan.teleop_s - 10, 3)).tolist()
    )


def _paired(spec: RobotSpec, rng: np.random.Generator) -> Iterable[Scenario]:
    """Two motors on one shaft: well matched, one open, one behind a bad joint, two that fight."""
    beside = str(rng.choice(["feed", "launcher", "intake"]))
    lead = getattr(spec, beside)
    lead = replace(lead, free_speed_rpm=lead.free_speed_rpm * float(rng.uniform(0.97, 1.03)))
    twin = TwinSpec(motor=replace(lead, name=f"{beside}_b"), beside=beside)
    own = replace(spec, twins=(twin,))
    one = str(rng.choice([beside, twin.motor.name]))
    at_s = float(rng.uniform(20, 45))
    yield "pair", (), own
    yield "cycling pair", (_cycling(one, rng),), own
    yield "open", (MotorUnplugged(motor=one, from_s=float(rng.choice([0.0, at_s]))),), own
    yield "joint", (BadJoint(motor=one, factor=float(rng.uniform(1.5, 3.5)), from_s=at_s),), own
    wrong = replace(twin, gear=float(rng.uniform(1.08, 1.6)))
    yield "gear", (), replace(spec, twins=(wrong,))
    factor = float(rng.choice([-0.8, 0.5, 0.7, 0.85]))
    fight = Fighting(
        motor=twin.motor.name,
        from_s=float(rng.choice([0.0, at_s])),
        duty_factor=factor,
        tells=factor < 0 or bool(rng.random() < 0.5),
    )
    yield "fight", (fight,), own


def _weakened(spec: RobotSpec, name: str, rng: np.random.Generator) -> RobotSpec:
    """One motor with a small thermal limit, a small breaker and a thin chain."""
    motor = getattr(spec, name)
    weak = replace(
        motor,
        continuous_current_a=motor.continuous_current_a * float(rng.uniform(0.15, 0.5)),
        breaker_a=float(rng.choice([5, 8, 10, 15])),
        chain=ChainSpec(breaking_load_lbf=float(rng.uniform(40, 160))),
    )
    return replace(spec, **{name: weak})


def draw_logger(spec: RobotSpec, omitted: tuple[str, ...], rng: np.random.Generator) -> LoggerSpec:
    """A logger that leaves out what is omitted."""
    keys = {
        "battery": ("battery.voltage",),
        "speed": tuple(f"{name}.speed" for name in spec.motor_names),
        "duty": tuple(f"{name}.duty" for name in spec.motor_names),
    }
    return LoggerSpec(
        rate_hz=float(rng.choice(RATES_HZ)),
        jitter_s=float(rng.choice([0.002, 0.004])),
        time_unit=str(rng.choice(["s", "ms"])),  # type: ignore[arg-type]
        current_unit=str(rng.choice(["A", "mA"])),  # type: ignore[arg-type]
        voltage_unit=str(rng.choice(["V", "mV"])),  # type: ignore[arg-type]
        speed_unit=str(rng.choice(["rpm", "rad_s"])),  # type: ignore[arg-type]
        omit=(*(key for what in omitted for key in keys[what]), *(("total",) if rng.random() < 0.4 else ())),
    )

"""What a simulated robot is made of: frozen records with the demo robot as their defaults."""

import math
from dataclasses import dataclass, field
from typing import Literal

__all__ = [
    "BatterySpec",
    "BeamSpec",
    "ChainSpec",
    "HoistSpec",
    "LauncherSpec",
    "Level",
    "LimitSpec",
    "MotorSpec",
    "RangeSpec",
    "RobotSpec",
    "TowerSpec",
    "TwinSpec",
]

Level = bool | int | str
"""A logged switch value: 0, 1, true, false or a word."""

_RAD_S_PER_RPM = math.pi / 30


@dataclass(frozen=True, kw_only=True)
class ChainSpec:
    """A roller chain behind a motor's gearbox; it is written into the robot file only."""

    sprocket_teeth: int = 22
    pitch_in: float = 0.25
    breaking_load_lbf: float = 780


@dataclass(frozen=True, kw_only=True)
class MotorSpec:
    """A permanent-magnet motor by its data sheet, and what surrounds it on the robot.

    The winding obeys ``V = I R + k w`` and the free current is spent on friction, so that three of the
    data-sheet numbers give the fourth (``stall_torque_nm``). The winding warms by ``winding_rise_k`` at the
    heat its continuous current leads to, and its copper resists the more; 0 keeps it as it is.
    """

    name: str
    nominal_v: float = 12.0
    free_speed_rpm: float
    free_current_a: float
    stall_current_a: float
    reduction: float = 1.0
    rotor_inertia_kg_m2: float = 2e-4
    current_limit_a: float | None = None
    current_side: Literal["winding", "supply"] = "winding"
    mechanism: str
    breaker_a: float = 40.0
    continuous_current_a: float
    heating_time_constant_s: float = 90.0
    cooling_time_constant_s: float = 400.0
    winding_rise_k: float = 0.0
    chain: ChainSpec | None = None

    @property
    def resistance_ohm(self) -> float:
        """Winding resistance: all of the nominal voltage falls over it at stall."""
        return self.nominal_v / self.stall_current_a

    @property
    def constant_v_s(self) -> float:
        """Back-EMF per rad/s, which in SI units is also the torque per ampere."""
        drop_v = self.free_current_a * self.resistance_ohm
        return (self.nominal_v - drop_v) / (self.free_speed_rpm * _RAD_S_PER_RPM)

    @property
    def friction_nm(self) -> float:
        """The motor's own dry friction: what the free current is spent on."""
        return self.constant_v_s * self.free_current_a

    @property
    def stall_torque_nm(self) -> float:
        """Shaft torque at stall and nominal voltage."""
        return self.constant_v_s * (self.stall_current_a - self.free_current_a)


@dataclass(frozen=True, kw_only=True)
class TwinSpec:
    """A second motor on the shaft of another, named ``beside``, under the same command.

    It makes ``gear`` turns for each of the other's: 1, unless somebody fitted a wrong gear.
    """

    motor: MotorSpec
    beside: str
    gear: float = 1.0


@dataclass(frozen=True, kw_only=True)
class BeamSpec:
    """A light barrier across the piece path, and how its input is wired and logged."""

    name: str
    position_m: float
    broken: Level = 0
    clear: Level = 1
    unplugged: Literal["clear", "broken"] = "clear"
    harness: str | None = "tower loom"

    def __post_init__(self) -> None:
        if self.broken == self.clear or type(self.broken) is not type(self.clear):
            raise ValueError(f"beam {self.name}: broken and clear must be two values of one type")


@dataclass(frozen=True, kw_only=True)
class RangeSpec:
    """An analog distance sensor that looks across the piece path: near where a piece is, far where none."""

    name: str = "hopper"
    position_m: float = 0.10
    piece_mm: float = 40.0
    wall_mm: float = 150.0
    near_mm: float = 60.0
    noise_mm: float = 2.0


@dataclass(frozen=True, kw_only=True)
class LimitSpec:
    """A limit switch."""

    name: str
    pressed: Level = 1
    released: Level = 0

    def __post_init__(self) -> None:
        if self.pressed == self.released or type(self.pressed) is not type(self.released):
            raise ValueError(f"limit {self.name}: pressed and released must be two values of one type")


@dataclass(frozen=True, kw_only=True)
class TowerSpec:
    """The belt that carries pieces from the intake, past the beams, to the launcher wheel.

    Positions are metres along the path; 0 is where the belt takes a piece over from the intake. A catch
    holds the first piece until the driver launches; it lets one piece by and closes behind it. The wheel
    grips a piece whose front reaches ``nip_m``.
    """

    beams: tuple[BeamSpec, ...] = (
        BeamSpec(name="entry", position_m=0.10),
        BeamSpec(name="middle", position_m=0.35),
        BeamSpec(name="gate", position_m=0.60),
    )
    piece_length_m: float = 0.18
    catch_m: float = 0.57
    nip_m: float = 0.75
    pulley_radius_m: float = 0.02
    collect_duty: float = 0.45
    launch_duty: float = 0.65
    held_piece_friction_n: float = 8.0
    range_sensor: RangeSpec | None = None

    def __post_init__(self) -> None:
        if not 1 <= len(self.beams) <= 6:
            raise ValueError(f"a tower has 1 to 6 beams, not {len(self.beams)}")
        positions = [beam.position_m for beam in self.beams]
        if positions != sorted(set(positions)) or positions[0] <= 0:
            raise ValueError("beams must stand in order along the path, the first beyond 0 m")
        if len({beam.name for beam in self.beams}) < len(self.beams):
            raise ValueError("beams must have different names")
        if not positions[-1] < self.nip_m or not self.catch_m < self.nip_m:
            raise ValueError("the last beam and the catch must stand before the nip of the launcher wheel")


@dataclass(frozen=True, kw_only=True)
class HoistSpec:
    """A self-locking arm that moves between two limit switches."""

    travel_m: float = 0.6
    drum_radius_m: float = 0.02
    up_load_n: float = 40.0
    duty: float = 0.8
    low: LimitSpec = LimitSpec(name="hoist_low")
    high: LimitSpec = LimitSpec(name="hoist_high")


@dataclass(frozen=True, kw_only=True)
class LauncherSpec:
    """The flywheel: its inertia at the motor shaft, its speed, and what one piece takes out of it."""

    inertia_kg_m2: float = 4e-3
    speed_rad_s: float = 400.0
    windage_nm_s2: float = 6e-7
    dip: tuple[float, float] = (0.07, 0.12)
    grip_s: float = 0.03


@dataclass(frozen=True, kw_only=True)
class BatterySpec:
    """An open-circuit voltage that falls with the charge drawn, behind a source resistance."""

    name: str = "B3"
    open_circuit_v: float = 12.7
    resistance_ohm: float = 0.017
    sag_v_per_ah: float = 0.12
    standby_a: float = 2.2
    dip_v: float = 9.0
    brownout_v: float = 7.0


def _drive(name: str) -> MotorSpec:
    return MotorSpec(
        name=name,
        free_speed_rpm=5300,
        free_current_a=2.5,
        stall_current_a=200,
        reduction=7.5,
        rotor_inertia_kg_m2=3e-4,
        current_limit_a=90,
        mechanism="drive",
        breaker_a=60,
        continuous_current_a=45,
    )


@dataclass(frozen=True, kw_only=True)
class RobotSpec:
    """A whole robot; the defaults are Jay, which plays Hollow Oak."""

    name: str = "Jay"
    piece: str = "acorn"
    capacity: int = 3
    preload: int = 1
    mass_kg: float = 50.0
    wheel_radius_m: float = 0.05
    grip_coefficient: float = 0.75
    battery: BatterySpec = BatterySpec()
    drive_left: MotorSpec = field(default_factory=lambda: _drive("drive_left"))
    drive_right: MotorSpec = field(default_factory=lambda: _drive("drive_right"))
    intake: MotorSpec = MotorSpec(
        name="intake",
        free_speed_rpm=5500,
        free_current_a=1.5,
        stall_current_a=60,
        reduction=4,
        mechanism="intake",
        breaker_a=30,
        continuous_current_a=15,
    )
    feed: MotorSpec = MotorSpec(
        name="feed",
        free_speed_rpm=5300,
        free_current_a=1.8,
        stall_current_a=130,
        reduction=5,
        mechanism="tower",
        continuous_current_a=32,
        chain=ChainSpec(),
    )
    launcher: MotorSpec = MotorSpec(
        name="launcher",
        free_speed_rpm=6000,
        free_current_a=2.0,
        stall_current_a=150,
        current_limit_a=60,
        mechanism="launcher",
        continuous_current_a=32,
    )
    hoist: MotorSpec = MotorSpec(
        name="hoist",
        free_speed_rpm=5300,
        free_current_a=1.8,
        stall_current_a=130,
        reduction=40,
        current_limit_a=80,
        mechanism="hoist",
        continuous_current_a=32,
    )
    tower: TowerSpec = TowerSpec()
    flywheel: LauncherSpec = LauncherSpec()
    arm: HoistSpec = HoistSpec()
    twins: tuple[TwinSpec, ...] = ()

    def __post_init__(self) -> None:
        if self.capacity < 1 or not 0 <= self.preload <= self.capacity:
            raise ValueError("capacity must be at least 1, and the preload no more than the capacity")
        if self.tower.catch_m < self.capacity * self.tower.piece_length_m:
            raise ValueError("the tower is too short below its catch for that many pieces")
        if len(set(self.motor_names)) < len(self.motors):
            raise ValueError("motors must have different names")
        for twin in self.twins:
            if twin.beside not in [motor.name for motor in self._leading]:
                raise ValueError(f"no motor is named {twin.beside!r} for {twin.motor.name} to stand beside")

    @property
    def motors(self) -> tuple[MotorSpec, ...]:
        """All motors, in the fixed order of the record; twins come last."""
        return (*self._leading, *(twin.motor for twin in self.twins))

    @property
    def _leading(self) -> tuple[MotorSpec, ...]:
        return (self.drive_left, self.drive_right, self.intake, self.feed, self.launcher, self.hoist)

    @property
    def motor_names(self) -> tuple[str, ...]:
        """Names of all motors, in the same order."""
        return tuple(motor.name for motor in self.motors)

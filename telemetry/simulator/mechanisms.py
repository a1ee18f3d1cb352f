"""The moving parts behind the motors: drivetrain, belt, flywheel, hoist arm. Each steps its own motors."""

from telemetry.simulator.electrics import Motor
from telemetry.simulator.specification import RobotSpec
from telemetry.simulator.tower import Tower

__all__ = ["LOWER", "UPPER", "Drivetrain", "Feed", "Flywheel", "Hoist", "Intake"]

LOWER, UPPER = 1, 2
"""Bits of the hoist's two limit switches."""

_GRAVITY = 9.81
_ROLLING_N = 14.0  # a side
_SCRUB_N_S_M = 45.0  # sideways slip of the wheels in a turn, per difference of the two sides
_SLIP_STIFFNESS_N_S_M = 1500.0
_DRIVE_EFFICIENCY = 0.92
_JAM_NM = 12.0  # at the motor shaft, far beyond what it can give
_SWITCH_M = 0.005  # travel between a limit switch's trip point and the arm's geometric end
_STOP_M = 0.012  # and from there on to the hard stop


class Drivetrain:
    """Two sides, each carrying half of the robot; tyres slip above what the floor can hold."""

    def __init__(self, spec: RobotSpec) -> None:
        self.left = Motor(spec.drive_left)
        self.right = Motor(spec.drive_right)
        self.speed_left = 0.0
        self.speed_right = 0.0
        self.acceleration = 0.0
        self._half_kg = spec.mass_kg / 2
        self._hold_n = spec.grip_coefficient * self._half_kg * _GRAVITY
        self._radius = spec.wheel_radius_m

    @property
    def speed(self) -> float:
        """Forward speed of the robot, m/s."""
        return (self.speed_left + self.speed_right) / 2

    def step(self, step_s: float, outside_left_n: float, outside_right_n: float) -> None:
        """Advance both sides under the outside forces of hits and pushing."""
        scrub_n = _SCRUB_N_S_M * (self.speed_left - self.speed_right)
        before = self.speed_left + self.speed_right
        self.speed_left = self._side(self.left, self.speed_left, outside_left_n - scrub_n, step_s)
        self.speed_right = self._side(self.right, self.speed_right, outside_right_n + scrub_n, step_s)
        self.acceleration = (self.speed_left + self.speed_right - before) / (2 * step_s)

    def _side(self, motor: Motor, ground: float, outside_n: float, step_s: float) -> float:
        metres_per_rad = self._radius / motor.spec.reduction
        traction = _SLIP_STIFFNESS_N_S_M * (motor.speed * metres_per_rad - ground)
        traction = min(max(traction, -self._hold_n), self._hold_n)
        motor.turn(step_s, -traction * metres_per_rad / _DRIVE_EFFICIENCY)
        force = traction + outside_n
        if ground == 0.0:
            if -_ROLLING_N <= force <= _ROLLING_N:
                return 0.0
            rolling = _ROLLING_N if force > 0 else -_ROLLING_N
        else:
            rolling = _ROLLING_N if ground > 0 else -_ROLLING_N
        moved = ground + (force - rolling) / self._half_kg * step_s
        return 0.0 if ground * moved < 0.0 else moved


class Intake:
    """The roller that pulls pieces off the floor; one in its grip is a load for a moment."""

    _GRIP_S = 0.22
    _GRIP_NM = 0.16
    _ROLLER_NM = 0.05

    def __init__(self, spec: RobotSpec) -> None:
        self.motor = Motor(spec.intake, 1e-4, coasts=True)
        self._grip_left_s = 0.0

    def grip(self) -> None:
        """Pull a piece in."""
        self._grip_left_s = self._GRIP_S

    def step(self, step_s: float) -> None:
        """Advance by one step."""
        friction_nm = self._ROLLER_NM
        if self._grip_left_s > 0.0:
            self._grip_left_s -= step_s
            friction_nm += self._GRIP_NM
        self.motor.turn(step_s, 0.0, friction_nm)


class Feed:
    """The motor that drives the tower's belt."""

    _BELT_NM = 0.06

    def __init__(self, spec: RobotSpec) -> None:
        self.motor = Motor(spec.feed, 5e-5)
        self.jammed = False
        self._metres_per_rad = spec.tower.pulley_radius_m / spec.feed.reduction
        self._held_nm = spec.tower.held_piece_friction_n * self._metres_per_rad

    def step(self, step_s: float, tower: Tower) -> float:
        """Advance by one step; return how far the belt moved, m."""
        friction_nm = self._BELT_NM + tower.blocked * self._held_nm + 0.25 * tower.aboard * self._held_nm
        if self.jammed and self.motor.speed >= 0.0 and self.motor.wanted >= 0.0:
            friction_nm += _JAM_NM
        self.motor.turn(step_s, 0.0, friction_nm)
        return self.motor.speed * self._metres_per_rad * step_s


class Flywheel:
    """The launcher wheel: held at speed by its controller, slowed by every piece."""

    _GAIN_V_PER_RAD_S = 0.08

    def __init__(self, spec: RobotSpec) -> None:
        self.spec = spec.flywheel
        self.motor = Motor(spec.launcher, spec.flywheel.inertia_kg_m2, coasts=True, regenerates=False)
        self.setpoint = 0.0
        self._grip_left_s = 0.0
        self._grip_nm = 0.0

    @property
    def ready(self) -> bool:
        """Whether the wheel is within 2 % of its setpoint."""
        return self.setpoint > 0.0 and self.motor.speed > 0.98 * self.setpoint

    def grip(self, dip: float) -> None:
        """Take a piece, which slows the wheel by the fraction ``dip`` within the time of its passage."""
        self._grip_left_s = self.spec.grip_s
        self._grip_nm = self.motor.inertia * self.motor.speed * dip / self.spec.grip_s

    def control(self, bus_v: float) -> None:
        """Set the duty: the voltage that holds the speed, and a share of the error."""
        motor = self.motor
        if self.setpoint == 0.0:
            motor.wanted = 0.0
            return
        hold_nm = motor.friction_nm + self.spec.windage_nm_s2 * self.setpoint**2
        hold_v = motor.constant * self.setpoint + motor.resistance * hold_nm / motor.constant
        wanted_v = hold_v + self._GAIN_V_PER_RAD_S * (self.setpoint - motor.speed)
        motor.wanted = min(max(wanted_v / bus_v, 0.001), 1.0)

    def step(self, step_s: float) -> None:
        """Advance by one step."""
        load_nm = -self.spec.windage_nm_s2 * self.motor.speed**2
        if self._grip_left_s > 0.0:
            self._grip_left_s -= step_s
            load_nm -= self._grip_nm
        self.motor.turn(step_s, load_nm)


class Hoist:
    """The arm: raised against its own weight, pulled down against the robot's; it locks itself at rest."""

    _EFFICIENCY = 0.7
    _GEAR_NM = 0.04

    def __init__(self, spec: RobotSpec) -> None:
        self.spec = spec.arm
        self.motor = Motor(spec.hoist, 5e-5)
        self.position_m = -_SWITCH_M / 2
        self.honours_limits = True
        self.dead = 0
        self.stray = 0
        self.early, self.early_share = 0, 1.0
        self.tripped = False
        self.switches = 1
        self._metres_per_rad = spec.arm.drum_radius_m / spec.hoist.reduction
        self._robot_n = spec.mass_kg * _GRAVITY
        self.hooked = False

    @property
    def low(self) -> bool:
        """Whether the lower limit switch is pressed."""
        return self.position_m <= 0.0

    @property
    def high(self) -> bool:
        """Whether the upper limit switch is pressed."""
        return self.position_m >= self.spec.travel_m

    def command(self, duty: float) -> None:
        """Ask for a duty; the controller's own limit inputs cut it off at the ends."""
        ended = duty != 0.0 and self._read() & (UPPER if duty > 0.0 else LOWER)
        self.motor.wanted = 0.0 if ended and self.honours_limits else duty

    def step(self, step_s: float) -> None:
        """Advance by one step, and look at the limits again; they cut the motor off from the next step on.

        ``switches`` is what they read during the step; bits ``dead`` never read pressed, ``stray`` always,
        ``early`` from that share of the way on.
        """
        self.switches = self._read()
        motor = self.motor
        wanted = motor.wanted
        if wanted == 0.0 and motor.speed == 0.0:
            return
        outward = wanted > 0.0 or (wanted == 0.0 and motor.speed > 0.0)
        load_n = self.spec.up_load_n if outward or not self.hooked else self._robot_n
        friction_nm = self._GEAR_NM + load_n * self._metres_per_rad / self._EFFICIENCY
        motor.turn(step_s, 0.0, friction_nm)
        self._move(motor.speed * self._metres_per_rad * step_s)
        self.command(wanted)

    def _read(self) -> int:
        pressed = self.low * LOWER | self.high * UPPER
        return pressed & ~self.dead | self.stray | self.tripped * self.early

    def _move(self, distance_m: float) -> None:
        moved = self.position_m + distance_m
        if not -_SWITCH_M - _STOP_M < moved < self.spec.travel_m + _SWITCH_M + _STOP_M:
            self.motor.speed = 0.0
            return
        self.position_m = moved
        if self.early:
            self._trip(distance_m)

    def _trip(self, distance_m: float) -> None:
        """Close the early limit once its share of the way is made towards it; open it on the way back."""
        share = moved_share = self.position_m / self.spec.travel_m
        if self.early == LOWER:
            share, distance_m = 1.0 - moved_share, -distance_m
        if distance_m != 0.0:
            self.tripped = distance_m > 0.0 and share >= self.early_share

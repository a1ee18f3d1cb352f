"""The whole robot, integrated at one millisecond, and the trace of what it did."""

from array import array
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.simulator.contacts import Contact, push_forces
from telemetry.simulator.driver import Commands, Driver
from telemetry.simulator.electrics import Battery, Motor
from telemetry.simulator.faults import (
    Fault,
    FaultRecord,
    FeedJam,
    LimitOverrun,
    LooseLug,
    MotorUnplugged,
    TightMechanism,
)
from telemetry.simulator.mechanisms import Drivetrain, Feed, Flywheel, Hoist, Intake
from telemetry.simulator.plan import MatchPlan
from telemetry.simulator.specification import RobotSpec
from telemetry.simulator.streams import stream
from telemetry.simulator.tower import Piece, Tower

__all__ = ["STEP_S", "Machine", "Trace"]

STEP_S = 0.001
_STEPS_PER_TICK = 20
_TICK_S = STEP_S * _STEPS_PER_TICK
_JAM_CLEARS_S = 0.3

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Trace:
    """What the robot did, one value a millisecond; motors in the order of ``RobotSpec.motors``."""

    bus_v: Floats
    open_circuit_v: Floats
    supply_a: Floats
    current_a: tuple[Floats, ...]
    duty: tuple[Floats, ...]
    speed_rad_s: tuple[Floats, ...]
    ground_speed: tuple[Floats, Floats]
    acceleration: Floats
    beams: NDArray[np.int64]
    limits: NDArray[np.int64]
    aboard: Floats
    pieces: tuple[Piece, ...]
    faults: tuple[FaultRecord, ...]
    events: tuple[tuple[float, str, float], ...]

    @property
    def time_s(self) -> Floats:
        """Time of each step, from the start of the record."""
        return np.arange(len(self.bus_v), dtype=np.float64) * STEP_S


class Machine:
    """A robot put together from its parts, with a driver and the faults that touch its mechanics."""

    def __init__(
        self,
        spec: RobotSpec,
        plan: MatchPlan,
        contacts: tuple[Contact, ...],
        faults: Iterable[Fault],
        seed: int,
    ) -> None:
        self.spec = spec
        self.plan = plan
        self.contacts = contacts
        self.drive = Drivetrain(spec)
        self.intake = Intake(spec)
        self.feed = Feed(spec)
        self.flywheel = Flywheel(spec)
        self.hoist = Hoist(spec)
        self.tower = Tower(spec.tower, spec.preload)
        self.battery = Battery(spec.battery)
        self.motors: tuple[Motor, ...] = (
            self.drive.left,
            self.drive.right,
            self.intake.motor,
            self.feed.motor,
            self.flywheel.motor,
            self.hoist.motor,
        )
        parts = (self.tower, self.intake, self.feed, self.flywheel, self.hoist)
        self.driver = Driver(spec, plan, stream(seed, "driver"), parts, _TICK_S)
        self._dips = stream(seed, "dips")
        self._record = array("d")
        self._faults: list[FaultRecord] = []
        self._events: list[tuple[float, str, float]] = []
        self._jams = _Jams(
            self, [fault for fault in faults if isinstance(fault, FeedJam)], stream(seed, "jams")
        )
        self._unplugged = [fault for fault in faults if isinstance(fault, MotorUnplugged)]
        self._lugs = [fault for fault in faults if isinstance(fault, LooseLug)]
        self._prepare([fault for fault in faults if isinstance(fault, (LimitOverrun, TightMechanism))])

    def _prepare(self, faults: list[LimitOverrun | TightMechanism]) -> None:
        for fault in faults:
            if isinstance(fault, LimitOverrun):
                self.hoist.honours_limits = False
                self.driver.overruns_s = fault.driven_on_s
            else:
                self.motor(fault.motor).friction_nm *= fault.factor
                self.note("friction_trend", fault.motor, 0.0, self.plan.length_s, factor=fault.factor)

    def motor(self, name: str) -> Motor:
        """The motor of that name."""
        for motor in self.motors:
            if motor.spec.name == name:
                return motor
        raise ValueError(f"no motor is named {name!r}; there are {', '.join(self.spec.motor_names)}")

    def note(self, kind: str, subject: str, start_s: float, end_s: float, **detail: object) -> None:
        """Put a fault on record."""
        self._faults.append(FaultRecord(kind, subject, round(start_s, 3), round(end_s, 3), dict(detail)))

    def run(self) -> Trace:
        """Play the whole match."""
        steps = round(self.plan.length_s / STEP_S)
        left_n, right_n = push_forces(self.contacts, steps, STEP_S, self.spec.mass_kg)
        phase = ""
        for first in range(0, steps, _STEPS_PER_TICK):
            now_s = first * STEP_S
            current = self._phase(now_s)
            if current != phase:
                phase = current
                self.driver.begin(phase)
            self._apply_faults(now_s)
            self._command(self.driver.tick(now_s))
            for step in range(first, min(first + _STEPS_PER_TICK, steps)):
                self._step(step * STEP_S, left_n[step], right_n[step])
        self._jams.finish(steps * STEP_S)
        return self._trace()

    def _phase(self, now_s: float) -> str:
        return next(span.phase for span in self.plan.spans if now_s < span.end_s - 1e-9)

    def _apply_faults(self, now_s: float) -> None:
        for contact in self.contacts:
            if contact.t_s <= now_s < contact.t_s + _TICK_S:
                self.driver.pushed_until_s = now_s + contact.push_s
        for unplugged in self._unplugged:
            self.motor(unplugged.motor).unplugged = unplugged.from_s <= now_s < unplugged.to_s
        for lug in self._lugs:
            if now_s >= lug.from_s:
                self.battery.resistance_ohm = lug.resistance_ohm
        self._jams.look(now_s)

    def _command(self, commands: Commands) -> None:
        self.drive.left.wanted = commands.left
        self.drive.right.wanted = commands.right
        self.intake.motor.wanted = commands.intake
        self.feed.motor.wanted = commands.feed
        self.hoist.command(commands.hoist)
        self.flywheel.setpoint = commands.launcher

    def _step(self, now_s: float, left_n: float, right_n: float) -> None:
        self.flywheel.control(self.battery.bus_v)
        self.battery.supply(self.motors, STEP_S)
        self.drive.step(STEP_S, left_n, right_n)
        self.intake.step(STEP_S)
        moved_m = self.feed.step(STEP_S, self.tower)
        if self.tower.carry(moved_m, now_s):
            dip = float(self._dips.uniform(*self.spec.flywheel.dip))
            self._events.append((now_s, "release", dip))
            self.flywheel.grip(dip)
        self.flywheel.step(STEP_S)
        self.hoist.step(STEP_S)
        self._write()

    def _write(self) -> None:
        battery, drive, hoist = self.battery, self.drive, self.hoist
        record = self._record
        record.extend(
            (
                battery.bus_v,
                battery.open_circuit_v,
                battery.current_a,
                drive.speed_left,
                drive.speed_right,
                drive.acceleration,
                self.tower.broken,
                hoist.low + 2 * hoist.high,
                self.tower.aboard,
            )
        )
        for motor in self.motors:
            record.extend((motor.current_a, motor.duty, motor.speed))

    def _trace(self) -> Trace:
        table = np.frombuffer(self._record, dtype=np.float64).reshape(-1, 9 + 3 * len(self.motors))
        columns = [np.ascontiguousarray(column) for column in table.T]
        return Trace(
            bus_v=columns[0],
            open_circuit_v=columns[1],
            supply_a=columns[2],
            current_a=tuple(columns[9::3]),
            duty=tuple(columns[10::3]),
            speed_rad_s=tuple(columns[11::3]),
            ground_speed=(columns[3], columns[4]),
            acceleration=columns[5],
            beams=columns[6].astype(np.int64),
            limits=columns[7].astype(np.int64),
            aboard=columns[8],
            pieces=tuple(self.tower.story),
            faults=tuple(self._faults),
            events=tuple(self._events),
        )


class _Jams:
    """Jams of the belt: each waits for a piece on its way up, and holds until it is cleared."""

    def __init__(self, machine: Machine, faults: list[FeedJam], rng: np.random.Generator) -> None:
        self._machine = machine
        teleop = machine.plan.teleop
        self._waiting = sorted(
            (fault.from_s if fault.from_s is not None else self._draw(teleop.start_s, teleop.end_s, rng), n)
            for n, fault in enumerate(faults)
        )
        self._faults = faults
        self._held: tuple[float, FeedJam] | None = None
        self._reversed_s = 0.0

    @staticmethod
    def _draw(start_s: float, end_s: float, rng: np.random.Generator) -> float:
        return float(rng.uniform(start_s + 0.1 * (end_s - start_s), start_s + 0.55 * (end_s - start_s)))

    def look(self, now_s: float) -> None:
        """Begin or end a jam, once a control tick."""
        if self._held is not None:
            self._hold(now_s, *self._held)
        elif self._waiting and now_s >= self._waiting[0][0] and self._chance():
            fault = self._faults[self._waiting.pop(0)[1]]
            self._held = (now_s, fault)
            self._reversed_s = 0.0
            self._machine.feed.jammed = True
            self._machine.driver.patience_s = fault.held_s if fault.cleared_by == "reverse" else float("inf")

    def finish(self, end_s: float) -> None:
        """Put a jam that outlasts the record into the truth."""
        if self._held is not None:
            self._end(self._held[0], end_s)

    def _chance(self) -> bool:
        machine = self._machine
        spec = machine.spec.tower
        moving = machine.feed.motor.wanted > 0.2 and machine.feed.motor.speed > 50.0
        fronts = [piece.front_m for piece in machine.tower.pieces]
        return moving and any(
            0.6 * spec.piece_length_m < front < 0.95 * spec.catch_m for front in fronts[-1:]
        )

    def _hold(self, now_s: float, start_s: float, fault: FeedJam) -> None:
        motor = self._machine.feed.motor
        if motor.wanted < 0.0:
            self._reversed_s += _TICK_S
        freed = fault.cleared_by == "release" and now_s - start_s >= fault.held_s
        if freed or self._reversed_s >= _JAM_CLEARS_S:
            self._end(start_s, now_s - self._reversed_s)

    def _end(self, start_s: float, end_s: float) -> None:
        feed = self._machine.feed
        feed.jammed = False
        self._held = None
        self._machine.driver.patience_s = float("inf")
        self._machine.note("stall", feed.motor.spec.name, start_s, end_s, cause="jam")

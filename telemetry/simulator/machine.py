"""The whole robot, integrated at one millisecond, and the trace of what it did."""

from array import array
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.simulator.burdens import Burdens
from telemetry.simulator.contacts import Contact
from telemetry.simulator.driver import Commands, Driver
from telemetry.simulator.electrics import Battery, Motor
from telemetry.simulator.faults import Fault, FaultRecord, FeedJam
from telemetry.simulator.jams import Jams
from telemetry.simulator.mechanisms import Drivetrain, Feed, Flywheel, Hoist, Intake
from telemetry.simulator.opponents import Opponents
from telemetry.simulator.plan import MatchPlan
from telemetry.simulator.specification import RobotSpec, TwinSpec
from telemetry.simulator.streams import stream
from telemetry.simulator.tower import Piece, Tower
from telemetry.simulator.upsets import Upsets

__all__ = ["STEP_S", "Machine", "Trace"]

STEP_S = 0.001
_STEPS_PER_TICK = 20
_TICK_S = STEP_S * _STEPS_PER_TICK

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Trace:
    """What the robot did, one value a millisecond; motors in the order of ``RobotSpec.motors``.

    ``told_duty`` is what the controllers report, where one does not do what it says.
    """

    bus_v: Floats
    open_circuit_v: Floats
    supply_a: Floats
    current_a: tuple[Floats, ...]
    duty: tuple[Floats, ...]
    speed_rad_s: tuple[Floats, ...]
    told_duty: tuple[Floats, ...]
    ground_speed: tuple[Floats, Floats]
    acceleration: Floats
    beams: NDArray[np.int64]
    limits: NDArray[np.int64]
    loaded: NDArray[np.bool_]
    pieces: tuple[Piece, ...]
    releases_s: tuple[float, ...]
    contacts: tuple[Contact, ...]
    faults: tuple[FaultRecord, ...]

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
        faults = tuple(faults)
        self.spec = spec
        self.plan = plan
        self._steps = round(plan.length_s / STEP_S)
        size = (self._steps, STEP_S, spec.mass_kg)
        self.opponents = Opponents(contacts, size, stream(seed, "chances"))
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
        self.motors += tuple(self._twin(twin) for twin in spec.twins)
        parts = (self.tower, self.intake, self.feed, self.flywheel, self.hoist)
        self.driver = Driver(spec, plan, stream(seed, "driver"), parts, _TICK_S)
        self._dips = stream(seed, "dips")
        self._record = array("d")
        self._stalls: list[FaultRecord] = []
        self._releases_s: list[float] = []
        self._jams = Jams(
            [fault for fault in faults if isinstance(fault, FeedJam)],
            (self.feed, self.tower, self.driver),
            plan.teleop,
            stream(seed, "jams"),
            self._note_jam,
        )
        motors = dict(zip(spec.motor_names, self.motors, strict=True))
        self._upsets = Upsets(faults, motors, (self.battery, self.hoist, self.driver), plan.length_s)
        self._burdens = Burdens(faults, motors, plan.length_s)

    def _twin(self, twin: TwinSpec) -> Motor:
        """Put a second motor on the shaft of one that is there."""
        beside = next(motor for motor in self.motors if motor.spec.name == twin.beside)
        motor = Motor(twin.motor, coasts=beside.coasts, regenerates=beside.regenerates)
        beside.add_twin(motor, twin.gear)
        return motor

    @property
    def loaded(self) -> bool:
        """Whether the robot carries all it can, which its light shows."""
        return self.tower.aboard >= self.spec.capacity

    def run(self) -> Trace:
        """Play the whole match."""
        phase = ""
        for first in range(0, self._steps, _STEPS_PER_TICK):
            now_s = first * STEP_S
            current = self._phase(now_s)
            if current != phase:
                phase = current
                self.driver.begin(phase)
            self._disturb(now_s)
            self._command(self.driver.tick(now_s))
            last = min(first + _STEPS_PER_TICK, self._steps)
            for step, outside_n in enumerate(self.opponents.forces(first, last), first):
                self._step(step * STEP_S, outside_n)
        self._jams.finish(self._steps * STEP_S)
        return self._trace()

    def _phase(self, now_s: float) -> str:
        return next(span.phase for span in self.plan.spans if now_s < span.end_s - 1e-9)

    def _disturb(self, now_s: float) -> None:
        until_s = self.opponents.pushing_until(now_s + _TICK_S, loaded=self.loaded)
        if until_s is not None:
            self.driver.pushed_until_s = until_s
        self._upsets.look(now_s)
        self._burdens.look(now_s)
        for motor in self.motors:
            motor.warm(_TICK_S)
        self._jams.look(now_s, _TICK_S)

    def _note_jam(self, start_s: float, end_s: float) -> None:
        span = (round(start_s, 3), round(end_s, 3))
        self._stalls.append(FaultRecord("stall", self.spec.feed.name, *span, {"cause": "jam"}))

    def _command(self, commands: Commands) -> None:
        self.drive.left.wanted = commands.left
        self.drive.right.wanted = commands.right
        self.intake.motor.wanted = commands.intake
        self.feed.motor.wanted = commands.feed
        self.hoist.command(commands.hoist)
        self.flywheel.setpoint = commands.launcher

    def _step(self, now_s: float, outside_n: tuple[float, float]) -> None:
        self.flywheel.control(self.battery.bus_v)
        for motor in self.motors:
            motor.lead()
        self.battery.supply(self.motors, STEP_S)
        self.drive.step(STEP_S, *outside_n)
        self.intake.step(STEP_S)
        moved_m = self.feed.step(STEP_S, self.tower)
        if self.tower.carry(moved_m, now_s):
            self._releases_s.append(now_s)
            self.flywheel.grip(float(self._dips.uniform(*self.spec.flywheel.dip)))
        self.flywheel.step(STEP_S)
        self.hoist.step(STEP_S)
        self._write()

    def _write(self) -> None:
        battery, drive = self.battery, self.drive
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
                self.hoist.switches,
                self.loaded,
            )
        )
        for motor in self.motors:
            record.extend((motor.current_a, motor.duty, motor.speed, motor.told_duty))

    def _trace(self) -> Trace:
        table = np.frombuffer(self._record, dtype=np.float64).reshape(-1, 9 + 4 * len(self.motors))
        columns = [np.ascontiguousarray(column) for column in table.T]
        return Trace(
            bus_v=columns[0],
            open_circuit_v=columns[1],
            supply_a=columns[2],
            current_a=tuple(columns[9::4]),
            duty=tuple(columns[10::4]),
            speed_rad_s=tuple(columns[11::4]),
            told_duty=tuple(columns[12::4]),
            ground_speed=(columns[3], columns[4]),
            acceleration=columns[5],
            beams=columns[6].astype(np.int64),
            limits=columns[7].astype(np.int64),
            loaded=columns[8].astype(bool),
            pieces=tuple(self.tower.story),
            releases_s=tuple(self._releases_s),
            contacts=tuple(self.opponents.met),
            faults=(*self._upsets.records, *self._burdens.records, *self._stalls),
        )

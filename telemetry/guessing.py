"""What the channels mean where no robot file says so: by names, units and values, each with its reason."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from telemetry.channel_words import NamedChannel, named_channels
from telemetry.guessing_motors import TOTAL_WORDS, MotorGuess, guess_motors, is_current
from telemetry.guessing_phase import EnabledClock, PhaseGuess, guess_phase, looks_like_phase
from telemetry.guessing_sensors import Sensor, guess_beams, guess_indicator, guess_limits, guess_ranges
from telemetry.log import Kind, Log
from telemetry.records.guess import Guess

if TYPE_CHECKING:
    from telemetry.robot import Robot

__all__ = ["guess_robot", "guess_roles", "likely_phase"]

_VOLTAGE_WORDS = frozenset({"voltage", "volt", "volts", "vbat", "vbatt", "vbus"})
_SUPPLY_WORDS = frozenset(
    {"battery", "batt", "bat", "bus", "supply", "main", "pack", "vbat", "vbatt", "vbus"}
)
_WHOLE_ROBOT_WORDS = frozenset({"supply", "bus", "main", "input", "all", "robot", "motors"})
_ACCELERATION_WORDS = frozenset({"accel", "acc", "acceleration", "accelerometer"})
_X, _Y, _Z = frozenset({"x", "ax"}), frozenset({"y", "ay"}), frozenset({"z", "az", "vertical"})
_LAUNCHER_WORDS = frozenset({"launcher", "launch", "shooter", "shoot", "flywheel", "thrower", "catapult"})
_DRIVE_WORDS = frozenset({"drive", "drivetrain", "wheel", "chassis", "traction"})


def guess_robot(log: Log) -> tuple[Robot, tuple[Guess, ...]]:
    """A robot as the channels suggest it, and every guess with its reason; no channel gets two roles.

    What a log cannot tell stays unknown: what a sensor reads when unplugged, the motors' data-sheet numbers,
    breakers, harnesses, how near a piece is to a distance sensor. A guess is by common words (our choice,
    because the names are what the team itself wrote), and the rarer level of a switch is taken for the one
    that means something. Pure; never raises, whatever the log.
    """
    from telemetry.robot import Robot

    guesser = _Guesser(log)
    return Robot.model_validate(guesser.tree), tuple(guesser.guesses)


def guess_roles(log: Log) -> dict[str, str]:
    """The role of each channel that gets one, by its name: what `guess_robot` makes of it."""
    return _Guesser(log).roles


def likely_phase(log: Log) -> str | None:
    """A channel of numbers named like a phase, whose numbers only a person can explain; None without one."""
    candidates = named_channels(log.channels.values())
    return next((named.name for named in candidates if looks_like_phase(named)), None)


class _Guesser:
    """Gives roles one after the other, each out of the channels that have none yet."""

    def __init__(self, log: Log) -> None:
        channels = named_channels(log.channels.values())
        self._end_s = log.span_s
        self._left = {named.name: named for named in channels}
        self._contact: dict[str, list[str]] = {}
        self.guesses: list[Guess] = []
        self.roles: dict[str, str] = {}
        self.tree: dict[str, object] = {"contact": self._contact}
        self._guess()

    def _guess(self) -> None:
        phase = guess_phase(self._free)
        if phase:
            self._phase(phase)
        elif (numbered := next((named for named in self._free if looks_like_phase(named)), None)) is not None:
            del self._left[numbered.name]
        clock = EnabledClock(phase, self._end_s)
        self._supply()
        self._accelerometer()
        motors = guess_motors(self._free)
        self._motors(motors)
        self._sensors(clock, [motor.name for motor in motors])

    @property
    def _free(self) -> list[NamedChannel]:
        return list(self._left.values())

    def _take(self, key: str, named: NamedChannel, why: str) -> None:
        del self._left[named.name]
        self.roles[named.name] = key
        self.guesses.append(Guess(key, named.name, why))

    def _phase(self, guess: PhaseGuess) -> None:
        self._take("match.phase", guess.named, guess.why)
        self.tree["match"] = {"phase": guess.named.name, "values": guess.values}

    def _supply(self) -> None:
        supply = {}
        voltage = _supply_voltage(self._free)
        if voltage:
            named, why = voltage
            self._take("supply.voltage", named, why)
            supply["voltage"] = named.name
        total = next((named for named in self._free if _is_total_current(named)), None)
        if total:
            self._take("supply.current", total, "a current named for the whole robot")
            supply["current"] = total.name
        self.tree["supply"] = supply

    def _accelerometer(self) -> None:
        axes = _horizontal_axes(self._free)
        for named in axes:
            self._take("contact.accelerometer", named, "an acceleration that its name does not call vertical")
        self._contact["accelerometer"] = [named.name for named in axes]

    def _motors(self, motors: Sequence[MotorGuess]) -> None:
        self.tree["motors"] = {motor.name: motor.section() for motor in motors}
        for motor in motors:
            for role, named in motor.channels.items():
                why = f"its name and values: the {role} of {motor.name}"
                self._take(f"motors.{motor.name}.{role}", named, why)
        self._launcher_and_drive(motors)

    def _launcher_and_drive(self, motors: Sequence[MotorGuess]) -> None:
        launcher = next((motor for motor in motors if not _LAUNCHER_WORDS.isdisjoint(motor.stem)), None)
        if launcher:
            self.tree["launcher"] = {"motor": launcher.name}
            self.guesses.append(Guess("launcher.motor", launcher.name, "the motor is named for launching"))
        drive = [motor.name for motor in motors if not _DRIVE_WORDS.isdisjoint(motor.stem)]
        self._contact["drive"] = drive
        self.guesses += [Guess("contact.drive", name, "the motor is named for driving") for name in drive]

    def _sensors(self, clock: EnabledClock, motors: Sequence[str]) -> None:
        indicator = guess_indicator(self._free)
        if indicator:
            self._take("indicator.signal", indicator.named, indicator.why)
            self.tree["indicator"] = indicator.section
        limits = self._place("limits", guess_limits(self._free, motors, clock))
        beams = self._place("beams", guess_beams(self._free, clock, limits))
        self._place("ranges", guess_ranges(self._free, [*limits, *beams]))

    def _place(self, section: str, sensors: Sequence[Sensor]) -> list[str]:
        for sensor in sensors:
            self._take(f"{section}.{sensor.name}.signal", sensor.named, sensor.why)
        self.tree[section] = {sensor.name: sensor.section for sensor in sensors}
        return [sensor.name for sensor in sensors]


def _supply_voltage(channels: Sequence[NamedChannel]) -> tuple[NamedChannel, str] | None:
    voltages = [named for named in channels if _is_voltage(named)]
    for named in voltages:
        if named.has(_SUPPLY_WORDS):
            return named, "a voltage named for the battery or bus"
    if len(voltages) == 1 and _is_battery_like(voltages[0]):
        return voltages[0], "the only voltage of the log, and within what a battery has"
    return None


def _is_voltage(named: NamedChannel) -> bool:
    if not named.is_a(Kind.NUMBER):
        return False
    return named.quantity == "voltage" or (named.quantity is None and named.has(_VOLTAGE_WORDS))


def _is_battery_like(named: NamedChannel) -> bool:
    values = named.channel.canonical()
    finite = values[np.isfinite(values)]
    return len(finite) > 0 and 6.0 <= float(np.median(finite)) <= 30.0


def _is_total_current(named: NamedChannel) -> bool:
    own = named.without(TOTAL_WORDS | _WHOLE_ROBOT_WORDS | {"current", "amps", "amperes", "curr"})
    return is_current(named) and not own and bool(named.words)


def _horizontal_axes(channels: Sequence[NamedChannel]) -> list[NamedChannel]:
    """x and y of one accelerometer, or what there is of them, or its only axis; never z."""
    level = [named for named in channels if _is_acceleration(named) and not named.has(_Z)]
    along_x = [named for named in level if named.has(_X)]
    along_y = [named for named in level if named.has(_Y) and not named.has(_X)]
    for x in along_x:
        for y in along_y:
            if x.without(_X) == y.without(_Y):
                return [x, y]
    return along_x[:1] + along_y[:1] or (level if len(level) == 1 else [])


def _is_acceleration(named: NamedChannel) -> bool:
    if not named.is_a(Kind.NUMBER):
        return False
    return named.quantity == "acceleration" or (named.quantity is None and named.has(_ACCELERATION_WORDS))

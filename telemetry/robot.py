"""The robot file: what the channels mean. Validated whole; every mistake is told in one run."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

__all__ = [
    "Beam", "Chain", "ContactSource", "Harness", "Indicator", "Launcher", "Level", "Limit",
    "LogSection", "MatchSection", "Motor", "Range", "Robot", "RobotSection", "SupplySection",
]  # fmt: skip

Finite = Annotated[float, Field(allow_inf_nan=False)]
Word = Annotated[str, Field(min_length=1, max_length=200)]
Level = bool | int | Finite | Word
"""A logged value as the robot file spells it: 0, 1, true, false or a word."""

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Name = Word
CurvePoint = Annotated[tuple[Positive, Positive], Field(strict=False)]


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class RobotSection(_Section):
    """`[robot]`: what it is and what it carries."""

    name: str = "robot"
    piece: str = "piece"
    capacity: Annotated[int, Field(ge=1, le=20)] | None = None
    preload: Annotated[int, Field(ge=0, le=20)] = 0
    piece_length_m: Positive | None = None


class LogSection(_Section):
    """`[log]`: how to read the file where that cannot be told from the file itself."""

    time: Name | None = None
    time_unit: Literal["s", "ms", "us", "ns", "iso8601"] | None = None
    channel: Name | None = None
    value: Name | None = None
    units: dict[str, str] = {}


class MatchSection(_Section):
    """`[match]`: the channel that tells the phase, and the schedule of a match."""

    phase: Name | None = None
    values: dict[Literal["disabled", "autonomous", "teleop", "endgame"], list[Level]] = {}
    autonomous_s: NotNegative = 15.0
    teleop_s: Positive = 135.0
    endgame_s: NotNegative = 30.0


class Chain(_Section):
    """A roller chain on the motor's output."""

    sprocket_teeth: Annotated[int, Field(ge=4, le=500)]
    pitch_in: Positive
    breaking_load_lbf: Positive


class Motor(_Section):
    """`[motors.NAME]`: a permanent-magnet motor by its data-sheet numbers, and its channels."""

    current: Name | None = None
    current_side: Literal["winding", "supply"] = "winding"
    command: Name | None = None
    speed: Name | None = None
    mechanism: Name | None = None
    nominal_v: Positive = 12.0
    free_speed_rpm: Positive | None = None
    free_current_a: NotNegative | None = None
    stall_current_a: Positive | None = None
    stall_torque_nm: Positive | None = None
    reduction: Positive = 1.0
    breaker_a: Positive | None = None
    breaker_curve: Annotated[list[CurvePoint], Field(min_length=1)] | None = None
    continuous_current_a: Positive | None = None
    heating_time_constant_s: Positive | None = None
    cooling_time_constant_s: Positive | None = None
    chain: Chain | None = None


class Beam(_Section):
    """`[beams.NAME]`: a beam-break sensor along the piece path."""

    signal: Name
    broken: Level = 1
    station: Annotated[int, Field(ge=1, le=100)] | None = None
    unplugged: Literal["clear", "broken"] | None = None
    harness: Name | None = None


class Limit(_Section):
    """`[limits.NAME]`: a limit switch and what it must stop."""

    signal: Name
    pressed: Level = 1
    motor: Name | None = None
    stops: Literal["negative", "positive"] | None = None


class Range(_Section):
    """`[ranges.NAME]`: an analog distance sensor; nearer than `near` (as logged) means a piece is there."""

    signal: Name
    near: Finite | None = None


class Launcher(_Section):
    """`[launcher]`: the motor through which pieces leave."""

    motor: Name


class ContactSource(_Section):
    """`[contact]`: what hits are read from."""

    accelerometer: list[Name] = []
    drive: list[Name] = []
    threshold_g: Positive | None = None


class SupplySection(_Section):
    """`[supply]`: the battery as the log sees it."""

    voltage: Name | None = None
    current: Name | None = None
    battery: str | None = None
    dip_v: Positive = 9.0
    brownout_v: Positive = 7.0


class Indicator(_Section):
    """`[indicator]`: a light that shows a loaded robot."""

    signal: Name
    lit: Level = 1


class Harness(_Section):
    """`[[harnesses]]`: devices wired one after the other, or each on its own lead."""

    name: Name
    kind: Literal["chain", "star"]
    order: Annotated[list[Name], Field(min_length=1)]


class Robot(_Section):
    """A whole robot file, or the roles guessed for want of one."""

    robot: RobotSection = RobotSection()
    log: LogSection = LogSection()
    match: MatchSection = MatchSection()
    motors: dict[Name, Motor] = {}
    beams: dict[Name, Beam] = {}
    limits: dict[Name, Limit] = {}
    ranges: dict[Name, Range] = {}
    launcher: Launcher | None = None
    contact: ContactSource = ContactSource()
    supply: SupplySection = SupplySection()
    indicator: Indicator | None = None
    harnesses: list[Harness] = []

    def beams_in_order(self) -> list[str]:
        """Names of the beams along the piece path; beams without a station come last, as written."""
        return sorted(self.beams, key=lambda name: self.beams[name].station or 10**6)

    def references(self) -> list[tuple[str, str]]:
        """Every (dotted key, channel name) by which the file names a channel of the log."""
        found: list[tuple[str, str | None]] = [("match.phase", self.match.phase)]
        for name, motor in self.motors.items():
            roles = {"current": motor.current, "command": motor.command, "speed": motor.speed}
            found.extend((f"motors.{name}.{role}", channel) for role, channel in roles.items())
        sensors: dict[str, Mapping[str, Beam | Limit | Range]] = {
            "beams": self.beams, "limits": self.limits, "ranges": self.ranges,
        }  # fmt: skip
        for section, members in sensors.items():
            found.extend((f"{section}.{name}.signal", sensor.signal) for name, sensor in members.items())
        found.extend(("contact.accelerometer", channel) for channel in self.contact.accelerometer)
        found += [("supply.voltage", self.supply.voltage), ("supply.current", self.supply.current)]
        found.append(("indicator.signal", self.indicator.signal if self.indicator else None))
        return [(key, channel) for key, channel in found if channel is not None]

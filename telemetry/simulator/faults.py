"""Faults to put into a simulated match. Times are seconds from the first record of the log."""

from dataclasses import dataclass, field
from typing import Any, Literal

__all__ = [
    "BadJoint",
    "BeamDead",
    "BeamDropouts",
    "BreakerCycling",
    "Chatter",
    "DeviceSilent",
    "DevicesLost",
    "Dragging",
    "Fault",
    "FaultRecord",
    "FeedJam",
    "Fighting",
    "LimitBounce",
    "LimitDead",
    "LimitEarly",
    "LimitOverrun",
    "LimitStray",
    "LogGap",
    "LooseLug",
    "MotorUnplugged",
    "NoisyRange",
    "TightMechanism",
]


@dataclass(frozen=True, kw_only=True)
class BeamDropouts:
    """A loose receiver lead: after a hit, with some probability, the input reads its unplugged level.

    Where none of the hits would have done it, the hardest one does. ``windows`` sets the spans by hand
    instead. At its onset and its return the lead makes and breaks a few times, and a receiver that regains
    its supply reads broken until it has found its emitter again.
    """

    beam: str
    probability: float = 0.5
    length_s: tuple[float, float] = (2.0, 15.0)
    windows: tuple[tuple[float, float], ...] | None = None
    flickers: bool = True


@dataclass(frozen=True, kw_only=True)
class BeamDead:
    """A beam that reads one level from a time on."""

    beam: str
    from_s: float
    stuck: Literal["clear", "broken"] = "clear"


@dataclass(frozen=True, kw_only=True)
class Chatter:
    """A vibrating beam: bursts of short false edges while the belt runs or after hits, at least one."""

    beam: str
    trigger: Literal["belt", "hits"] = "belt"
    from_s: float = 0.0
    bursts_per_belt_minute: float = 10.0
    probability: float = 0.6
    burst_s: tuple[float, float] = (0.4, 1.6)
    bounce_s: tuple[float, float] = (0.002, 0.040)


@dataclass(frozen=True, kw_only=True)
class FeedJam:
    """A piece that blocks the belt, from the first chance after ``from_s`` (drawn when not given) on.

    The driver keeps driving for ``held_s`` and then reverses the belt, or it frees itself at that moment.
    """

    from_s: float | None = None
    held_s: float = 2.5
    cleared_by: Literal["reverse", "release"] = "reverse"


@dataclass(frozen=True, kw_only=True)
class MotorUnplugged:
    """A motor lead off its controller: commanded, but without any current."""

    motor: str
    from_s: float
    to_s: float = float("inf")


@dataclass(frozen=True, kw_only=True)
class BreakerCycling:
    """A breaker that opens under its motor and closes again by itself, several times over."""

    motor: str
    from_s: float
    off_s: float = 3.0
    on_s: float = 5.0
    times: int = 3


@dataclass(frozen=True, kw_only=True)
class Dragging:
    """Something wound round a shaft: for a while it turns, but hardly: at so much of its free speed.

    The drag grows with the speed, and swells and ebbs by ``rub`` of itself a few times a second.
    """

    motor: str
    from_s: float
    to_s: float
    speed_share: float = 0.12
    rub: float = 0.2


@dataclass(frozen=True, kw_only=True)
class BadJoint:
    """A loose lug or burnt contact at one motor: its winding seems to have so many times its resistance."""

    motor: str
    factor: float = 2.0
    from_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Fighting:
    """A twin that works against the motor it shares a shaft with.

    From ``from_s`` on its controller puts out ``duty_factor`` times what the other's does, and reports that
    where it ``tells``, else what it was asked for. (A wrong gear belongs to the robot: see ``TwinSpec``.)
    """

    motor: str
    from_s: float = 0.0
    duty_factor: float = 0.7
    tells: bool = True


@dataclass(frozen=True, kw_only=True)
class LimitDead:
    """A limit switch that reads released from a time on: the arm runs into its stop till the driver sees."""

    limit: str
    from_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class LimitStray:
    """A limit switch that reads pressed within these windows, though nothing is there."""

    limit: str
    windows: tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class LimitEarly:
    """A limit that closes when driven to it over this share of the way; it opens when driven away again."""

    limit: str
    share: float = 0.6


@dataclass(frozen=True, kw_only=True)
class LimitBounce:
    """A limit switch that opens again and again for a moment after it was pressed."""

    limit: str
    length_s: float = 0.8
    bounce_s: tuple[float, float] = (0.01, 0.08)


@dataclass(frozen=True, kw_only=True)
class LimitOverrun:
    """The hoist's controller misses its limits; the driver lets go that long after the switch closed."""

    driven_on_s: float = 1.2


@dataclass(frozen=True, kw_only=True)
class LooseLug:
    """A battery lug knocked loose: the source resistance from then on."""

    from_s: float
    resistance_ohm: float = 0.035


@dataclass(frozen=True, kw_only=True)
class TightMechanism:
    """A motor whose dry friction is a multiple of what it was."""

    motor: str
    factor: float = 2.0


@dataclass(frozen=True, kw_only=True)
class NoisyRange:
    """A distance sensor that jumps about from a time on, or trembles by so much more."""

    from_s: float
    jumps_per_s: float = 4.0
    jump_s: tuple[float, float] = (0.01, 0.06)
    trembles_mm: float = 0.0


@dataclass(frozen=True, kw_only=True)
class LogGap:
    """The logger writes nothing for a while."""

    at_s: float
    length_s: float = 1.5


@dataclass(frozen=True, kw_only=True)
class DevicesLost:
    """Motors and beams that leave the record together, as behind one connector; they work on unseen."""

    subject: str
    devices: tuple[str, ...]
    at_s: float
    length_s: float
    frozen: bool = False


@dataclass(frozen=True, kw_only=True)
class DeviceSilent:
    """One device that leaves the record or repeats its last numbers, and works on unseen.

    A motor, a distance sensor, ``battery`` or ``accel``.
    """

    device: str
    at_s: float
    length_s: float
    frozen: bool = False


Fault = (
    BadJoint
    | BeamDead
    | BeamDropouts
    | BreakerCycling
    | Chatter
    | DeviceSilent
    | DevicesLost
    | Dragging
    | FeedJam
    | Fighting
    | LimitBounce
    | LimitDead
    | LimitEarly
    | LimitOverrun
    | LimitStray
    | LogGap
    | LooseLug
    | MotorUnplugged
    | NoisyRange
    | TightMechanism
)


@dataclass(frozen=True)
class FaultRecord:
    """A fault as it happened: one line of the truth."""

    kind: str
    subject: str
    start_s: float
    end_s: float
    detail: dict[str, Any] = field(default_factory=dict)

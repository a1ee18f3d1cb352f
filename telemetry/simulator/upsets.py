"""Faults that act on the robot itself while it plays: leads, breakers, lugs, bearings, limit switches."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from telemetry.simulator.driver import Driver
from telemetry.simulator.electrics import Battery, Motor
from telemetry.simulator.faults import (
    BreakerCycling,
    Fault,
    FaultRecord,
    LimitDead,
    LimitEarly,
    LimitOverrun,
    LimitStray,
    LooseLug,
    MotorUnplugged,
    TightMechanism,
)
from telemetry.simulator.mechanisms import LOWER, UPPER, Hoist

__all__ = ["Upsets"]

Window = tuple[float, float]


@dataclass(frozen=True)
class _Switched:
    """Something that is wrong within its windows: a motor by name, or a bit of the limits."""

    motor: str = ""
    dead: int = 0
    stray: int = 0
    windows: tuple[Window, ...] = ()

    def acts(self, now_s: float) -> bool:
        return any(start_s <= now_s < end_s for start_s, end_s in self.windows)


class Upsets:
    """Applies the faults, and keeps a record of each. Raises ValueError for parts the robot lacks."""

    def __init__(
        self,
        faults: Iterable[Fault],
        motors: Mapping[str, Motor],
        parts: tuple[Battery, Hoist, Driver],
        length_s: float,
    ) -> None:
        self.records: list[FaultRecord] = []
        self._motors = motors
        self._battery, self._hoist, self._driver = parts
        self._length_s = length_s
        self._switched: list[_Switched] = []
        self._lugs: list[LooseLug] = []
        self._early: LimitEarly | None = None
        self._tripped = False
        for fault in faults:
            self._prepare(fault)

    def look(self, now_s: float) -> None:
        """Let the faults of this moment act, once a control tick."""
        acting = [switched for switched in self._switched if switched.acts(now_s)]
        for switched in self._switched:
            if switched.motor:
                self._motors[switched.motor].unplugged = False
        for switched in acting:
            if switched.motor:
                self._motors[switched.motor].unplugged = True
        self._hoist.dead = sum({switched.dead for switched in acting})
        self._hoist.stray = sum({switched.stray for switched in acting})
        self._note_trip(now_s)
        for lug in self._lugs:
            if now_s >= lug.from_s:
                self._battery.resistance_ohm = lug.resistance_ohm

    def _note_trip(self, now_s: float) -> None:
        """Put down when the early limit closed short of its end; it stays closed until the arm goes back."""
        if self._hoist.tripped and not self._tripped and self._early is not None:
            self._note(
                "limit_stray", self._early.limit, (now_s, self._length_s), {"share": self._early.share}
            )
        elif self._tripped and not self._hoist.tripped:
            self.records[-1] = replace(self.records[-1], end_s=now_s)
        self._tripped = self._hoist.tripped

    def _prepare(self, fault: Fault) -> None:
        if isinstance(fault, (MotorUnplugged, BreakerCycling, TightMechanism)):
            self._prepare_motor(fault)
        elif isinstance(fault, (LimitDead, LimitEarly, LimitStray, LimitOverrun)):
            self._prepare_limit(fault)
        elif isinstance(fault, LooseLug):
            self._lugs.append(fault)
            detail = {"before_ohm": self._battery.resistance_ohm, "after_ohm": fault.resistance_ohm}
            self._note("source_resistance", "supply", (fault.from_s, self._length_s), detail)

    def _prepare_motor(self, fault: MotorUnplugged | BreakerCycling | TightMechanism) -> None:
        motor = self._motor(fault.motor)
        if isinstance(fault, TightMechanism):
            motor.friction_nm *= fault.factor
            self._note("friction_trend", fault.motor, (0.0, self._length_s), {"factor": fault.factor})
        elif isinstance(fault, MotorUnplugged):
            window = (fault.from_s, fault.to_s)
            self._switched.append(_Switched(motor=fault.motor, windows=(window,)))
            self._note("no_draw", fault.motor, window)
        else:
            period_s = fault.off_s + fault.on_s
            starts = [fault.from_s + n * period_s for n in range(fault.times)]
            windows = tuple((start_s, start_s + fault.off_s) for start_s in starts)
            self._switched.append(_Switched(motor=fault.motor, windows=windows))
            self._note(
                "breaker_cycling", fault.motor, (windows[0][0], windows[-1][1]), {"times": fault.times}
            )

    def _prepare_limit(self, fault: LimitDead | LimitEarly | LimitStray | LimitOverrun) -> None:
        if isinstance(fault, LimitOverrun):
            self._hoist.honours_limits = False
            self._driver.overruns_s = fault.driven_on_s
        elif isinstance(fault, LimitEarly):
            self._hoist.early, self._hoist.early_share = self._limit(fault.limit), fault.share
            self._early = fault
        elif isinstance(fault, LimitDead):
            window = (fault.from_s, self._length_s)
            self._switched.append(_Switched(dead=self._limit(fault.limit), windows=(window,)))
            self._note("limit_missed", fault.limit, window)
        else:
            self._switched.append(_Switched(stray=self._limit(fault.limit), windows=fault.windows))
            for window in fault.windows:
                self._note("limit_stray", fault.limit, window)

    def _note(
        self, kind: str, subject: str, window: Window, detail: Mapping[str, object] | None = None
    ) -> None:
        end_s = min(window[1], self._length_s)
        self.records.append(FaultRecord(kind, subject, window[0], end_s, dict(detail or {})))

    def _motor(self, name: str) -> Motor:
        if name not in self._motors:
            raise ValueError(f"no motor is named {name!r}; there are {', '.join(self._motors)}")
        return self._motors[name]

    def _limit(self, name: str) -> int:
        bits = {self._hoist.spec.low.name: LOWER, self._hoist.spec.high.name: UPPER}
        if name not in bits:
            raise ValueError(f"no limit is named {name!r}; there are {', '.join(bits)}")
        return bits[name]

"""Faults that load a motor or spoil how two share a shaft: something wound round it, a bad joint, a fight."""

import math
from collections.abc import Iterable, Mapping

from telemetry.simulator.electrics import Motor
from telemetry.simulator.faults import BadJoint, Dragging, Fault, FaultRecord, Fighting

__all__ = ["Burdens"]

_RUBS_PER_S = 3.0

Burden = Dragging | BadJoint | Fighting


class Burdens:
    """Applies the faults, and keeps a record of each. Raises ValueError for motors the robot lacks."""

    def __init__(self, faults: Iterable[Fault], motors: Mapping[str, Motor], length_s: float) -> None:
        self._motors = motors
        self._faults = [fault for fault in faults if isinstance(fault, Dragging | BadJoint | Fighting)]
        for fault in self._faults:
            if fault.motor not in motors:
                raise ValueError(f"no motor is named {fault.motor!r}; there are {', '.join(motors)}")
        self.records = [_record(fault, motors[fault.motor], length_s) for fault in self._faults]

    def look(self, now_s: float) -> None:
        """Let the faults of this moment act, once a control tick."""
        for fault in self._faults:
            motor = self._motors[fault.motor]
            if isinstance(fault, Dragging):
                motor.drag_nm_s = _drag_nm_s(fault, motor, now_s)
            elif now_s >= fault.from_s:
                if isinstance(fault, BadJoint):
                    motor.joint = fault.factor
                else:
                    motor.duty_factor, motor.tells = fault.duty_factor, fault.tells


def _drag_nm_s(fault: Dragging, motor: Motor, now_s: float) -> float:
    """The drag per rad/s under which a motor turns at the wanted share of its free speed, at any voltage."""
    if not fault.from_s <= now_s < fault.to_s:
        return 0.0
    own_nm_s = motor.constant**2 / motor.resistance
    rub = 1.0 + fault.rub * math.sin(2 * math.pi * _RUBS_PER_S * now_s)
    return own_nm_s * (1 / fault.speed_share - 1) * rub


def _record(fault: Burden, motor: Motor, length_s: float) -> FaultRecord:
    if isinstance(fault, Dragging):
        detail = {"speed_share": fault.speed_share}
        return FaultRecord("near_stall", fault.motor, fault.from_s, min(fault.to_s, length_s), detail)
    told: dict[str, object] = {"motor": fault.motor, "cause": "fighting"}
    if isinstance(fault, BadJoint):
        told = {"motor": fault.motor, "cause": "bad joint", "factor": fault.factor}
    return FaultRecord("load_share", motor.spec.mechanism, fault.from_s, length_s, told)

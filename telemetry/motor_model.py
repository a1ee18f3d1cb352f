"""A permanent-magnet direct-current motor by the numbers of its data sheet.

Steady state: voltage = current × resistance + k × speed, shaft torque = kt × (current − free current).
Closed forms as in any text on electrical machines (Fitzgerald, Kingsley, Umans, Electric Machinery). The
electrical time constant is left out: it is shorter than a log's sampling.
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np

from telemetry.copper import resistance_ratio
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.robot import Motor

__all__ = ["RAD_S_PER_RPM", "MotorModel"]

RAD_S_PER_RPM = 2 * math.pi / 60

Value = TypeVar("Value", float, FloatArray)


@dataclass(frozen=True)
class MotorModel:
    """The motor alone, at its own shaft, before any gear.

    Data-sheet numbers at `nominal_v`, the resistance as at `reference_c`; the voltage in every method is the
    one at the winding (command × supply). Currents are magnitudes in the direction of drive. Without a stall
    torque the torque constant is that of an ideal motor, equal to the back-EMF constant.
    """

    nominal_v: float
    free_speed_rpm: float
    free_current_a: float
    stall_current_a: float
    stall_torque_nm: float | None = None
    reference_c: float = 20.0

    def __post_init__(self) -> None:
        torque_nm = 1.0 if self.stall_torque_nm is None else self.stall_torque_nm
        if not (self.nominal_v > 0 and self.free_speed_rpm > 0 and torque_nm > 0):
            raise ValueError("nominal_v, free_speed_rpm and stall_torque_nm must be above 0")
        if not 0 <= self.free_current_a < self.stall_current_a:
            raise ValueError("free_current_a must be at least 0 and below stall_current_a")

    @classmethod
    def from_motor(cls, motor: Motor) -> MotorModel | None:
        """The model of a motor of the robot file, or None without its free speed or its stall current.

        A free current that is not told is taken as 0; None too where it is not below the stall current.
        """
        free_a = motor.free_current_a or 0.0
        if motor.free_speed_rpm is None or motor.stall_current_a is None or free_a >= motor.stall_current_a:
            return None
        return cls(
            motor.nominal_v, motor.free_speed_rpm, free_a, motor.stall_current_a, motor.stall_torque_nm
        )

    @property
    def resistance_ohm(self) -> float:
        """Winding resistance at `reference_c`: nominal voltage / stall current."""
        return self.nominal_v / self.stall_current_a

    @property
    def k_v_s_per_rad(self) -> float:
        """Back-EMF per shaft speed, from the free run: (V − I0·R) / ω0."""
        inner_v = self.nominal_v - self.free_current_a * self.resistance_ohm
        return inner_v / (self.free_speed_rpm * RAD_S_PER_RPM)

    @property
    def kt_nm_per_a(self) -> float:
        """Shaft torque per ampere above the free current, from the stall.

        In SI units the same number as `k_v_s_per_rad` for an ideal motor; data sheets differ by some percent.
        """
        if self.stall_torque_nm is None:
            return self.k_v_s_per_rad
        return self.stall_torque_nm / (self.stall_current_a - self.free_current_a)

    @property
    def max_power_w(self) -> float:
        """Most shaft power at the nominal voltage: half the free speed × half the stall torque."""
        stall_torque_nm = self.kt_nm_per_a * (self.stall_current_a - self.free_current_a)
        return self.free_speed_rpm * RAD_S_PER_RPM / 2 * stall_torque_nm / 2

    @property
    def max_power_current_a(self) -> float:
        """The current at that power: midway between free and stall current."""
        return (self.stall_current_a + self.free_current_a) / 2

    @property
    def max_efficiency(self) -> float:
        """Best efficiency at the nominal voltage, 0 to 1: (1 − √(I0/Is))².

        Taken with one torque constant for both sides of the motor (kt = k).
        """
        return (1 - math.sqrt(self.free_current_a / self.stall_current_a)) ** 2

    @property
    def max_efficiency_current_a(self) -> float:
        """The current at the best efficiency: √(I0·Is)."""
        return math.sqrt(self.free_current_a * self.stall_current_a)

    def resistance_at(self, temperature_c: float) -> float:
        """Winding resistance in ohm with the copper at a temperature (IEC 60028)."""
        return self.resistance_ohm * resistance_ratio(temperature_c, reference_c=self.reference_c)

    def back_emf_v(self, voltage_v: Value, current_a: Value, *, temperature_c: float | None = None) -> Value:
        """Voltage that the turning rotor makes: V − I·R."""
        return voltage_v - current_a * self._resistance(temperature_c)

    def speed_rad_s(self, voltage_v: Value, current_a: Value, *, temperature_c: float | None = None) -> Value:
        """Shaft speed from back-EMF: (V − I·R) / k. Below 0 where the numbers contradict each other."""
        return self.back_emf_v(voltage_v, current_a, temperature_c=temperature_c) / self.k_v_s_per_rad

    def free_speed_rad_s(self, voltage_v: Value) -> Value:
        """Speed without load: (V − I0·R) / k, 0 where the voltage cannot overcome its own friction."""
        inner_v = voltage_v - self.free_current_a * self.resistance_ohm
        speed: Value = np.maximum(inner_v, 0.0) / self.k_v_s_per_rad
        return speed

    def stall_current_at(self, voltage_v: Value, *, temperature_c: float | None = None) -> Value:
        """Steady current with the shaft held: V / R, less when hot."""
        return voltage_v / self._resistance(temperature_c)

    def torque_nm(self, current_a: Value) -> Value:
        """Shaft torque at a current: kt·(I − I0), 0 where the current does not exceed the free current."""
        torque: Value = np.maximum(current_a - self.free_current_a, 0.0) * self.kt_nm_per_a
        return torque

    def steady_current_a(self, torque_nm: Value) -> Value:
        """Current that a shaft torque takes, whatever the voltage: I0 + T / kt."""
        return self.free_current_a + torque_nm / self.kt_nm_per_a

    def steady_speed_rad_s(
        self, voltage_v: Value, torque_nm: Value, *, temperature_c: float | None = None
    ) -> Value:
        """Shaft speed under a torque at a voltage; below 0 where the load would turn the motor back."""
        return self.speed_rad_s(voltage_v, self.steady_current_a(torque_nm), temperature_c=temperature_c)

    def copper_loss_w(self, current_a: Value, *, temperature_c: float | None = None) -> Value:
        """Heat made in the winding: I²·R."""
        return current_a * current_a * self._resistance(temperature_c)

    def _resistance(self, temperature_c: float | None) -> float:
        return self.resistance_ohm if temperature_c is None else self.resistance_at(temperature_c)

"""Each motor's current: in the winding and out of the battery, whichever of the two was logged."""

from __future__ import annotations

import numpy as np

from telemetry.log import FloatArray
from telemetry.motor_model import MotorModel
from telemetry.robot import Motor
from telemetry.wording import counted

__all__ = ["believable_a", "motoring_sign", "supply_side_a", "winding_a"]

_LEAST_DUTY = 0.05
_MOST_OF_STALL = 2.6
_MOSTLY_BEYOND = 0.2
_SOME_OF_STALL = 0.02
_LEAST_SIGNED = 20
_CLEAR_MAJORITY = 0.65
_NOTABLE_SHARE = 0.05


def believable_a(name: str, logged_a: FloatArray, motor: Motor) -> tuple[FloatArray, tuple[str, ...]]:
    """The current with readings beyond what the motor can draw replaced by the one before; and what to say.

    Even braked at full duty from full speed a motor draws twice its stall current. Where that is passed all
    the time, the unit or the data sheet is wrong, and nothing is replaced.
    """
    if motor.stall_current_a is None or not len(logged_a):
        return logged_a, ()
    beyond = np.abs(logged_a) > _MOST_OF_STALL * motor.stall_current_a
    number = int(np.count_nonzero(beyond))
    if number == 0:
        return logged_a, ()
    if number > _MOSTLY_BEYOND * np.count_nonzero(np.abs(logged_a) > _SOME_OF_STALL * motor.stall_current_a):
        return logged_a, (
            f"The current of motor {name} goes far beyond its stall current: look at its channel's unit.",
        )
    last = np.maximum.accumulate(np.where(beyond, -1, np.arange(len(logged_a))))
    kept = np.where(last >= 0, logged_a[np.maximum(last, 0)], 0.0)
    said = counted(number, "reading")
    return kept, (f"Left out: {said} of motor {name}'s current beyond what it can draw.",)


def motoring_sign(logged_a: FloatArray, drive: FloatArray, motor: Motor) -> FloatArray:
    """-1 where the log's own signs say that a driven motor gives energy back, else 1, shape (n,).

    `drive` is the command, or where none is logged the speed, with its sign. The sign of a current is not
    relied on: it counts only where it plainly goes with the drive (or, for a current of the supply side, is
    plainly of one sign) and is the other way for the rest.
    """
    driven = np.abs(np.nan_to_num(drive)) > _LEAST_DUTY
    product = logged_a if motor.current_side == "supply" else logged_a * np.sign(np.nan_to_num(drive))
    floor = _NOTABLE_SHARE * float(np.abs(logged_a).max(initial=0.0))
    heavy = product[driven & (np.abs(logged_a) > floor)]
    if len(heavy) < _LEAST_SIGNED:
        return np.ones(len(logged_a))
    forwards = float((heavy > 0).mean())
    if 1 - _CLEAR_MAJORITY < forwards < _CLEAR_MAJORITY:
        return np.ones(len(logged_a))
    usual = 1.0 if forwards > 0.5 else -1.0
    gives_back = driven & (usual * product < 0) & (np.abs(logged_a) > floor)
    return np.where(gives_back, -1.0, 1.0)


def winding_a(
    current_a: FloatArray,
    command: FloatArray,
    motor: Motor,
    *,
    voltage_v: FloatArray,
    model: MotorModel | None,
    speed_rad_s: FloatArray | None,
) -> FloatArray:
    """Winding current without sign, shape (n,), from the logged one without sign.

    A current of the supply side is the winding's times |duty|. Where the duty is not logged, or next to none,
    the speed tells it: V·I_supply = (I·R + k·ω)·I. Without either the logged current stands for it.
    """
    if motor.current_side == "winding":
        return current_a
    duty = np.abs(command)
    by_duty = current_a / np.maximum(np.nan_to_num(duty, nan=1.0), _LEAST_DUTY)
    told = np.where(np.nan_to_num(duty) > _LEAST_DUTY, by_duty, current_a)
    if model is None or speed_rad_s is None or np.isfinite(duty).any():
        return told
    back_emf_v = model.k_v_s_per_rad * np.abs(speed_rad_s)
    power_w = voltage_v * current_a
    root_v = np.sqrt(back_emf_v**2 + 4 * model.resistance_ohm * power_w)
    return np.asarray((root_v - back_emf_v) / (2 * model.resistance_ohm))


def supply_side_a(
    logged_a: FloatArray, current_a: FloatArray, duty: FloatArray, motoring: FloatArray, motor: Motor
) -> FloatArray:
    """What it takes out of the battery, negative where it gives back, shape (n,); NaN where the duty is."""
    if motor.current_side == "supply":
        return motoring * np.abs(logged_a)
    return motoring * current_a * duty

"""What a motor's heat is told from, and between what it lies where its logged current leaves that open."""

from __future__ import annotations

import numpy as np

from telemetry.estimators.heat import heat_level
from telemetry.estimators.speeds import Drive
from telemetry.estimators.unseen_braking import unseen_braking
from telemetry.log import FloatArray
from telemetry.motor_model import MotorModel
from telemetry.robot import Motor

__all__ = ["NO_RANGE", "heat_doubt", "heat_told_by", "in_rests", "widened", "widest_range"]

NO_RANGE = (np.empty(0), np.empty(0))
"""Of a heat that is told as it is."""

_NOTABLE_HEAT = 0.01
_WHY = {
    "supply current alone": "only its supply-side current is logged, without command or speed.",
    "supply current and command": "its current is logged on the supply side, where braking without duty does "
    "not show, and no speed is.",
    "supply current and speed": "its current is logged on the supply side without its command, and its stops "
    "do not tell whether it brakes in them.",
}


def heat_told_by(motor: Motor, *, commanded: bool, turning: bool) -> str:
    """What a motor's heat is worked out from; `turning` says whether its speed is logged."""
    if motor.current_side == "winding":
        return "winding current"
    if commanded:
        return "supply current and command"
    return "supply current and speed" if turning else "supply current alone"


def in_rests(
    t_s: FloatArray,
    drive: Drive,
    speed_rad_s: FloatArray,
    motor: Motor,
    model: MotorModel,
    heat: FloatArray,
    initial_heat: float,
) -> tuple[FloatArray, tuple[FloatArray, FloatArray]]:
    """The winding's current where no speed tells whether a motor brakes without duty, and the heat's range.

    All (n,); `heat` is the level if it does not. The range is empty where the starts after its rests tell, or
    where it makes no difference worth telling.
    """
    unseen = unseen_braking(
        t_s, drive.current_a, drive.command, speed_rad_s, motoring=drive.motoring,
        resistance_ohm=drive.resistance_ohm, k_v_s_per_rad=model.k_v_s_per_rad,
    )  # fmt: skip
    if unseen is None or unseen.brakes is False:
        return drive.current_a, NO_RANGE
    if unseen.brakes:
        return unseen.most_a, NO_RANGE
    most = heat_level(t_s, unseen.most_a, motor, initial=initial_heat)
    open_ = np.isfinite(heat).all() and float((most - heat).max(initial=0.0)) > _NOTABLE_HEAT
    return drive.current_a, (heat, most) if open_ else NO_RANGE


def widest_range(
    t_s: FloatArray,
    logged_a: FloatArray,
    motor: Motor,
    model: MotorModel | None,
    *,
    voltage_v: FloatArray,
    motoring: FloatArray,
    initial_heat: float,
) -> tuple[FloatArray, FloatArray]:
    """The heat's range by a supply-side current alone, given without sign; each (n,).

    At full duty the winding carries no more than that. At standstill all that is drawn heats it, by
    I² = V·I / R; no brake can add to it, since what it turns into heat was drawn before. Empty without a data
    sheet.
    """
    least = heat_level(t_s, logged_a, motor, initial=initial_heat)
    if model is None or not np.isfinite(least).all():
        return NO_RANGE
    drawn_w = np.where(motoring > 0, logged_a * voltage_v, 0.0)
    most_a = np.maximum(np.sqrt(drawn_w / model.resistance_ohm), logged_a)
    return least, heat_level(t_s, most_a, motor, initial=initial_heat)


def widened(
    heat: FloatArray, heat_range: tuple[FloatArray, FloatArray], off: FloatArray | None
) -> tuple[FloatArray, FloatArray]:
    """A heat's range, each (n,), widened by as much as it may be off besides; as it is where that is None."""
    if off is None:
        return heat_range
    low, high = heat_range if len(heat_range[0]) else (heat, heat)
    return np.maximum(low - off, 0.0), high + off


def heat_doubt(
    name: str,
    source: str,
    heat: FloatArray,
    heat_range: tuple[FloatArray, FloatArray],
    seldom: FloatArray | None,
) -> tuple[str, ...]:
    """What must be said where a current does not tell all that flows in the winding."""
    if len(heat_range[0]) or seldom is not None:
        low, high = (float(one.max()) for one in widened(heat, heat_range, seldom))
        why = (
            _WHY[source] if len(heat_range[0]) else "it was read too seldom for how fast its current changes."
        )
        return (f"The heat of motor {name} lies between {low:.2f} and {high:.2f}: {why}",)
    if source == "supply current and speed" and np.isfinite(heat).any():
        return (
            f"The heat of motor {name}, {np.nanmax(heat):.2f}, is worked out by its speed: its current "
            "is logged on the supply side without its command, and how it slows down tells when it brakes.",
        )
    return ()

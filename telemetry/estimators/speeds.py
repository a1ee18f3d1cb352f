"""Each motor's shaft speed, from its channel or from back-EMF, and whether the two agree."""

from __future__ import annotations

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray
from telemetry.motor_model import RAD_S_PER_RPM, MotorModel
from telemetry.robot import Motor

__all__ = ["Drive", "Speed", "shaft_speed"]

_LEAST_DUTY = 0.25
_LEAST_BACK_EMF_SHARE = 0.25
_STEADY_DUTY = 0.03
_LEAST_SAMPLES = 10
_AGREES = (0.75, 1.33)
_NEARLY = 0.2
_SPREAD = 0.25
_DEAD, _FITS = 0.03, 0.1
_LEAST_DRAWN = 0.005
_PLAINLY = 1.6
_AGAINST = 0.25
_BRAKED = 1.15
_FED = 0.02


@dataclass(frozen=True, eq=False)
class Drive:
    """What drives a motor at each instant; arrays have shape (n,).

    `command` is the duty with its sign (NaN where unknown), `current_a` the winding current without sign,
    `resistance_ohm` the winding's as hot as it is (NaN where unknown), `motoring` -1 where the log's own
    signs say that it gives energy back, else 1.
    """

    command: FloatArray
    voltage_v: FloatArray
    current_a: FloatArray
    resistance_ohm: FloatArray
    motoring: FloatArray

    @property
    def applied_v(self) -> FloatArray:
        """Voltage at the winding without sign; NaN without a command."""
        return np.abs(self.command) * self.voltage_v


@dataclass(frozen=True, eq=False)
class Speed:
    """Shaft speed along the drive in rad/s, shape (n,), what told it, and what is odd about its channel."""

    rad_s: FloatArray
    source: str
    notes: tuple[str, ...] = ()


def shaft_speed(
    name: str, motor: Motor, model: MotorModel | None, drive: Drive, logged: FloatArray | None
) -> Speed:
    """The speed of one motor. `logged` is its channel in rad/s with its sign, shape (n,), or None.

    Where the channel says nothing, back-EMF does. A channel that differs from back-EMF by a factor known from
    elsewhere (rpm for rad/s, the output's speed for the motor's) is set right; one that differs otherwise, or
    that stands still while the motor turns, is left aside. Either is said in a note; so is a channel that
    counts backwards.
    """
    if logged is None or not np.isfinite(logged).any():
        return _from_back_emf(model, drive)
    if model is None:
        return Speed(np.abs(logged), "channel")
    if not np.isfinite(drive.command).any():
        return Speed(np.abs(logged), "channel", _beyond(name, motor, np.abs(logged)))
    steady = _steady(model, drive) & np.isfinite(logged)
    factor, notes = _scale(name, motor, model, drive, np.abs(logged), steady)
    if factor is None:
        return Speed(_from_back_emf(model, drive).rad_s, "back-EMF", notes)
    sense, turned = _sense(logged, drive, steady)
    if turned:
        notes = (*notes, f"The speed of motor {name} is logged with the opposite sign to its command.")
    along = _along(np.abs(logged) * factor, sense, drive)
    return Speed(np.where(np.isfinite(along), along, _from_back_emf(model, drive).rad_s), "channel", notes)


def _from_back_emf(model: MotorModel | None, drive: Drive) -> Speed:
    """(V − I·R) / k while it is driven; I·R / k while it is braked without duty, 0 while it coasts."""
    if model is None or not np.isfinite(drive.command).any():
        return Speed(np.full(len(drive.command), np.nan), "none")
    drop_v = drive.current_a * drive.resistance_ohm
    fed = np.abs(drive.command) > _FED
    back_emf_v = np.where(fed, drive.applied_v - drive.motoring * drop_v, drop_v)
    return Speed(back_emf_v / model.k_v_s_per_rad, "back-EMF")


def _steady(model: MotorModel, drive: Drive) -> BoolArray:
    """Where back-EMF tells the speed well: driven evenly, forwards, and turning."""
    duty = np.abs(drive.command)
    even = np.abs(np.diff(drive.command, prepend=drive.command[:1])) < _STEADY_DUTY
    back_emf_v = drive.applied_v - drive.current_a * drive.resistance_ohm
    turning = back_emf_v > _LEAST_BACK_EMF_SHARE * np.maximum(drive.applied_v, 0.1 * model.nominal_v)
    draws = drive.current_a >= np.maximum(model.free_current_a, _LEAST_DRAWN * model.stall_current_a)
    return np.asarray(even & (duty >= _LEAST_DUTY) & turning & draws & (drive.motoring > 0))


def _scale(
    name: str, motor: Motor, model: MotorModel, drive: Drive, magnitude: FloatArray, steady: BoolArray
) -> tuple[float | None, tuple[str, ...]]:
    """What the channel must be multiplied by; None where it cannot be believed at all. And what to say."""
    if np.count_nonzero(steady) < _LEAST_SAMPLES:
        return 1.0, ()
    back_emf_v = (drive.applied_v - drive.current_a * drive.resistance_ohm)[steady]
    ratio = magnitude[steady] * model.k_v_s_per_rad / back_emf_v
    middle = float(np.median(ratio))
    if any(_AGREES[0] <= one <= _AGREES[1] for one in (middle, _cold(model, drive, magnitude, steady))):
        return 1.0, ()
    if _dragged(model, drive, magnitude, steady):
        return 1.0, ()
    if middle < _DEAD and not _plainly_draws(model, drive, steady):
        return 1.0, ()
    spread = float(np.median(np.abs(ratio / middle - 1))) if middle > 0 else np.inf
    for factor, words in _known_factors(motor):
        if spread <= _SPREAD and abs(middle * factor - 1) <= _NEARLY:
            return factor, (f"The speed of motor {name} {words}: it is taken {factor:.4g} times as logged.",)
    if middle < _DEAD:
        return None, (
            f"The speed of motor {name} reads nearly nothing while its current says that it turns: "
            "its speed is taken from back-EMF instead.",
        )
    return None, (
        f"The speed of motor {name} reads {middle:.2g} times what its voltage, current and data sheet "
        "say: its speed is taken from back-EMF instead.",
    )


def _cold(model: MotorModel, drive: Drive, magnitude: FloatArray, steady: BoolArray) -> float:
    """The ratio if the winding were cold: where its limits are too low, it is thought hotter than it is."""
    back_emf_v = (drive.applied_v - drive.current_a * model.resistance_ohm)[steady]
    return float(np.median(magnitude[steady] * model.k_v_s_per_rad / back_emf_v))


def _dragged(model: MotorModel, drive: Drive, magnitude: FloatArray, steady: BoolArray) -> bool:
    """Whether the channel fits a motor turned faster than its voltage asks: V + I·R instead of V − I·R."""
    backwards_v = (drive.applied_v + drive.current_a * drive.resistance_ohm)[steady]
    ratio = magnitude[steady] * model.k_v_s_per_rad / backwards_v
    return float(np.median(np.abs(ratio - 1))) < _FITS


def _plainly_draws(model: MotorModel, drive: Drive, steady: BoolArray) -> bool:
    """Whether there is a load rather than the noise of a motor without current."""
    return float(np.median(drive.current_a[steady])) > _PLAINLY * model.free_current_a


def _known_factors(motor: Motor) -> list[tuple[float, str]]:
    """Factors by which a speed channel is commonly wrong, and how to say so."""
    per_s = "fits rpm where rad/s is written", "fits rad/s where rpm is written"
    factors = [(RAD_S_PER_RPM, per_s[0]), (1 / RAD_S_PER_RPM, per_s[1])]
    if motor.reduction != 1.0:
        output = "fits the output shaft, not the motor's"
        factors += [
            (motor.reduction, output),
            (motor.reduction * RAD_S_PER_RPM, f"{output}, and {per_s[0]}"),
            (motor.reduction / RAD_S_PER_RPM, f"{output}, and {per_s[1]}"),
        ]
    return [*factors, (60.0, "fits turns per second, not per minute")]


def _beyond(name: str, motor: Motor, magnitude: FloatArray) -> tuple[str, ...]:
    """Without a command only a speed beyond the data sheet's can be told from a true one."""
    fastest = float(np.nanpercentile(magnitude, 98))
    if motor.free_speed_rpm is None or fastest <= 2.0 * motor.free_speed_rpm * RAD_S_PER_RPM:
        return ()
    return (f"The speed of motor {name} goes far beyond its free speed: look at the unit of its channel.",)


def _sense(logged: FloatArray, drive: Drive, steady: BoolArray) -> tuple[FloatArray | None, bool]:
    """+1 where it turns with its command, -1 against it; None where the channel has no sign of its own.

    And whether the channel's sign is the opposite of the command's.
    """
    command_signs = np.sign(drive.command[steady])
    if not len(command_signs) or (not (logged < 0).any() and (command_signs < 0).any()):
        return None, False
    agreeing = float((np.sign(logged[steady]) == command_signs).mean())
    if _AGAINST < agreeing < 1 - _AGAINST:
        return None, False
    sense = np.sign(logged) * np.sign(drive.command)
    return (sense, False) if agreeing > 0.5 else (-sense, True)


def _along(magnitude: FloatArray, sense: FloatArray | None, drive: Drive) -> FloatArray:
    """Negative while the drive brakes the rotation: by the sign, else by more current than a stall takes."""
    if sense is None:
        most_v = _BRAKED * drive.applied_v
        against = (drive.current_a * drive.resistance_ohm > most_v) & (drive.motoring > 0)
    else:
        against = sense < 0
    fed = np.abs(drive.command) > _FED
    return np.where(against & fed, -magnitude, magnitude)

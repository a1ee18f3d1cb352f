"""Each motor's current: in the winding and out of the battery, whichever of the two was logged."""

from __future__ import annotations

import numpy as np

from telemetry.estimators.unseen_duty import winding_by_speed_a
from telemetry.log import BoolArray, FloatArray
from telemetry.motor_model import MotorModel
from telemetry.robot import Motor
from telemetry.signals import filled, runs
from telemetry.wording import counted

__all__ = ["believable_a", "motoring_sign", "supply_side_a", "winding_a"]

_LEAST_DUTY = 0.05
_MOST_OF_STALL = 2.6
_MOSTLY_BEYOND = 0.2
_SOME_OF_STALL = 0.02
_LEAST_SIGNED = 20
_CLEAR_MAJORITY, _NEARLY_ALWAYS = 0.65, 0.9
_LEAST_SHARE, _NOTABLE_SHARE = 0.005, 0.05
_PLAIN_TIMES, _LEAST_BACK = 2.0, 3
_NOISE_TIMES = 3.0
_RESTS_BELOW = 0.02
_RESTED_S, _STARTS_FOR_S = 0.3, 0.15
_LEAST_STARTS = 3
_BRAKES_FOR_S = 0.2
"""Time constant of a drive brought to rest by its own shorted windings (our choice)."""


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


def motoring_sign(t_s: FloatArray, logged_a: FloatArray, drive: FloatArray, motor: Motor) -> FloatArray:
    """-1 where the log's own signs say that a driven motor gives energy back, else 1, shape (n,).

    `drive` is the command, or where none is logged the speed, with its sign. The sign of a current is not
    relied on: it counts only where it plainly goes with the drive (or, for a current of the supply side,
    either that or is plainly of one sign) as a motor starts from rest, when it cannot but be driven; with too
    few starts, in most of its work. It is the other way for the rest. Of currents no greater than the noise
    at rest nothing is said.
    """
    driven = np.abs(drive) > _LEAST_DUTY
    floor = _noticeable_a(logged_a, driven)
    heavy = driven & (np.abs(logged_a) > floor)
    if not _has_sign(logged_a, floor) or np.count_nonzero(heavy) < _LEAST_SIGNED:
        return np.ones(len(logged_a))
    along = logged_a * np.sign(filled(drive))
    conventions = [along, logged_a] if motor.current_side == "supply" else [along]
    starts = _starts(t_s, driven)
    agreeing = [_agreeing(product, heavy, starts) for product in conventions]
    clearest = max(range(len(conventions)), key=lambda place: abs(agreeing[place] - 0.5))
    if abs(agreeing[clearest] - 0.5) < _CLEAR_MAJORITY - 0.5:
        return np.ones(len(logged_a))
    usual = 1.0 if agreeing[clearest] > 0.5 else -1.0
    return np.where(heavy & (usual * conventions[clearest] < 0), -1.0, 1.0)


def _has_sign(logged_a: FloatArray, floor: float) -> bool:
    """Whether it goes both ways by more than an amount without sign may, which noise takes below 0 too."""
    least_a = _PLAIN_TIMES * floor
    below, above = np.count_nonzero(logged_a < -least_a), np.count_nonzero(logged_a > least_a)
    return min(int(below), int(above)) >= _LEAST_BACK


def _noticeable_a(logged_a: FloatArray, driven: BoolArray) -> float:
    """A current from which its sign is more than noise: by what is read at rest, within bounds."""
    peak_a = float(np.abs(logged_a).max(initial=0.0))
    resting = np.abs(logged_a[~driven])
    noise_a = _NOISE_TIMES * float(np.percentile(resting, 75)) if len(resting) >= _LEAST_SIGNED else np.inf
    return float(np.clip(noise_a, _LEAST_SHARE * peak_a, _NOTABLE_SHARE * peak_a))


def _starts(t_s: FloatArray, driven: BoolArray) -> list[slice]:
    """The first moments of every drive that began at rest."""
    first, last = runs(driven)
    rested = np.ones(len(first), dtype=bool)
    rested[1:] = t_s[first[1:]] - t_s[last[:-1] - 1] >= _RESTED_S
    ends = np.minimum(np.maximum(np.searchsorted(t_s, t_s[first] + _STARTS_FOR_S), first + 1), last)
    return [slice(int(a), int(b)) for a, b in zip(first[rested], ends[rested], strict=True) if a > 0]


def _agreeing(product: FloatArray, heavy: BoolArray, starts: list[slice]) -> float:
    """How often a current goes with its drive: at large if nearly always, else in starts if there are enough.

    No motor gives back nearly all the time. Where it goes one way in the first starts and the other way in
    all later ones, the first count: from then on something turned it about.
    """
    at_large = float((product[heavy] > 0).mean())
    if abs(at_large - 0.5) > _NEARLY_ALWAYS - 0.5:
        return at_large
    pushes = np.array([float((product[start] * heavy[start]).sum()) for start in starts])
    pushes = pushes[pushes != 0] > 0
    if len(pushes) >= _LEAST_STARTS:
        changes = np.flatnonzero(pushes[1:] != pushes[:-1])
        if len(changes) == 1 and changes[0] >= 1:
            return float(pushes[0])
        return float(pushes.mean())
    return at_large


def winding_a(
    t_s: FloatArray,
    current_a: FloatArray,
    command: FloatArray,
    motor: Motor,
    *,
    motoring: FloatArray,
    voltage_v: FloatArray,
    model: MotorModel | None,
    resistance_ohm: FloatArray,
    speed_rad_s: FloatArray | None,
) -> tuple[FloatArray, FloatArray]:
    """Winding current without sign from the logged one without sign, the least and the most, each (n,).

    A current of the supply side is the winding's times |duty|. Where no duty is logged the speed tells:
    V·I_supply = (I·R + k·ω)·I, and how it changes which of the currents that fulfil this it is. Without
    either the logged current stands for it. Both are one array wherever it is told.
    """
    if motor.current_side == "winding":
        return current_a, current_a
    duty = filled(np.abs(command))
    told = np.where(duty > _LEAST_DUTY, current_a / np.maximum(duty, _LEAST_DUTY), current_a)
    if np.isfinite(command).any():
        told = _braking_on(t_s, told, duty, motoring)
        return told, told
    known = np.isfinite(speed_rad_s) if speed_rad_s is not None else np.zeros(len(t_s), dtype=bool)
    if model is None or speed_rad_s is None or not known.any():
        return told, told
    speed_rad_s = np.interp(t_s, t_s[known], speed_rad_s[known])
    noise_a = _noise_at_rest_a(current_a, np.abs(speed_rad_s), model)
    drawn_a = motoring * np.where(current_a > noise_a, current_a, 0.0)
    return winding_by_speed_a(
        t_s, drawn_a, speed_rad_s,
        voltage_v=voltage_v, resistance_ohm=resistance_ohm, k_v_s_per_rad=model.k_v_s_per_rad,
    )  # fmt: skip


def _noise_at_rest_a(current_a: FloatArray, speed_rad_s: FloatArray, model: MotorModel) -> float:
    """Below this a supply-side current is nothing: at rest its root would make amperes of its noise."""
    resting = current_a[speed_rad_s < _RESTS_BELOW * float(speed_rad_s.max(initial=0.0))]
    noise_a = _NOISE_TIMES * float(np.percentile(resting, 75)) if len(resting) >= _LEAST_SIGNED else 0.0
    return min(noise_a, _SOME_OF_STALL * model.stall_current_a)


def _braking_on(t_s: FloatArray, current_a: FloatArray, duty: FloatArray, motoring: FloatArray) -> FloatArray:
    """A braking current carried on, dying away, once the duty is so low that the supply side sees none.

    Only where it was seen to brake until then; a motor whose duty ends at once may brake or coast.
    """
    last = np.maximum.accumulate(np.where(duty > _LEAST_DUTY, np.arange(len(duty)), -1))
    seen = np.maximum(last, 0)
    braked = (duty <= _LEAST_DUTY) & (last >= 0) & (motoring[seen] < 0)
    carried_a = current_a[seen] * np.exp(-(t_s - t_s[seen]) / _BRAKES_FOR_S)
    return np.where(braked, np.maximum(current_a, carried_a), current_a)


def supply_side_a(
    logged_a: FloatArray, current_a: FloatArray, duty: FloatArray, motoring: FloatArray, motor: Motor
) -> FloatArray:
    """What it takes out of the battery, negative where it gives back, shape (n,); NaN where the duty is."""
    if motor.current_side == "supply":
        return motoring * np.abs(logged_a)
    return motoring * current_a * duty

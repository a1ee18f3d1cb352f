"""What flows in a winding without duty where neither its current nor its speed is logged there.

Where a supply-side current and a command are logged, back-EMF tells the speed while there is a duty, and so
how the rotor answers a current (`rotors.py`). In a rest a shorted winding slows it by a time constant, an
open one by its load alone, and the speed at which the next drive meets it tells which of the two it was.
"""

from __future__ import annotations

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.rotors import Rotor, changes, rotor_by_work, run_down
from telemetry.log import BoolArray, FloatArray
from telemetry.signals import filled, period_s, runs

__all__ = ["UnseenBraking", "unseen_braking"]

_NO_DUTY, _DRIVEN = 0.05, 0.2
_MOVES, _TURNS = 0.05, 0.1
_APART, _NEAR = 0.3, 0.15
_LEAST_RESTS, _MOSTLY = 2, 0.75
_PARTS = 8
_SLOW_PERIODS = 2.0
"""A motor that comes to speed within two readings may be met on its way up: nothing is told of it."""


@dataclass(frozen=True, eq=False)
class UnseenBraking:
    """The most winding current, shape (n,), and whether the motor brakes without duty (None: not told)."""

    most_a: FloatArray
    brakes: bool | None


def unseen_braking(
    t_s: FloatArray,
    current_a: FloatArray,
    command: FloatArray,
    speed_rad_s: FloatArray,
    *,
    motoring: FloatArray,
    resistance_ohm: FloatArray,
    k_v_s_per_rad: float,
) -> UnseenBraking | None:
    """What a motor may carry in its rests; None where its drives do not tell how it answers a current.

    All (n,): winding current without sign, duty with its sign, back-EMF speed along the duty; `motoring` is
    -1 where it gives energy back.
    """
    duty = filled(command)
    fed = np.abs(duty) > _NO_DUTY
    along_a, turns = motoring * current_a, filled(speed_rad_s)
    fastest = float(np.percentile(np.abs(turns), 98)) if len(turns) else 0.0
    starts = fed & np.append(fed[1:], False) & (motoring > 0) & (turns > _MOVES * fastest)
    rotor = rotor_by_work(
        t_s, along_a, turns, changes(t_s, turns)[0], starts,
        fed=fed & (motoring > 0), k_v_s_per_rad=k_v_s_per_rad,
    )  # fmt: skip
    if rotor is None:
        return None
    constant_s = float(np.median(resistance_ohm)) / (k_v_s_per_rad * rotor.gain)
    braked_a = k_v_s_per_rad * _runs_down(t_s, turns, fed, constant_s, rotor) / resistance_ohm
    rests = _rests(t_s, fed)
    return UnseenBraking(
        most_a=np.where(fed, current_a, np.maximum(current_a, braked_a)),
        brakes=_brakes(t_s, duty, turns, rests, constant_s, rotor, current_a, fastest)
        if constant_s >= _SLOW_PERIODS * period_s(t_s)
        else None,
    )


def _runs_down(
    t_s: FloatArray, turns: FloatArray, fed: BoolArray, constant_s: float, rotor: Rotor
) -> FloatArray:
    """The speed without sign of a winding shorted since the last duty, shape (n,).

    A duty is thought to have ended halfway to the first reading without it. Each value is the root mean
    square of the time for which its reading stands, in which it may come from full speed to rest.
    """
    last = np.maximum.accumulate(np.where(fed, np.arange(len(t_s)), -1))
    half_s = period_s(t_s) / 2
    began = np.where(last >= 0, np.abs(turns[np.maximum(last, 0)]), 0.0)
    since_s = np.maximum(t_s - t_s[np.maximum(last, 0)] - half_s, half_s)
    parts = (np.arange(_PARTS) + 0.5) / _PARTS * 2 - 1
    speeds = [
        run_down(began, since_s + part * half_s, constant_s, rotor, braked=True) for part in parts.tolist()
    ]
    return np.asarray(np.sqrt(np.mean(np.square(speeds), axis=0)))


def _rests(t_s: FloatArray, fed: BoolArray) -> list[tuple[int, int]]:
    """Last sample with duty before each rest, and first behind it."""
    first, last = runs(~fed)
    spans = zip(first.tolist(), last.tolist(), strict=True)
    return [(start - 1, end) for start, end in spans if start > 0 and end < len(t_s)]


def _brakes(
    t_s: FloatArray,
    duty: FloatArray,
    turns: FloatArray,
    rests: list[tuple[int, int]],
    constant_s: float,
    rotor: Rotor,
    current_a: FloatArray,
    fastest: float,
) -> bool | None:
    """Whether drives meet it as a shorted winding would have left it; None where too few rests tell."""
    told: list[bool] = []
    for before, end in rests:
        at = end + int(np.argmax(np.abs(duty[end : end + 3]) >= _DRIVEN))
        if turns[before] < _TURNS * fastest or abs(duty[at]) < _DRIVEN:
            continue
        way, rest_s = float(np.sign(duty[at] * duty[before])), float(t_s[at] - t_s[before])
        seen = slice(at, at + 3)
        gained = rotor.gain * np.cumsum(current_a[seen]) * period_s(t_s)
        met = way * float(np.median(turns[seen] - gained))
        shorted, opened = (
            float(run_down(turns[[before]], np.array([rest_s]), constant_s, rotor, braked=braked)[0])
            for braked in (True, False)
        )
        began = float(turns[before])
        if met - shorted > _APART * began:
            told.append(False)
        elif opened - shorted > _APART * began and abs(met - shorted) < _NEAR * began:
            told.append(True)
    if len(told) < _LEAST_RESTS:
        return None
    share = float(np.mean(told))
    return True if share >= _MOSTLY else False if share <= 1 - _MOSTLY else None

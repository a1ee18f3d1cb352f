"""What flows in a winding that brakes without duty, where the current is measured before the controller.

A controller that is asked for nothing either shorts the winding, which brakes it, or leaves it open, and the
motor coasts. On the supply side neither shows. But a short brings a motor to rest about as fast as it came to
speed, by the same time constant, and friction alone does not.
"""

from __future__ import annotations

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.rotors import changes, inertia_by_work
from telemetry.log import BoolArray, FloatArray
from telemetry.motor_model import MotorModel
from telemetry.signals import filled, period_s, runs

__all__ = ["brakes_at_rest", "with_brakes"]

_NO_DUTY, _DRIVEN = 0.05, 0.2
_LEAST_STOPS = 3
_WAITS_S = 2.0
_MOSTLY = 0.5
_STEADY, _STEADY_S = 0.05, 0.1
_FALLEN, _RISEN = 0.37, 0.63
"""After one time constant an exponential has fallen to 37 %, or risen to 63 % of where it leads."""
_AS_FAST, _APART = 1.6, 1.4
_FAST, _AT_REST = 0.2, 0.1
"""Of the highest speed: what counts as turning; of the speed reached: as resting before."""


def with_brakes(
    t_s: FloatArray,
    current_a: FloatArray,
    command: FloatArray,
    speed_rad_s: FloatArray,
    *,
    voltage_v: FloatArray,
    resistance_ohm: FloatArray,
    model: MotorModel,
) -> FloatArray:
    """The winding current, where the duty is next to nothing from the speed: |k·ω − d·V| / R. All (n,).

    Only for a motor that brakes then; otherwise as it was. `speed_rad_s` is the shaft's without sign.
    """
    duty = np.abs(filled(command))
    quiet = duty <= _NO_DUTY
    turns = np.abs(filled(speed_rad_s))
    ohm = float(np.median(resistance_ohm))
    shaft = _shaft(t_s, current_a, duty, turns, ohm, model.k_v_s_per_rad)
    if not brakes_at_rest(t_s, command, speed_rad_s) or (shaft and not _slows_so(t_s, duty, turns, shaft)):
        return current_a
    braked_a = np.abs(model.k_v_s_per_rad * turns - duty * voltage_v) / resistance_ohm
    return np.where(quiet, np.maximum(braked_a, current_a), current_a)


@dataclass(frozen=True)
class _Shaft:
    """kg·m² and the amperes of a steady load, with the winding's ohm and k."""

    inertia: float
    load_a: float
    ohm: float
    k_v_s_per_rad: float

    def shorted_s(self, turns: float) -> float:
        """How long a shorted winding and its load together take to bring it to 37 % of a speed."""
        constant_s = self.inertia * self.ohm / self.k_v_s_per_rad**2
        floor = self.load_a * self.ohm / self.k_v_s_per_rad
        return constant_s * float(np.log((turns + floor) / (_FALLEN * turns + floor)))

    def opened_s(self, turns: float) -> float:
        """How long its load alone takes to bring it to 37 % of a speed."""
        return (1 - _FALLEN) * turns * self.inertia / (self.k_v_s_per_rad * self.load_a)


def _shaft(
    t_s: FloatArray,
    current_a: FloatArray,
    duty: FloatArray,
    turns: FloatArray,
    ohm: float,
    k_v_s_per_rad: float,
) -> _Shaft | None:
    """Its inertia by the work of its starts, its load by the current of steady drives; None without them."""
    steady = (duty >= _DRIVEN) & (np.abs(changes(t_s, turns)[0]) * _STEADY_S < _STEADY * turns)
    load_a = float(np.median(current_a[steady])) if steady.any() else 0.0
    gaining_nm = k_v_s_per_rad * np.maximum(current_a - load_a, 0.0)
    inertia = inertia_by_work(t_s, gaining_nm, turns, duty > _NO_DUTY)
    told = load_a > 0 and np.isfinite(inertia)
    return _Shaft(inertia, load_a, ohm, k_v_s_per_rad) if told else None


def _slows_so(t_s: FloatArray, duty: FloatArray, turns: FloatArray, shaft: _Shaft) -> bool:
    """Whether its stops last as long as a shorted winding makes them, rather than as its load alone does.

    True where the two would hardly differ, or where no stop tells.
    """
    falls = [fall_s for fall_s, _watched_s in _falls_s(t_s, duty, turns) if np.isfinite(fall_s)]
    fastest = float(np.percentile(turns[duty >= _DRIVEN], 75))
    shorted_s, opened_s = shaft.shorted_s(fastest), shaft.opened_s(fastest)
    if not falls or opened_s < _APART * shorted_s:
        return True
    return bool(np.median(falls) < np.sqrt(opened_s * (shorted_s + period_s(t_s))))


def brakes_at_rest(t_s: FloatArray, command: FloatArray, speed_rad_s: FloatArray) -> bool:
    """Whether a motor stops about as fast as it starts once its duty is gone; False with too few stops.

    A stop that the next drive cuts short counts only where it was watched for long enough.
    """
    duty, speed = np.abs(filled(command)), np.abs(filled(speed_rad_s))
    rises_s = _rises_s(t_s, duty, speed)
    if len(rises_s) < _LEAST_STOPS:
        return False
    most_s = _AS_FAST * float(np.median(rises_s)) + period_s(t_s)
    told = [fall_s <= most_s for fall_s, watched_s in _falls_s(t_s, duty, speed) if watched_s >= most_s]
    return len(told) >= _LEAST_STOPS and float(np.mean(told)) > _MOSTLY


def _drives(duty: FloatArray) -> list[tuple[int, int]]:
    """First sample with any duty and first without again, of each drive; a duty may grow and fade slowly."""
    first, last = runs(duty > _NO_DUTY)
    spans = zip(first.tolist(), last.tolist(), strict=True)
    return [(start, end) for start, end in spans if float(duty[start:end].max()) >= _DRIVEN]


def _rises_s(t_s: FloatArray, duty: FloatArray, speed: FloatArray) -> list[float]:
    """How long each start from rest took to 63 % of the speed that it reached."""
    least = _FAST * float(speed.max(initial=0.0))
    found = []
    for start, end in _drives(duty):
        reached = float(speed[start:end].max())
        if reached > least and start > 0 and speed[start - 1] < _AT_REST * reached:
            found.append(_wait_s(t_s, speed[start:end] >= _RISEN * reached, start))
    return found


def _falls_s(t_s: FloatArray, duty: FloatArray, speed: FloatArray) -> list[tuple[float, float]]:
    """How long the speed took to fall to 37 % behind each drive, and for how long that could be watched."""
    least = _FAST * float(speed.max(initial=0.0))
    found = []
    for _start, end in _drives(duty):
        if end < len(duty) and speed[end - 1] > least:
            part = slice(end, int(np.searchsorted(t_s, t_s[end] + _WAITS_S)))
            undisturbed: BoolArray = np.logical_and.accumulate(duty[part] <= _NO_DUTY)
            fall_s = _wait_s(t_s, undisturbed & (speed[part] <= _FALLEN * speed[end - 1]), end)
            watched_s = float(t_s[end + int(undisturbed.sum()) - 1] - t_s[end])
            found.append((fall_s, np.inf if np.isfinite(fall_s) else watched_s))
    return found


def _wait_s(t_s: FloatArray, there: BoolArray, first: int) -> float:
    """Seconds from a sample until a condition holds behind it; infinite where it does not."""
    return float(t_s[first + int(np.argmax(there))] - t_s[first]) if there.any() else np.inf

"""How a motor's speed answers its current: learned from the log, whatever inertia hangs on its shaft."""

from __future__ import annotations

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray
from telemetry.signals import period_s, runs

__all__ = ["Rotor", "changes", "fit_rotor", "inertia_by_work", "means", "rotor_by_work", "run_down"]

_LEAST_SAMPLES = 20
_OVER_S = 0.08
"""Speed changes are looked at over so long, or from one sample to the next."""
_ROUNDS = 3
_HUBER = 1.345
_AT_REST, _RISEN = 0.3, 0.8
_AGREES = 1.2


@dataclass(frozen=True)
class Rotor:
    """rad/s² for each ampere in the winding, the amperes its load takes, and how much a change strays."""

    gain: float
    load_a: float
    strays: float

    def off(self, change: FloatArray, current_a: FloatArray) -> FloatArray:
        """How far a change of speed lies from what a current makes of it, in its usual straying."""
        return np.asarray(np.abs(change - self.gain * (current_a - self.load_a)) / self.strays)


def fit_rotor(current_a: FloatArray, change: FloatArray, drives: BoolArray) -> Rotor | None:
    """ω' = gain·(I − I_load), a straight line by Huber's weights (1964), all (n,); None without one."""
    told = drives & np.isfinite(current_a) & np.isfinite(change)
    if np.count_nonzero(told) < _LEAST_SAMPLES:
        return None
    amperes, changed = current_a[told], change[told]
    weight = np.ones(len(amperes))
    gain = load_a = scale = 0.0
    for _ in range(_ROUNDS):
        middle_a, middle = np.average(amperes, weights=weight), np.average(changed, weights=weight)
        apart = amperes - middle_a
        spread = float(np.average(apart**2, weights=weight))
        gain = float(np.average(apart * (changed - middle), weights=weight)) / spread if spread > 0 else 0.0
        if gain <= 0:
            return None
        load_a = float(middle_a - middle / gain)
        residual = np.abs(changed - gain * (amperes - load_a))
        scale = max(1.4826 * float(np.median(residual)), 1e-6)
        weight = np.minimum(1.0, _HUBER * scale / np.maximum(residual, 1e-12))
    return Rotor(gain, load_a, scale)


def rotor_by_work(
    t_s: FloatArray,
    current_a: FloatArray,
    turns: FloatArray,
    change: FloatArray,
    drives: BoolArray,
    *,
    fed: BoolArray,
    k_v_s_per_rad: float,
) -> Rotor | None:
    """The same with its gain by the work of its starts, all (n,); by the straight line alone without one.

    Where a load comes and goes, the current follows it at one speed, and the line lies too flat: never too
    steep. A start hangs on the inertia. Where both nearly agree the line, of more samples, is taken.
    """
    rotor = fit_rotor(means(t_s, current_a)[0], change, drives)
    if rotor is None:
        return None
    gaining_nm = k_v_s_per_rad * np.maximum(current_a - max(rotor.load_a, 0.0), 0.0)
    gain = k_v_s_per_rad / inertia_by_work(t_s, np.where(fed, gaining_nm, 0.0), turns, fed)
    if gain <= _AGREES * rotor.gain:
        return rotor
    load_a = means(t_s, current_a)[0][drives] - change[drives] / gain
    middle_a = float(np.median(load_a))
    strays = max(1.4826 * gain * float(np.median(np.abs(load_a - middle_a))), 1e-6)
    return Rotor(gain, middle_a, strays)


def inertia_by_work(t_s: FloatArray, torque_nm: FloatArray, turns: FloatArray, fed: BoolArray) -> float:
    """kg·m² at the shaft, by the work of a torque in starts: ω²·J / 2; infinite without one.

    The median over drives that began at rest. What friction took of the torque makes it too great.
    """
    power_w = torque_nm * np.maximum(turns, 0.0)
    work_j = np.concatenate(([0.0], np.cumsum((power_w[1:] + power_w[:-1]) / 2 * np.diff(t_s))))
    found = []
    for start, end in zip(*(edge.tolist() for edge in runs(fed)), strict=True):
        reached = float(turns[start:end].max())
        if reached <= 0 or turns[start] > _AT_REST * reached:
            continue
        at = start + int(np.argmax(turns[start:end] >= _RISEN * reached))
        found.append(2 * float(work_j[at] - work_j[max(start - 1, 0)]) / float(turns[at]) ** 2)
    return float(np.median(found)) if found and np.median(found) > 0 else np.inf


def run_down(
    began: FloatArray, since_s: FloatArray, constant_s: float, rotor: Rotor, *, braked: bool
) -> FloatArray:
    """A speed without sign so long after its duty ended, shape (n,), never below 0.

    Shorted ω' = −(ω + ω_load) / τ, with the rotor's own time constant τ; open ω' = −gain·I_load.
    """
    load = rotor.gain * max(rotor.load_a, 0.0)
    if not braked:
        return np.asarray(np.maximum(began - load * since_s, 0.0))
    floor = load * constant_s
    return np.asarray(np.maximum((began + floor) * np.exp(-since_s / constant_s) - floor, 0.0))


def changes(t_s: FloatArray, values: FloatArray) -> FloatArray:
    """How fast values change behind each sample and before it, shape (2, n)."""
    after, before = _windows(t_s)
    return np.stack(
        [
            (values[last] - values[first]) / np.maximum(t_s[last] - t_s[first], 1e-6)
            for first, last in (after, before)
        ]
    )


def means(t_s: FloatArray, values: FloatArray) -> FloatArray:
    """The mean of values over the same times, shape (2, n)."""
    total = np.concatenate(([0.0], np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(t_s))))
    return changes(t_s, total)


def _windows(t_s: FloatArray) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """First and last sample of the time that is looked at behind each sample, and before it."""
    wide = max(1, round(_OVER_S / max(period_s(t_s), 1e-6)))
    at = np.arange(len(t_s))
    return (at, np.minimum(at + wide, len(t_s) - 1)), (np.maximum(at - wide, 0), at)

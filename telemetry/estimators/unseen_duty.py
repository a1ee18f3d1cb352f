"""The winding's current where a motor's supply-side current and speed are logged, and its duty is not.

The battery gives V·I_supply = (I·R + k·ω)·I, which two currents fulfil: a shallow one, as when it drives,
and a deep one, as when a lower or a turned duty brakes it. No power at all may be a coasting motor or a
shorted winding. What tells them apart is how the speed changes: ω' = gain·(I − I_load), and gain and load are
learned from where it plainly drives.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.log import BoolArray, FloatArray
from telemetry.signals import period_s, runs

__all__ = ["winding_by_speed_a"]

_ROUNDS = 3
_DRIVES, _BACK, _DEEP, _REVERSED = range(4)
_LEAST_SAMPLES = 20
_TURNS, _REVERSES_S = 0.05, 0.3
_OVER_S = 0.08
"""Speed changes are looked at over so long, or from one sample to the next but one."""
_SURE = 3.0
_MOST_GIVEN = 1.5
_FALLS, _MOSTLY = 0.5, 0.5
_HUBER = 1.345


@dataclass(frozen=True)
class _Rotor:
    """How a rotor answers: rad/s² for each ampere, the amperes its load takes, and how much that strays."""

    gain: float
    load_a: float
    strays: float

    def off(self, change: FloatArray, current_a: FloatArray) -> FloatArray:
        """How far a change of speed lies from what a current makes of it, in its usual straying."""
        return np.asarray(np.abs(change - self.gain * (current_a - self.load_a)) / self.strays)


@dataclass(frozen=True, eq=False)
class _View:
    """What is logged of a motor; arrays (n,), `change` how its speed changes behind and before, (2, n).

    `may_give` says where it turns fast enough to give back as much as it moves.
    """

    t_s: FloatArray
    supply_a: FloatArray
    speed_rad_s: FloatArray
    moves: BoolArray
    may_give: BoolArray
    change: FloatArray


def winding_by_speed_a(
    t_s: FloatArray,
    supply_a: FloatArray,
    speed_rad_s: FloatArray,
    *,
    voltage_v: FloatArray,
    resistance_ohm: FloatArray,
    k_v_s_per_rad: float,
) -> FloatArray:
    """Winding current without sign, shape (n,).

    `supply_a` is negative where the log's own signs say that it does not go with the rotation or that it
    gives energy back, and 0 where it is no more than noise; `speed_rad_s` has whatever sign was logged.
    """
    turns = np.abs(speed_rad_s)
    power_w, back_emf_v = voltage_v * np.abs(supply_a), k_v_s_per_rad * turns
    ways = _ways(power_w, back_emf_v, resistance_ohm)
    view = _View(
        t_s, supply_a, speed_rad_s, moves=turns > _TURNS * float(turns.max(initial=0.0)),
        may_give=_MOST_GIVEN * back_emf_v**2 > 4 * resistance_ohm * power_w,
        change=np.sign(speed_rad_s) * _changes(t_s, speed_rad_s),
    )  # fmt: skip
    chosen = np.where((supply_a > 0) & (view.change[0] > 0), _DRIVES, _BACK)
    for _ in range(_ROUNDS):
        drives = view.moves & (chosen == _DRIVES) & (supply_a > 0)
        rotor = _rotor(_means(t_s, ways[_DRIVES])[0], view.change[0], drives)
        if rotor is None:
            chosen = np.where((supply_a < 0) & view.may_give, _BACK, _DRIVES)
            break
        off = np.stack([rotor.off(view.change, _means(t_s, way)).min(axis=0) for way in ways])
        chosen = _chosen(view, rotor, off)
    return np.asarray(np.abs(np.take_along_axis(ways, chosen[None], axis=0)[0]))


def _ways(power_w: FloatArray, back_emf_v: FloatArray, resistance_ohm: FloatArray) -> FloatArray:
    """The currents along the rotation that move so much power to or from the battery, shape (4, n).

    It drives; it gives back with little or with much current; it is driven against its rotation.
    """
    taken_v = np.sqrt(back_emf_v**2 + 4 * resistance_ohm * power_w)
    given_v = np.sqrt(np.maximum(back_emf_v**2 - 4 * resistance_ohm * power_w, 0.0))
    volts = (taken_v - back_emf_v, given_v - back_emf_v, -given_v - back_emf_v, -taken_v - back_emf_v)
    return np.stack(volts) / (2 * resistance_ohm)


def _chosen(view: _View, rotor: _Rotor, off: FloatArray) -> np.ndarray:
    """Which of the four ways each sample goes, shape (n,), by how far its change of speed is off each.

    What goes against the rotation goes the way that fits best, reversed only where it soon turns back.
    Without power, deep if the motor is one that brakes then, unless its speed says no. What goes along
    drives, except in reversals: a piece or a wall slows a motor too.
    """
    quiet, against = view.moves & (view.supply_a == 0), view.supply_a < 0
    plain = np.abs(off[_DEEP] - off[_DRIVES]) > _SURE
    nearer = off[_DEEP] < off[_DRIVES]
    stops = quiet & plain & (view.change[0] < -_FALLS * rotor.gain * abs(rotor.load_a))
    brakes = bool(stops.any()) and float(nearer[stops].mean()) > _MOSTLY
    turned = off[_REVERSED] + _SURE < off[_DRIVES]
    reversed_ = _reversing(view, against & view.moves & (off[_REVERSED] < off[[_BACK, _DEEP]].min(axis=0)))
    reversed_ |= _reversing(view, view.moves & (view.supply_a > 0) & turned)
    reversed_ |= against & ~view.may_give
    deep = (against & (off[_DEEP] < off[_BACK])) | (quiet & (nearer | ~plain) if brakes else False)
    chosen = np.where(against, _BACK, _DRIVES)
    return np.where(reversed_, _REVERSED, np.where(deep, _DEEP, chosen))


def _reversing(view: _View, slows: BoolArray) -> BoolArray:
    """Of stretches that slow down against their power, those that soon turn the other way, shape (n,)."""
    kept = np.zeros(len(view.t_s), dtype=bool)
    for first, last in zip(*(edge.tolist() for edge in runs(slows)), strict=True):
        soon = slice(last, int(np.searchsorted(view.t_s, view.t_s[last - 1] + _REVERSES_S)) + 1)
        back = -np.sign(view.speed_rad_s[first]) * view.speed_rad_s[soon]
        kept[first:last] = len(back) > 0 and float(back.max()) > _TURNS * abs(float(view.speed_rad_s[first]))
    return kept


def _changes(t_s: FloatArray, values: FloatArray) -> FloatArray:
    """How fast values change behind each sample and before it, shape (2, n)."""
    after, before = _windows(t_s)
    return np.stack(
        [
            (values[last] - values[first]) / np.maximum(t_s[last] - t_s[first], 1e-6)
            for first, last in (after, before)
        ]
    )


def _means(t_s: FloatArray, values: FloatArray) -> FloatArray:
    """The mean of values over the same times, shape (2, n)."""
    total = np.concatenate(([0.0], np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(t_s))))
    return _changes(t_s, total)


def _windows(t_s: FloatArray) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """First and last sample of the time that is looked at behind each sample, and before it."""
    wide = max(1, round(_OVER_S / max(period_s(t_s), 1e-6)))
    at = np.arange(len(t_s))
    return (at, np.minimum(at + wide, len(t_s) - 1)), (np.maximum(at - wide, 0), at)


def _rotor(current_a: FloatArray, change: FloatArray, drives: BoolArray) -> _Rotor | None:
    """A straight line of the change of speed on the current by Huber's weights; None without one."""
    if np.count_nonzero(drives) < _LEAST_SAMPLES:
        return None
    amperes, changes = current_a[drives], change[drives]
    weight = np.ones(len(amperes))
    gain = load_a = scale = 0.0
    for _ in range(_ROUNDS):
        middle_a, middle = np.average(amperes, weights=weight), np.average(changes, weights=weight)
        apart = amperes - middle_a
        spread = float(np.average(apart**2, weights=weight))
        gain = float(np.average(apart * (changes - middle), weights=weight)) / spread if spread > 0 else 0.0
        if gain <= 0:
            return None
        load_a = float(middle_a - middle / gain)
        residual = np.abs(changes - gain * (amperes - load_a))
        scale = max(1.4826 * float(np.median(residual)), 1e-6)
        weight = np.minimum(1.0, _HUBER * scale / np.maximum(residual, 1e-12))
    return _Rotor(gain, load_a, scale)

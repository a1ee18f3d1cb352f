"""The winding's current where a motor's supply-side current and speed are logged, and its duty is not.

The battery gives V·I_supply = (I·R + k·ω)·I, which two currents fulfil: a shallow one, as when it drives,
and a deep one, as when a lower or a turned duty brakes it. No power at all may be a coasting motor or a
shorted winding. What tells them apart is how the speed changes: ω' = gain·(I − I_load), and gain and load are
learned from where it plainly drives.
"""

from __future__ import annotations

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.rotors import Rotor, changes, means, rotor_by_work
from telemetry.log import BoolArray, FloatArray
from telemetry.signals import period_s, runs

__all__ = ["winding_by_speed_a"]

_ROUNDS = 3
_DRIVES, _BACK, _DEEP, _REVERSED = range(4)
_TURNS, _REVERSES_S = 0.05, 0.3
_SURE = 3.0
_MOST_GIVEN = 1.5
_FALLS = 0.5
_HARDLY_EVER, _NEARLY_ALWAYS = 0.05, 0.9
_READINGS = 2.0
"""A stop whose time constant is shorter than two readings is hardly seen."""


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
) -> tuple[FloatArray, FloatArray]:
    """Winding current without sign, the least and the most, each (n,); one array where it is told.

    `supply_a` is negative where the log's own signs say that it does not go with the rotation or that it
    gives energy back, and 0 where it is no more than noise; `speed_rad_s` has whatever sign was logged.
    """
    turns = np.abs(speed_rad_s)
    power_w, back_emf_v = voltage_v * np.abs(supply_a), k_v_s_per_rad * turns
    ways = _ways(power_w, back_emf_v, resistance_ohm)
    view = _View(
        t_s, supply_a, speed_rad_s, moves=turns > _TURNS * float(turns.max(initial=0.0)),
        may_give=_MOST_GIVEN * back_emf_v**2 > 4 * resistance_ohm * power_w,
        change=np.sign(speed_rad_s) * changes(t_s, speed_rad_s),
    )  # fmt: skip
    chosen = np.where((supply_a > 0) & (view.change[0] > 0), _DRIVES, _BACK)
    braked = np.zeros(len(t_s), dtype=bool)
    for _ in range(_ROUNDS):
        drives = view.moves & (chosen == _DRIVES) & (supply_a > 0)
        rotor = rotor_by_work(
            t_s, ways[_DRIVES], turns, view.change[0], drives,
            fed=(chosen == _DRIVES) & (supply_a > 0), k_v_s_per_rad=k_v_s_per_rad,
        )  # fmt: skip
        if rotor is None:
            chosen = np.where((supply_a < 0) & view.may_give, _BACK, _DRIVES)
            break
        off = np.stack([rotor.off(view.change, means(t_s, way)).min(axis=0) for way in ways])
        stops_s = float(np.median(resistance_ohm)) / (k_v_s_per_rad * rotor.gain)
        chosen, braked = _chosen(view, rotor, off, seen=stops_s >= _READINGS * period_s(t_s))
    least_a = np.abs(np.take_along_axis(ways, chosen[None], axis=0)[0])
    most_a = np.where(braked, np.abs(ways[_DEEP]), least_a) if braked.any() else least_a
    return least_a, most_a


def _ways(power_w: FloatArray, back_emf_v: FloatArray, resistance_ohm: FloatArray) -> FloatArray:
    """The currents along the rotation that move so much power to or from the battery, shape (4, n).

    It drives; it gives back with little or with much current; it is driven against its rotation.
    """
    taken_v = np.sqrt(back_emf_v**2 + 4 * resistance_ohm * power_w)
    given_v = np.sqrt(np.maximum(back_emf_v**2 - 4 * resistance_ohm * power_w, 0.0))
    volts = (taken_v - back_emf_v, given_v - back_emf_v, -given_v - back_emf_v, -taken_v - back_emf_v)
    return np.stack(volts) / (2 * resistance_ohm)


def _chosen(view: _View, rotor: Rotor, off: FloatArray, *, seen: bool) -> tuple[np.ndarray, BoolArray]:
    """Which of the four ways each sample goes, by how far its change of speed is off each; and which may
    be deep as well; both (n,).

    What goes against the rotation goes the way that fits best, reversed only where it soon turns back.
    Without power, deep if the motor is one that brakes then, unless its speed says no; where some of its
    stops say this and some that, or a shorted winding would stop it too soon to be `seen`, either may be.
    What goes along drives, except in reversals: a piece or a wall slows a motor too.
    """
    quiet, against = view.moves & (view.supply_a == 0), view.supply_a < 0
    plain = np.abs(off[_DEEP] - off[_DRIVES]) > _SURE
    nearer = off[_DEEP] < off[_DRIVES]
    stops = quiet & plain & (view.change[0] < -_FALLS * rotor.gain * abs(rotor.load_a))
    share = float(nearer[stops].mean()) if stops.any() else 0.0
    braked = quiet & (nearer | ~plain) & (share > _HARDLY_EVER) if seen else quiet
    turned = off[_REVERSED] + _SURE < off[_DRIVES]
    reversed_ = _reversing(view, against & view.moves & (off[_REVERSED] < off[[_BACK, _DEEP]].min(axis=0)))
    reversed_ |= _reversing(view, view.moves & (view.supply_a > 0) & turned)
    reversed_ |= against & ~view.may_give
    deep = against & (off[_DEEP] < off[_BACK]) | braked & (seen and share >= _NEARLY_ALWAYS)
    chosen = np.where(against, _BACK, _DRIVES)
    return np.where(reversed_, _REVERSED, np.where(deep, _DEEP, chosen)), braked & ~reversed_


def _reversing(view: _View, slows: BoolArray) -> BoolArray:
    """Of stretches that slow down against their power, those that soon turn the other way, shape (n,)."""
    kept = np.zeros(len(view.t_s), dtype=bool)
    for first, last in zip(*(edge.tolist() for edge in runs(slows)), strict=True):
        soon = slice(last, int(np.searchsorted(view.t_s, view.t_s[last - 1] + _REVERSES_S)) + 1)
        back = -np.sign(view.speed_rad_s[first]) * view.speed_rad_s[soon]
        kept[first:last] = len(back) > 0 and float(back.max()) > _TURNS * abs(float(view.speed_rad_s[first]))
    return kept

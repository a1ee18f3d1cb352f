"""Pieces that a launcher's wheel met, told by its balance of momentum.

A wheel gains speed by the torque of its motor, which goes with the winding current, and loses it by friction
(the steady-state equations of a motor that turns an inertia). What it has lost beyond that was taken out of
it: each piece takes about as much, at once. So two pieces are told apart though the wheel has not recovered
between them, a battery that sags takes nothing, and where two pieces fall between two readings the amount
tells.
"""

from __future__ import annotations

import numpy as np

from telemetry.log import BoolArray, FloatArray
from telemetry.motor_model import MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.signals import period_s, runs

__all__ = ["dips_by_momentum", "following_dips"]

_LEAST_STEPS, _ROUNDS, _FITS = 8, 4, 85
_UP_TO_SPEED = 0.5
_SPREAD_S = 0.03
"""A speed is logged late by some ten milliseconds, which spreads what one piece takes over so long."""
_SLOW_S = 0.04
_NOISE_TIMES, _LEAST_SHARE, _SHALLOW = 5.0, 0.008, 0.02
_OF_USUAL, _VALLEY, _APART_S = 0.5, 0.6, 0.045
"""A piece takes at least half of what is usual; between two, little is taken. None follow each other closer:
at the speed of a launcher the second would be inside the first (our choice)."""
_QUARTER, _ONE_MORE = 0.25, 0.4
_FOLLOWS_S = 0.35
_MEDIAN_SIZE = 0.6745
"""Of a normal variable, in standard deviations."""


def dips_by_momentum(trace: MotorTrace, model: MotorModel | None, running: BoolArray) -> FloatArray | None:
    """Instants at which the wheel met a piece, (k,), only where `running` (n,) holds.

    None where current and speed do not go together, or what is usually taken is less than 2 % of the speed.

    A piece takes at least half of what is usual in this log, and five times the noise.
    """
    taken = _taken(trace, model)
    if taken is None:
        return None
    amount = np.where(running, _rolled(taken, trace), 0.0)
    peaks = _peaks(amount)
    least = max(_NOISE_TIMES * _noise(amount[running]), _LEAST_SHARE * _top(trace.speed_rad_s))
    peaks = peaks[amount[peaks] > least]
    if not len(peaks):
        return np.empty(0)
    slow = period_s(trace.t_s) > _SLOW_S
    usual = _usual(amount[peaks], within=3 if slow else 2)
    if usual < _SHALLOW * _top(trace.speed_rad_s):
        return None
    if slow:
        return _counted(trace.t_s, amount, usual)
    return _began(trace, taken, _parted(trace.t_s, amount, peaks[amount[peaks] > _OF_USUAL * usual]))


def following_dips(trace: MotorTrace, onsets_s: FloatArray) -> FloatArray:
    """The dips given, (k,), and those that follow one of them so soon that the wheel had not recovered.

    A wheel that meets a piece draws more; one that is let go of draws less.
    """
    taken = _taken(trace, None)
    if taken is None or not len(onsets_s):
        return onsets_s
    amount = _rolled(taken, trace)
    peaks = _peaks(amount)
    ends = np.searchsorted(trace.t_s, np.stack((onsets_s - _APART_S, onsets_s + 2 * _APART_S)))
    at_onsets = np.array([amount[first:last].max(initial=0.0) for first, last in ends.T])
    more = trace.current_a[peaks] > trace.current_a[np.maximum(peaks - _width(trace), 0)]
    peaks = peaks[more & (amount[peaks] > _OF_USUAL * _usual(at_onsets, within=2))]
    found_s = _began(trace, taken, _parted(trace.t_s, amount, peaks))
    before = np.searchsorted(onsets_s, found_s, side="right") - 1
    late_s = found_s - onsets_s[np.maximum(before, 0)]
    ahead_s = np.append(onsets_s, np.inf)[before + 1] - found_s
    apart_s = max(_APART_S, 1.5 * period_s(trace.t_s))
    follows = (before >= 0) & (late_s > apart_s) & (late_s <= _FOLLOWS_S) & (ahead_s > apart_s)
    return np.sort(np.concatenate((onsets_s, found_s[follows])))


def _taken(trace: MotorTrace, model: MotorModel | None) -> FloatArray | None:
    """Speed that the wheel has lost since the reading before beyond what its current explains, (n,).

    By a plane through its accelerations over current and speed, in rounds of least squares without what fits
    worst: there pieces took speed out of it. None after too few readings, or where more current does not
    make it faster.
    """
    speed, step_s = trace.speed_rad_s, np.diff(trace.t_s)
    usable = (step_s > 0) & trace.driven[:-1] & trace.driven[1:]
    current = _signed_a(trace, model)
    causes = np.column_stack((_middles(current), _middles(speed), np.ones(len(step_s))))
    gained = np.diff(speed) / np.where(step_s > 0, step_s, np.inf)
    usable &= np.isfinite(gained) & np.isfinite(causes).all(axis=1)
    usable &= speed[:-1] > _UP_TO_SPEED * _top(speed)
    if usable.sum() < _LEAST_STEPS:
        return None
    fits = usable
    plane: FloatArray = np.zeros(3)
    for _ in range(_ROUNDS):
        plane = np.asarray(np.linalg.lstsq(causes[fits], gained[fits])[0])
        off = np.abs(gained - causes @ plane)
        fits = usable & (off <= np.percentile(off[usable], _FITS))
    if plane[0] <= 0:
        return None
    lost = np.where(usable, (causes @ plane - gained) * step_s, 0.0)
    return np.concatenate(([0.0], lost))


def _signed_a(trace: MotorTrace, model: MotorModel | None) -> FloatArray:
    """The winding current, (n,), negative where the wheel turns faster than the voltage applied drives it."""
    if model is None or len(trace.voltage_v) != len(trace.t_s):
        return trace.current_a
    short_v = model.k_v_s_per_rad * trace.speed_rad_s - np.abs(trace.command) * trace.voltage_v
    return np.where(short_v > 2 * model.resistance_ohm, -trace.current_a, trace.current_a)


def _rolled(taken: FloatArray, trace: MotorTrace) -> FloatArray:
    """The sum of what was taken over as many readings as one piece is spread over, each the last, (n,)."""
    return np.convolve(taken, np.ones(_width(trace)))[: len(taken)]


def _width(trace: MotorTrace) -> int:
    apart_s = period_s(trace.t_s)
    most = 2 if apart_s < _SPREAD_S else 1
    return max(round(_SPREAD_S / apart_s), most) if apart_s else 1


def _peaks(amount: FloatArray) -> np.ndarray:
    """Where the amount is greatest among its neighbours, (k,)."""
    before = np.concatenate(([-np.inf], amount[:-1]))
    after = np.concatenate((amount[1:], [-np.inf]))
    return np.flatnonzero((amount >= before) & (amount > after))


def _parted(t_s: FloatArray, amount: FloatArray, peaks: np.ndarray) -> np.ndarray:
    """The peaks without those too near to a higher one, or with no valley between, (k,)."""
    kept: list[int] = []
    for peak in peaks.tolist():
        if kept:
            last = kept[-1]
            lower = min(amount[last], amount[peak])
            near = t_s[peak] - t_s[last] < _APART_S
            if near or amount[last : peak + 1].min() > _VALLEY * lower:
                kept[-1] = peak if amount[peak] > amount[last] else last
                continue
        kept.append(peak)
    return np.array(kept, dtype=np.intp)


def _counted(t_s: FloatArray, amount: FloatArray, usual: float) -> FloatArray:
    """Dips read so slowly that several may fall in one stretch: as many as what was taken in it tells, (k,).

    One piece takes what is usual for stretches of one peak; 1.6 times that takes a second one.
    """
    first, last = runs(amount > _QUARTER * usual)
    until = np.concatenate(([0.0], np.cumsum(np.maximum(amount, 0.0))))
    total = until[last] - until[first]
    high = np.zeros(len(amount), dtype=bool)
    high[_peaks(amount)] = True
    high &= amount > _OF_USUAL * usual
    peaks = np.diff(np.searchsorted(np.flatnonzero(high), np.stack((first, last))), axis=0)[0]
    enough = total > _OF_USUAL * usual
    if not enough.any():
        return np.empty(0)
    one = float(np.percentile((total / np.maximum(peaks, 1))[enough], 40))
    number = np.where(enough, np.ceil(total / one - 1 + _ONE_MORE), 0).astype(np.intp)
    row = np.repeat(np.arange(len(first)), number)
    place = np.arange(len(row)) - np.repeat(np.cumsum(number) - number, number)
    reached = until[first[row]] + total[row] * (place + 0.5) / number[row]
    return np.asarray(t_s[np.minimum(np.searchsorted(until[1:], reached), last[row] - 1)])


def _began(trace: MotorTrace, taken: FloatArray, peaks: np.ndarray) -> FloatArray:
    """When a quarter of what was taken until each peak was gone, (k,)."""
    width = _width(trace)
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(taken, (width - 1, 0)), width)[peaks]
    so_far = np.cumsum(windows, axis=1)
    gone = (so_far >= _QUARTER * so_far[:, -1:]).argmax(axis=1)
    return np.asarray(trace.t_s[np.maximum(peaks - width + 1 + gone, 0)])


def _usual(amounts: FloatArray, *, within: float) -> float:
    """The median of the large ones, `within` so many times of each other: of what but a tenth exceed."""
    large = amounts > np.percentile(amounts, 90) / within
    return float(np.median(amounts[large])) if large.any() else np.inf


def _noise(amount: FloatArray) -> float:
    """Standard deviation by the median distance from the median, which few pieces hardly move."""
    return float(np.median(np.abs(amount - np.median(amount)))) / _MEDIAN_SIZE if len(amount) else 0.0


def _middles(x: FloatArray) -> FloatArray:
    return np.asarray((x[:-1] + x[1:]) / 2)


def _top(speed: FloatArray) -> float:
    known = speed[np.isfinite(speed)]
    return float(np.percentile(known, 98)) if len(known) else 0.0

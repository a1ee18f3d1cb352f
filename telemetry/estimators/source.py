"""The battery's source resistance over time: where it stayed the same, and where it stepped.

Voltage and current are first freed of what is slow (their moving mean over some seconds): the open-circuit
voltage, which sinks as the battery empties. What is left of the voltage is minus the resistance times what is
left of the current. Sums over half-second bins then give any stretch's straight line at once.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray
from telemetry.records.supply import SourceStretch
from telemetry.signals import hold_s, period_s

__all__ = ["LEAST_SWING_A", "source_stretches", "source_windows"]

LEAST_SWING_A = 20.0
"""Between the least and the greatest current: below, the noise tells the resistance rather than the load."""

_SLOW_S = 4.0
_BIN_S = 0.5
_WINDOW_S, _WINDOW_STEP_S = 20.0, 5.0
_ROUNDS = 3
_HUBER = 1.345
_LEAST_BINS = 8
_LEAST_LOAD_SHARE = 0.02
_LEAST_STEP_SHARE, _LEAST_STEP_OHM = 0.12, 0.001
_LEAST_Z = 6.0
_MOST_STEPS_DEEP = 3
_NORMAL_95 = 1.96
_REFINE_S = 8.0


@dataclass(frozen=True, eq=False)
class _Fast:
    """The fast part of voltage and current, shape (n,), with the bin of each sample."""

    t_s: FloatArray
    voltage_v: FloatArray
    current_a: FloatArray
    number: np.ndarray


@dataclass(frozen=True, eq=False)
class _Sums:
    """By bin, shape (k,): weighted sums of i² and i·v, of i² where the weight is whole (what moves with the
    answer, Huber 1964), and of t·i², t·i·v, t²·i² for a slope in time.
    """

    start_s: FloatArray
    ii: FloatArray
    iv: FloatArray
    whole_ii: FloatArray
    t_ii: FloatArray
    t_iv: FloatArray
    tt_ii: FloatArray


@dataclass(frozen=True)
class _Line:
    """Resistance of a stretch of bins and its standard error, from how the bins scatter about it.

    The error is that of MacKinnon and White (1985), each bin weighed by its own leverage.
    """

    resistance_ohm: float
    error_ohm: float


def source_stretches(
    t_s: FloatArray, voltage_v: FloatArray, current_a: FloatArray
) -> tuple[SourceStretch, ...]:
    """Stretches of one resistance each, in order; empty where the load hardly changed.

    Huber's weights (1964; tuning constant 1.345) make the lines robust. A step is told from noise by the
    scatter of the bins on either side, from a slow drift by fitting better than any straight slope does.
    All arrays (n,), seconds, volts, amperes; finite.
    """
    if len(t_s) < 2 * _LEAST_BINS or np.ptp(current_a) < LEAST_SWING_A:
        return ()
    fast = _fast_part(t_s, voltage_v, current_a)
    weight = np.ones(len(t_s))
    steps: list[int] = []
    for _ in range(_ROUNDS):
        sums = _sums(fast, weight)
        steps = _find_steps(sums, 0, len(sums.ii), _MOST_STEPS_DEEP)
        weight = _weights(fast, sums, steps)
    sums = _sums(fast, weight)
    edges = [0, *steps, len(sums.ii)]
    lines = [_line(sums, first, last) for first, last in pairwise(edges)]
    if any(line.resistance_ohm <= 0 for line in lines):
        return ()
    return _stretches(t_s, voltage_v, current_a, _times(fast, sums, steps, lines), lines)


def source_windows(
    t_s: FloatArray, voltage_v: FloatArray, current_a: FloatArray
) -> tuple[SourceStretch, ...]:
    """Resistance in windows of 20 s, every 5 s, with its interval; those without enough load left out."""
    if len(t_s) < 2 * _LEAST_BINS or np.ptp(current_a) < LEAST_SWING_A:
        return ()
    fast = _fast_part(t_s, voltage_v, current_a)
    sums = _sums(fast, np.ones(len(t_s)))
    sums = _sums(fast, _weights(fast, sums, []))
    wide, every = round(_WINDOW_S / _BIN_S), round(_WINDOW_STEP_S / _BIN_S)
    found = []
    for first in range(0, max(len(sums.ii) - wide, 0) + 1, every):
        last = min(first + wide, len(sums.ii))
        line = _line(sums, first, last) if _enough(sums, first, last) else None
        if line is not None and line.resistance_ohm > 0:
            inside = (fast.number >= first) & (fast.number < last)
            open_v = float(np.median(voltage_v[inside] + line.resistance_ohm * current_a[inside]))
            start_s = float(sums.start_s[first])
            found.append(_stretch(start_s, start_s + (last - first) * _BIN_S, line, open_v))
    return tuple(found)


def _fast_part(t_s: FloatArray, voltage_v: FloatArray, current_a: FloatArray) -> _Fast:
    wide = max(3, round(_SLOW_S / max(period_s(t_s), 1e-6)))
    number = np.floor((t_s - t_s[0]) / _BIN_S).astype(np.intp)
    return _Fast(t_s, _without_slow(t_s, voltage_v, wide), _without_slow(t_s, current_a, wide), number)


def _without_slow(t_s: FloatArray, values: FloatArray, wide: int) -> FloatArray:
    """Values minus their mean over so many samples about them; over a gap each side stands alone."""
    gaps = np.flatnonzero(np.diff(t_s) > max(hold_s(t_s), _BIN_S)) + 1
    edges = [0, *gaps.tolist(), len(values)]
    parts = [_minus_mean(values[first:last], wide) for first, last in pairwise(edges)]
    return np.concatenate(parts)


def _minus_mean(values: FloatArray, wide: int) -> FloatArray:
    total = np.concatenate(([0.0], np.cumsum(values - values[0])))
    at = np.arange(len(values))
    left, right = np.maximum(at - wide // 2, 0), np.minimum(at + wide // 2 + 1, len(values))
    return np.asarray(values - values[0] - (total[right] - total[left]) / (right - left))


def _sums(fast: _Fast, weight: FloatArray) -> _Sums:
    bins = int(fast.number[-1]) + 1
    start_s = fast.t_s[0] + np.arange(bins) * _BIN_S
    middle_s = start_s - start_s[0] + _BIN_S / 2
    ii = _by_bin(fast, weight * fast.current_a**2, bins)
    iv = _by_bin(fast, weight * fast.current_a * fast.voltage_v, bins)
    whole_ii = _by_bin(fast, np.where(weight >= 1.0, fast.current_a**2, 0.0), bins)
    return _Sums(start_s, ii, iv, whole_ii, middle_s * ii, middle_s * iv, middle_s**2 * ii)


def _by_bin(fast: _Fast, values: FloatArray, bins: int) -> FloatArray:
    return np.asarray(np.bincount(fast.number, values, minlength=bins), dtype=np.float64)


def _line(sums: _Sums, first: int, last: int) -> _Line:
    ii, iv = sums.ii[first:last], sums.iv[first:last]
    resistance_ohm = -float(iv.sum() / ii.sum())
    scores = (iv + resistance_ohm * ii) / (1.0 - np.minimum(ii / ii.sum(), 0.9))
    gain = max(float(sums.whole_ii[first:last].sum()), 1e-12)
    return _Line(resistance_ohm, float(np.sqrt(_summed_variance(scores)) / gain))


def _summed_variance(scores: FloatArray) -> float:
    """Variance of a sum of scores that depend on their neighbours, by Bartlett's weights.

    The mean that was taken off ties together what lies within its width. Source: Newey and West, Econometrica
    55 (1987). At least what independent scores would give.
    """
    alone = float(scores @ scores)
    near = round(_SLOW_S / _BIN_S)
    pairs = sum(
        2 * (1 - lag / near) * float(scores[lag:] @ scores[:-lag])
        for lag in range(1, min(near, len(scores) - 1))
    )
    return max(alone, alone + pairs)


def _enough(sums: _Sums, first: int, last: int) -> bool:
    return int(np.count_nonzero(sums.ii[first:last])) >= _LEAST_BINS and _swings(sums, first, last)


def _swings(sums: _Sums, first: int, last: int) -> bool:
    """Whether the load moves enough there, compared with the whole."""
    return bool(sums.ii[first:last].mean() > _LEAST_LOAD_SHARE * sums.ii.mean())


def _find_steps(sums: _Sums, first: int, last: int, deep: int) -> list[int]:
    """Bins at which the resistance steps within [first, last); none where a slow drift fits better."""
    at = _best_step(sums, first, last)
    if at is None or deep == 0:
        return []
    steps = [*_find_steps(sums, first, at, deep - 1), at, *_find_steps(sums, at, last, deep - 1)]
    by_steps = sum(
        float(sums.iv[left:right].sum() ** 2 / sums.ii[left:right].sum())
        for left, right in pairwise([first, *steps, last])
    )
    return steps if by_steps > _explained_by_drift(sums, first, last) else []


def _best_step(sums: _Sums, first: int, last: int) -> int | None:
    """The bin whose two lines fit best, or None where they do not differ for sure."""
    if last - first < 2 * _LEAST_BINS:
        return None
    ii, iv = np.cumsum(sums.ii[first:last]), np.cumsum(sums.iv[first:last])
    with np.errstate(divide="ignore", invalid="ignore"):
        explained = iv**2 / ii + (iv[-1] - iv) ** 2 / (ii[-1] - ii)
    explained[: _LEAST_BINS - 1] = explained[-_LEAST_BINS:] = -np.inf
    best = int(np.nanargmax(explained))
    at = first + best + 1
    if not (_enough(sums, first, at) and _enough(sums, at, last)):
        return None
    before, after = _line(sums, first, at), _line(sums, at, last)
    apart = abs(after.resistance_ohm - before.resistance_ohm)
    least = max(_LEAST_STEP_OHM, _LEAST_STEP_SHARE * abs(before.resistance_ohm))
    sure = apart >= _LEAST_Z * float(np.hypot(before.error_ohm, after.error_ohm))
    return at if apart >= least and sure else None


def _explained_by_drift(sums: _Sums, first: int, last: int) -> float:
    """Of the sum of v², what a resistance explains that changes evenly with time."""
    part = slice(first, last)
    normal = np.array(
        [
            [sums.ii[part].sum(), sums.t_ii[part].sum()],
            [sums.t_ii[part].sum(), sums.tt_ii[part].sum()],
        ]
    )
    right = np.array([sums.iv[part].sum(), sums.t_iv[part].sum()])
    return float(right @ np.linalg.lstsq(normal, right, rcond=None)[0])


def _weights(fast: _Fast, sums: _Sums, steps: list[int]) -> FloatArray:
    edges = [0, *steps, len(sums.ii)]
    ohm = np.empty(len(sums.ii))
    for first, last in pairwise(edges):
        ohm[first:last] = _line(sums, first, last).resistance_ohm
    residual = np.abs(fast.voltage_v + ohm[fast.number] * fast.current_a)
    scale = 1.4826 * float(np.median(residual))
    if scale < 1e-9:
        return np.ones(len(residual))
    return np.asarray(np.minimum(1.0, _HUBER * scale / np.maximum(residual, 1e-12)))


def _times(fast: _Fast, sums: _Sums, steps: list[int], lines: list[_Line]) -> list[float]:
    """The instants of the steps: where, near each, the line before stops fitting and the one after begins."""
    times = []
    for number, step in enumerate(steps):
        near_s = sums.start_s[step]
        reach_s = min(
            [_REFINE_S, *(abs(near_s - sums.start_s[other]) / 2 for other in steps if other != step)]
        )
        near: BoolArray = np.abs(fast.t_s - near_s) <= reach_s
        before, after = (
            np.abs(fast.voltage_v[near] + line.resistance_ohm * fast.current_a[near])
            for line in lines[number : number + 2]
        )
        better = np.cumsum(after - before)
        times.append(float(fast.t_s[near][int(np.argmax(better))]) if len(better) else float(near_s))
    return times


def _stretches(
    t_s: FloatArray, voltage_v: FloatArray, current_a: FloatArray, steps_s: list[float], lines: list[_Line]
) -> tuple[SourceStretch, ...]:
    edges_s = [float(t_s[0]), *steps_s, float(t_s[-1])]
    found = []
    for line, (start_s, end_s) in zip(lines, pairwise(edges_s), strict=True):
        inside = (t_s >= start_s) & (t_s <= end_s)
        open_v = _open_circuit_v(t_s[inside], voltage_v[inside], current_a[inside], line.resistance_ohm)
        found.append(_stretch(start_s, end_s, line, open_v))
    return tuple(found)


def _open_circuit_v(
    t_s: FloatArray, voltage_v: FloatArray, current_a: FloatArray, resistance_ohm: float
) -> float:
    """Voltage without load at the start of a stretch: it sinks in proportion to the charge drawn.

    A line through the medians of the first and the last third, over charge.
    """
    if len(t_s) < 6:
        return float(np.median(voltage_v + resistance_ohm * current_a)) if len(t_s) else float("nan")
    without_load_v = voltage_v + resistance_ohm * current_a
    between = np.diff(t_s) * (current_a[1:] + current_a[:-1]) / 2
    charge = np.concatenate(([0.0], np.cumsum(between)))
    third = len(t_s) // 3
    early, late = slice(0, third), slice(len(t_s) - third, len(t_s))
    run = float(np.median(charge[late]) - np.median(charge[early]))
    rise_v = float(np.median(without_load_v[late]) - np.median(without_load_v[early]))
    slope = rise_v / run if run > 0 else 0.0
    return float(np.median(without_load_v[early]) - slope * np.median(charge[early]))


def _stretch(start_s: float, end_s: float, line: _Line, open_circuit_v: float) -> SourceStretch:
    margin = _NORMAL_95 * line.error_ohm
    return SourceStretch(
        start_s,
        end_s,
        line.resistance_ohm,
        max(line.resistance_ohm - margin, 0.0),
        line.resistance_ohm + margin,
        open_circuit_v,
    )

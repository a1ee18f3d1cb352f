"""Hits on the robot where no accelerometer is logged: what its drive motors cannot have done themselves.

A hit slows the wheels (or speeds them up) within a tenth of a second, and the current surges against it. What
the motors explain of the speed is taken off (`drive_balance`). A push, which lasts, is no hit; nor are wheels
that slip and grip again, since the robot's own momentum is afterwards what it was.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from telemetry.analysis import Contact
from telemetry.estimators.drive_balance import (
    LEAST_SAMPLES,
    DriveSide,
    balance,
    balance_width_s,
    can_be_balanced,
    drive_inputs,
    drive_sides,
    window_starts,
)
from telemetry.estimators.drive_hits import USUAL_WIDTH_S, Driven, is_hit, step_size, within
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.records.motors import MotorTrace
from telemetry.robot import Robot
from telemetry.signals import period_s, runs

__all__ = ["find_drive_contacts", "telling_motors"]

_SELDOM_S = 0.055
"""Read more seldom than that, a hit is over within a reading or two, as a start is."""
_TICK_S = 0.01
_BEFORE_S, _AFTER_S, _STEADY = 0.35, 0.1, 0.2
_LEAST_SHARE = 0.016
"""A jolt counts from this share of the drive's free speed: 0.07 m/s of 4.5 m/s (our choice)."""
_LEAST_TWIST_SHARE = 0.01
"""The same where the sides part, as when hit from the side: what the floor does, both feel alike."""
_USUAL_STEADY, _USUAL_QUANTILE = 3.0, 0.95
_USUAL_OVER_S, _AROUND_S = 0.25, 0.1
_OFTEN, _TIMES_OFTEN = 0.9, 1.5
_MERGE_S, _SWAYS_S, _SWAYING, _ONSET_SHARE = 0.5, 1.0, 0.5, 0.3
_HEAVY, _GRIPS_AFTER_S = 0.65, 0.15


def find_drive_contacts(log: Log, robot: Robot, motors: Mapping[str, MotorTrace]) -> tuple[Contact, ...]:
    """Contacts in the order of time, `source` drive current, `peak_g` None.

    Empty where no drive motor is named, or the current, the command and a speed (logged, or from back-EMF
    and a winding current) of none are known, and where it is read fewer than 18 times a second. Not found:
    hits from the side that leave the wheels' speed alone, and most hits while the wheels slip.
    """
    names = telling_motors(log, robot, motors)
    if not names:
        return ()
    t_s = motors[names[0]].t_s
    t_s = t_s[:: max(1, round(_TICK_S / period_s(t_s)))]
    sides = drive_sides(t_s, [drive_inputs(log, robot.motors[name], motors[name]) for name in names])
    balanced = balance(t_s, sides)
    jolt, twist = _jolt_and_twist(t_s, balanced.unexplained)
    steady = np.maximum.reduce([_range_around(t_s, side.command) for side in sides]) < _STEADY
    heavy = np.maximum.reduce([_load_before(t_s, side) for side in sides]) > _HEAVY
    unseen = _unseen(t_s, balanced.unseen)
    strength = np.maximum(
        jolt / (_threshold(t_s, jolt, steady, _LEAST_SHARE) + unseen),
        twist / (_threshold(t_s, twist, steady, _LEAST_TWIST_SHARE) + unseen),
    )
    driven = Driven(
        t_s=t_s,
        unexplained=balanced.unexplained,
        current_a=np.stack([side.current_a for side in sides]),
        steady=steady,
        heavy=heavy,
    )
    hits = [one for one in _jolts(t_s, strength) if is_hit(driven, one)]
    return _merged(t_s, jolt, _without_usual(driven, jolt, hits))


def telling_motors(log: Log, robot: Robot, motors: Mapping[str, MotorTrace]) -> list[str]:
    """The drive motors by which hits can be told; none where they are read too seldom for it."""
    return [
        name
        for name in robot.contact.drive
        if name in motors
        and len(motors[name].t_s) >= LEAST_SAMPLES
        and 0 < period_s(motors[name].t_s) <= _SELDOM_S
        and can_be_balanced(robot.motors[name], motors[name])
    ]


# Jolts


def _jolt_and_twist(t_s: FloatArray, unexplained: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Sudden changes of speed that the current does not explain, and the sides' own part in them, each (n,).

    As shares of the free speed.
    """
    before, whole = window_starts(t_s)
    changes = np.stack([_brief(t_s, np.where(whole, side - side[before], 0.0)) for side in unexplained])
    jolt, twist = (np.sqrt(np.mean(x**2, axis=0)) for x in (changes, changes - changes.mean(axis=0)))
    return np.asarray(jolt), np.asarray(twist)


def _brief(t_s: FloatArray, x: FloatArray) -> FloatArray:
    """How far each sample leaves the range between what was usual just before and is just after, shape (n,).

    So neither the begin nor the end of a push counts, which lasts.
    """
    width, apart = (max(1, round(span / period_s(t_s))) for span in (_USUAL_OVER_S, _AROUND_S))
    medians = np.median(
        np.lib.stride_tricks.sliding_window_view(np.pad(x, width, mode="edge"), width), axis=1
    )
    before = medians[np.maximum(np.arange(len(x)) - apart, 0)]
    after = medians[np.minimum(np.arange(len(x)) + apart, len(x)) + width]
    return np.asarray(x - np.clip(x, np.minimum(before, after), np.maximum(before, after)))


def _threshold(t_s: FloatArray, jolt: FloatArray, steady: BoolArray, least_share: float) -> float:
    """The jolt that counts: more than is usual in this log while the commands are steady.

    What is not explained wanders: over a longer window by the root of its width.
    """
    usual = float(np.quantile(jolt[steady], _USUAL_QUANTILE)) if steady.any() else 0.0
    least = least_share * float(np.sqrt(balance_width_s(t_s) / USUAL_WIDTH_S))
    return max(least, _USUAL_STEADY * usual)


def _unseen(t_s: FloatArray, unseen: FloatArray) -> FloatArray:
    """How much of a jolt may come of currents that changed between two readings, shape (n,)."""
    width = max(1, round(balance_width_s(t_s) / period_s(t_s)))
    padded = np.pad(np.sqrt(np.mean(np.square(unseen), axis=0)), (width, width), mode="edge")
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * width + 1)
    return np.asarray(around.max(axis=1))


def _range_around(t_s: FloatArray, x: FloatArray) -> FloatArray:
    """Highest less lowest from a little before each instant until just after, shape (n,)."""
    before, after = (max(1, round(span / period_s(t_s))) for span in (_BEFORE_S, _AFTER_S))
    padded = np.pad(x, (before, after), mode="edge")
    around = np.lib.stride_tricks.sliding_window_view(padded, before + after + 1)
    return np.asarray(around.max(axis=1) - around.min(axis=1))


def _load_before(t_s: FloatArray, side: DriveSide) -> FloatArray:
    """The highest current of the last moments before each instant, over the drive's usual highest, (n,)."""
    current_a = np.abs(side.current_a)
    width = max(1, round(_GRIPS_AFTER_S / period_s(t_s)))
    padded = np.pad(current_a, (width, 0), mode="edge")
    highest = np.lib.stride_tricks.sliding_window_view(padded, width + 1).max(axis=1)
    return np.asarray(highest / max(float(np.percentile(current_a, 99)), 1e-9))


# From jolts to contacts


def _jolts(t_s: FloatArray, strength: FloatArray) -> list[Contact]:
    first, last = runs(strength > 1)
    return [_contact(t_s, strength, *span) for span in zip(first.tolist(), last.tolist(), strict=True)]


def _merged(t_s: FloatArray, jolt: FloatArray, hits: Sequence[Contact]) -> tuple[Contact, ...]:
    """Without what follows a hit so soon that it is its rebound; within a second, the robot's weak sway."""
    found: list[Contact] = []
    for hit in hits:
        if not (found and _is_rebound(t_s, jolt, hit, found[-1])):
            found.append(hit)
    return tuple(found)


def _is_rebound(t_s: FloatArray, jolt: FloatArray, hit: Contact, before: Contact) -> bool:
    since_s = hit.t_s - (before.t_s + before.duration_s)
    weak = _peak(t_s, jolt, hit) < _SWAYING * _peak(t_s, jolt, before)
    return since_s < _MERGE_S or (weak and since_s < _SWAYS_S)


def _peak(t_s: FloatArray, jolt: FloatArray, hit: Contact) -> float:
    return float(jolt[within(t_s, hit.t_s, hit.t_s + hit.duration_s)].max())


def _contact(t_s: FloatArray, jolt: FloatArray, start: int, stop: int) -> Contact:
    """From where the jolt first reaches a part of its peak until it falls below that again."""
    peak = start + int(np.argmax(jolt[start:stop]))
    weak = np.flatnonzero(jolt < _ONSET_SHARE * jolt[peak])
    left, right = np.searchsorted(weak, (peak, peak))
    onset = int(weak[left - 1]) if left > 0 else 0
    over = int(weak[right]) if right < len(weak) else len(t_s) - 1
    return Contact(float(t_s[onset]), None, float(t_s[over] - t_s[onset]), "drive current")


def _without_usual(driven: Driven, jolt: FloatArray, hits: Sequence[Contact]) -> list[Contact]:
    """Without those in starts and reversals that do not plainly change more than what one in ten brings.

    A robot starts some eighty times a match and is hit in a few of them; where more jolt, its wheels slip.
    """
    t_s = driven.t_s
    first, last = runs(~driven.steady)
    if not len(first):
        return list(hits)
    inside = [within(t_s, hit.t_s, hit.t_s + hit.duration_s) for hit in hits]
    steps = np.array([step_size(driven, hit) for hit in hits])
    places = np.array([part.start + int(np.argmax(jolt[part])) for part in inside], dtype=np.intp)
    start = np.searchsorted(first, places, side="right") - 1
    starting = (start >= 0) & (places < last[np.maximum(start, 0)])
    of_starts = np.zeros(len(first))
    np.maximum.at(of_starts, start[starting], steps[starting])
    usual = float(np.quantile(of_starts, _OFTEN))
    return [
        hit
        for hit, at_start, step in zip(hits, starting, steps, strict=True)
        if not at_start or step > _TIMES_OFTEN * usual
    ]

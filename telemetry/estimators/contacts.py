"""Hits on the robot, from horizontal acceleration."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from telemetry.analysis import Contact
from telemetry.estimators.drive_contacts import find_drive_contacts
from telemetry.log import Channel, FloatArray, Log
from telemetry.records.motors import MotorTrace
from telemetry.robot import Robot
from telemetry.signals import moving_median, period_s, trigger

__all__ = ["AFTER_CONTACT_S", "contact_before", "contacts_between", "find_contacts"]

FLOOR_G = 2.0
"""Weakest hit that counts where the robot file names no `threshold_g`: well above hard driving, which
tyres limit to about 1 g (friction coefficient near one; common practice, no source)."""

AFTER_CONTACT_S = 0.5
"""A fault that begins this soon after a contact counts as following it (contract)."""

_MOST_G = 1_000.0
_SHORT_S, _LONG_S = 0.1, 2.0
_RATIO_ON, _RATIO_OFF = 3.0, 1.5
_DRIFT_WIDTH_S = 1.0
_REBOUND_S = 0.35
_SHARE_OF_PEAK = 0.3
_QUIET_SHARE = 0.5
_USUAL_HIT_S, _OFTEN, _SELDOM = 0.1, 0.25, 0.6
"""Bumpers meet for about a tenth of a second (common practice, no source)."""
_GRAVITY_G, _FLAT = (0.7, 1.3), 0.75
_NO_MOTORS: Mapping[str, MotorTrace] = MappingProxyType({})


def find_contacts(
    log: Log, robot: Robot, motors: Mapping[str, MotorTrace] = _NO_MOTORS
) -> tuple[Contact, ...]:
    """Contacts in the order of time: from the accelerometer, without one from the drive motors.

    The slow part of each axis (gravity on a tilted mount, drift, steady driving) is taken off as a moving
    median, which a short hit does not bend; of three axes, what points along gravity is left out. The
    magnitude triggers by STA/LTA and must reach the floor; what follows within 0.35 s and is no stronger is
    the rebound of the same hit. Source of the trigger: see `telemetry.signals.sta_lta`.
    """
    axes = [log.channels[name] for name in robot.contact.accelerometer if name in log.channels]
    axes = [axis for axis in axes if len(axis.values)]
    if not axes:
        return find_drive_contacts(log, robot, motors)
    t_s = max((axis.t_s for axis in axes), key=len)
    felt_g = np.stack([_on_clock(axis, t_s) for axis in axes])
    floor_g = robot.contact.threshold_g or FLOOR_G * _shown_share(period_s(t_s))
    return _contacts(t_s, _without_drift(t_s, _horizontal(felt_g)), floor_g)


def _shown_share(apart_s: float) -> float:
    """The share of its peak that a usual hit shows at least when it is read this seldom.

    Of a half sine that is cos(π/2 · apart / lasting). From four readings a hit on, nothing is allowed for it.
    """
    share = min(apart_s / _USUAL_HIT_S, _SELDOM)
    return float(np.cos(np.pi / 2 * share)) if share > _OFTEN else 1.0


def _horizontal(felt_g: FloatArray) -> FloatArray:
    """Three axes brought into the horizontal plane, (2, n), by where gravity points; others as they are.

    The first axis that lies flat enough gives the first direction; the second is a quarter turn to the left
    of it, seen from above.
    """
    if len(felt_g) != 3:
        return felt_g
    up = np.median(felt_g, axis=1)
    strength = float(np.linalg.norm(up))
    if not _GRAVITY_G[0] <= strength <= _GRAVITY_G[1]:
        return felt_g
    up /= strength
    first = np.eye(3)[int(np.flatnonzero(np.abs(up) <= _FLAT)[0])]
    ahead = first - (first @ up) * up
    ahead /= np.linalg.norm(ahead)
    return np.stack((ahead, np.cross(up, ahead))) @ felt_g


def _on_clock(axis: Channel, t_s: FloatArray) -> FloatArray:
    """The acceleration at each instant, in g, without what no accelerometer reads: damaged digits."""
    acceleration_g = axis.canonical()
    possible = np.abs(acceleration_g) <= _MOST_G
    if not possible.any():
        return np.zeros(len(t_s))
    return np.interp(t_s, axis.t_s[possible], acceleration_g[possible])


def _without_drift(t_s: FloatArray, felt_g: FloatArray) -> FloatArray:
    return np.stack([axis - moving_median(t_s, axis, _DRIFT_WIDTH_S) for axis in felt_g])


def _contacts(t_s: FloatArray, parts_g: FloatArray, floor_g: float) -> tuple[Contact, ...]:
    apart_s = period_s(t_s)
    if apart_s == 0:
        return ()
    magnitude_g = np.sqrt((parts_g**2).sum(axis=0))
    short = max(1, round(_SHORT_S / apart_s))
    ratio = _ratio(magnitude_g, short, max(short + 1, round(_LONG_S / apart_s)), floor_g)
    found: list[Contact] = []
    for first, last in trigger(ratio, _RATIO_ON, _RATIO_OFF):
        contact = _contact(t_s, parts_g, magnitude_g, slice(max(first - short + 1, 0), last + 1), apart_s)
        if contact.peak_g is None or contact.peak_g < floor_g:
            continue
        if not (found and _is_rebound(contact, found[-1])):
            found.append(contact)
    return tuple(found)


def _ratio(magnitude_g: FloatArray, short: int, long: int, floor_g: float) -> FloatArray:
    """Short-term over long-term mean of the squares, shape (n,), from the first sample on.

    As `telemetry.signals.sta_lta`, but in the long term no sample counts for more than half the floor, so
    that one hit does not hide the next; before the log begins, its first seconds stand in mirrored.
    """
    quiet_g = np.minimum(magnitude_g, _QUIET_SHARE * floor_g)
    quiet_g = np.concatenate((quiet_g[:long][::-1], quiet_g))
    loud_g = np.concatenate((quiet_g[: len(quiet_g) - len(magnitude_g)], magnitude_g))
    lta = _mean_square(quiet_g, long)
    sta = _mean_square(loud_g, short)
    before = len(quiet_g) - len(magnitude_g)
    return np.asarray(sta[before:] / np.maximum(lta[before:], np.finfo(float).tiny))


def _mean_square(x: FloatArray, width: int) -> FloatArray:
    """Mean of x² over the last `width` samples, fewer at the start, shape (n,)."""
    energy = np.concatenate(([0.0], np.cumsum(x * x)))
    end = np.arange(1, len(energy))
    start = np.maximum(end - width, 0)
    return np.asarray((energy[end] - energy[start]) / (end - start))


def _is_rebound(contact: Contact, before: Contact) -> bool:
    since_s = contact.t_s - (before.t_s + before.duration_s)
    return since_s < _REBOUND_S and (contact.peak_g or 0.0) <= (before.peak_g or 0.0)


def _contact(
    t_s: FloatArray, parts_g: FloatArray, magnitude_g: FloatArray, within: slice, apart_s: float
) -> Contact:
    inside = magnitude_g[within]
    peak = within.start + int(np.argmax(inside))
    strong = within.start + np.flatnonzero(inside >= _SHARE_OF_PEAK * magnitude_g[peak])
    left = strong[strong <= peak]
    onset = int(left[_start_of_last_run(left)])
    right = strong[strong >= peak]
    over = int(right[_end_of_first_run(right)])
    direction = np.degrees(np.arctan2(parts_g[1, peak], parts_g[0, peak])) if len(parts_g) > 1 else None
    return Contact(
        t_s=float(t_s[onset]),
        peak_g=float(magnitude_g[peak]),
        duration_s=float(t_s[over] - t_s[onset] + apart_s),
        source="accelerometer",
        direction_deg=None if direction is None else float(direction % 360.0),
    )


def _start_of_last_run(index: np.ndarray) -> int:
    breaks = np.flatnonzero(np.diff(index) > 1)
    return int(breaks[-1]) + 1 if len(breaks) else 0


def _end_of_first_run(index: np.ndarray) -> int:
    breaks = np.flatnonzero(np.diff(index) > 1)
    return int(breaks[0]) if len(breaks) else len(index) - 1


def contact_before(contacts: Sequence[Contact], t_s: float) -> Contact | None:
    """The last contact that began within half a second before an instant (contract), or None."""
    recent = [contact for contact in contacts if 0.0 <= t_s - contact.t_s <= AFTER_CONTACT_S]
    return recent[-1] if recent else None


def contacts_between(contacts: Sequence[Contact], first_s: float, last_s: float) -> tuple[Contact, ...]:
    """The contacts that may have begun what began between two instants: half a second earlier counts too."""
    return tuple(contact for contact in contacts if first_s - AFTER_CONTACT_S <= contact.t_s <= last_s)

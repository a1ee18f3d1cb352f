"""Where a driven motor draws nothing: a lead off, a breaker open, a dead output."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.partners import Partner, due_a
from telemetry.log import BoolArray, FloatArray
from telemetry.match import Match
from telemetry.motor_model import MotorModel
from telemetry.records.motors import Interruption, MotorTrace
from telemetry.robot import Motor, Robot
from telemetry.signals import filled, hold_s, period_s, spans

__all__ = ["find_interruptions"]

LEAST_S = 0.4
"""A driven motor that draws nothing for less than this may have crossed from driving to braking."""

_OF_FREE_CURRENT = (0.35, 0.75)
_ASSUMED_FREE_SHARE = 0.015
_NOISE_TIMES = 2.5
_LOADED_TIMES = 2.0
_LEAST_LOADED_S = 0.1
_BRIDGE_S = 0.15
_MARGIN = 0.06
_COASTS_S = 15.0
"""Time constant with which the fastest rotor is thought to run down: a heavy wheel (our choice)."""
_FED = 0.02
_JUST_BEFORE_S = 0.5
_SAME_DRIVE_S = 0.1
_REST_S = 0.3
_RISES_TIMES, _SLOW = 4.0, 0.8
_SLOW_OF_ITS_BEST = 0.5
_LEAST_LOST_S, _NOT_FOR_S = 1.0, 5.0
_START_SHARE = 0.3
_STAYS, _STAYED_S = 0.1, 0.4
_PLAIN_TIMES = 3.0
_HELD = 0.7
_ROUNDING_S = 1e-6
_MOSTLY = 0.5
_FADES_S, _FADED = 0.05, 0.35
_ASSUMED_OFF, _SAGS_MORE = 0.08, 3.0
"""An empty battery behind a loose lug gives so much less under load than the one assumed (our choice)."""


@dataclass(frozen=True, eq=False)
class _Draw:
    """Where a motor, driven while the robot is enabled, draws next to nothing, where it does so without
    coasting, where it draws and is loaded, and where its partners say that it should (`due`); shape (n,).
    """

    quiet: BoolArray
    nothing: BoolArray
    draws: BoolArray
    loaded: BoolArray
    driven: BoolArray
    due: BoolArray


def find_interruptions(
    robot: Robot, motors: Mapping[str, MotorTrace], match: Match, end_s: float
) -> Mapping[str, tuple[Interruption, ...]]:
    """Every interruption of every motor whose command is logged, in order."""
    return MappingProxyType(
        {
            name: _of_motor(trace, robot.motors[name], match, end_s, _partners(robot, motors, name))
            for name, trace in motors.items()
            if np.isfinite(trace.command).any()
        }
    )


def _partners(robot: Robot, motors: Mapping[str, MotorTrace], name: str) -> tuple[Partner, ...]:
    """The other motors of its mechanism, which may turn it as fast as its own voltage asks."""
    mechanism = robot.motors[name].mechanism
    return tuple(
        (trace, robot.motors[other])
        for other, trace in motors.items()
        if other != name and mechanism is not None and robot.motors[other].mechanism == mechanism
    )


def _of_motor(
    trace: MotorTrace, motor: Motor, match: Match, end_s: float, partners: Sequence[Partner]
) -> tuple[Interruption, ...]:
    draw = _draw(trace, motor, match, partners)
    holds_s = hold_s(trace.t_s)
    nothing = spans(trace.t_s, draw.nothing, end_s, holds_s, bridge_s=_BRIDGE_S)
    nothing = nothing[nothing[:, 1] - nothing[:, 0] >= LEAST_S]
    loaded = _loaded_spans(trace.t_s, draw, end_s, holds_s)
    drives = spans(trace.t_s, draw.driven, end_s, holds_s, bridge_s=_SAME_DRIVE_S)
    quiet = spans(trace.t_s, draw.quiet, end_s, holds_s, bridge_s=_BRIDGE_S)
    helpers = [helper for helper, _kind in partners]
    plain = [
        _mostly(trace, draw.due, start_s, end)
        or _is_plain(trace, motor, start_s, end, _onset(quiet, start_s), helped=_drive(helpers, start_s, end))
        for start_s, end in nothing.tolist()
    ]
    kept = [
        one and not _faded(trace, motor, draw, partners, _onset(quiet, start_s))
        for one, (start_s, _end) in zip(plain, nothing.tolist(), strict=True)
    ]
    nothing = nothing[kept]
    return tuple(_interruption(trace, group, loaded, drives) for group in _groups(nothing, loaded))


def _faded(trace: MotorTrace, motor: Motor, draw: _Draw, partners: Sequence[Partner], onset_s: float) -> bool:
    """Whether a load fades to nothing while a partner goes on bearing much more, as under a lower duty.

    A breaker opens under the load of both, at once.
    """
    near = (trace.t_s >= onset_s - max(_FADES_S, 1.5 * period_s(trace.t_s))) & (trace.t_s < onset_s)
    before = (trace.t_s >= onset_s - _JUST_BEFORE_S) & (trace.t_s < onset_s)
    if not motor.stall_current_a or not (near & draw.driven).any() or not (before & draw.loaded).any():
        return False
    own = float(np.median(trace.current_a[near])) / motor.stall_current_a
    beside = [
        float(np.median(other.current_a[(other.t_s >= onset_s - _JUST_BEFORE_S / 2) & (other.t_s < onset_s)]))
        / kind.stall_current_a
        for other, kind in partners
        if kind.stall_current_a and _drive([other], onset_s - _JUST_BEFORE_S / 2, onset_s)
    ]
    return bool(beside) and own < _FADED * max(beside)


def _loaded_spans(t_s: FloatArray, draw: _Draw, end_s: float, holds_s: float) -> FloatArray:
    """Where it is seen to be connected, shape (k, 2): a load, or its free current for longer."""
    loaded = spans(t_s, draw.loaded, end_s, holds_s, bridge_s=_BRIDGE_S)
    loaded = loaded[loaded[:, 1] - loaded[:, 0] >= _LEAST_LOADED_S]
    draws = spans(t_s, draw.draws, end_s, holds_s)
    draws = draws[draws[:, 1] - draws[:, 0] >= LEAST_S]
    both = np.concatenate((loaded, draws))
    return both[np.argsort(both[:, 0], kind="stable")]


def _draw(trace: MotorTrace, motor: Motor, match: Match, partners: Sequence[Partner]) -> _Draw:
    enabled = _enabled(trace.t_s, match)
    driven = trace.driven & enabled
    low_a = _low_a(trace, motor)
    draws, loaded = driven & (trace.current_a > low_a), driven & (trace.current_a > _LOADED_TIMES * low_a)
    quiet = driven & (trace.current_a < low_a)
    due = due_a(trace, motor, partners, draws) > _LOADED_TIMES * np.maximum(low_a, _free_a(motor))
    return _Draw(quiet, quiet & (due | ~_may_coast(trace, motor, low_a)), draws, loaded, driven, due)


def _enabled(t_s: FloatArray, match: Match) -> BoolArray:
    if match.source == "whole log":
        return np.ones(len(t_s), dtype=bool)
    stretches = np.array([(phase.start_s, phase.end_s) for phase in match.enabled()]).reshape(-1, 2)
    number = np.searchsorted(stretches[:, 0], t_s, side="right") - 1
    return np.asarray((number >= 0) & (t_s < stretches[np.maximum(number, 0), 1]))


def _low_a(trace: MotorTrace, motor: Motor) -> FloatArray:
    """Below this a driven motor draws nothing: a part of its free current, the more the noise when at rest.

    Shape (n,): a current measured on the supply side has the more noise in the winding the less the duty.
    """
    free_a = _free_a(motor)
    resting = trace.current_a[np.abs(filled(trace.command)) < _FED]
    noise_a = _NOISE_TIMES * float(np.percentile(resting, 75)) if len(resting) else 0.0
    duty = np.clip(np.abs(filled(trace.command)), 0.1, 1.0)
    noise = noise_a / duty if motor.current_side == "supply" else np.full(len(duty), noise_a)
    return np.asarray(np.clip(noise, _OF_FREE_CURRENT[0] * free_a, _OF_FREE_CURRENT[1] * free_a))


def _free_a(motor: Motor) -> float:
    if motor.free_current_a is not None:
        return motor.free_current_a
    return _ASSUMED_FREE_SHARE * motor.stall_current_a if motor.stall_current_a else 1.0


def _may_coast(trace: MotorTrace, motor: Motor, low_a: FloatArray) -> BoolArray:
    """Where it may turn so fast that the voltage applied drives no current through it, shape (n,)."""
    model = MotorModel.from_motor(motor)
    if trace.speed_source == "channel":
        if np.isfinite(trace.speed_share).any():
            return np.asarray(filled(trace.speed_share) > 1 - _MARGIN - _volts_off(trace))
        return np.asarray(~(_share_of_its_best(trace) < _SLOW_OF_ITS_BEST))
    if model is None:
        return np.ones(len(trace.t_s), dtype=bool)
    return _may_still_turn(trace, model, low_a)


def _share_of_its_best(trace: MotorTrace) -> FloatArray:
    """Speed at the voltage applied, as a share of the most it ever reached so, shape (n,); NaN where not fed.

    Stands in for the share of the free speed where no data sheet tells that.
    """
    fed = trace.driven & (np.abs(trace.applied_v) > 0)
    per_volt = np.divide(
        np.abs(trace.speed_rad_s), np.abs(trace.applied_v), out=np.full(len(trace.t_s), np.nan), where=fed
    )
    known = per_volt[np.isfinite(per_volt)]
    best = float(np.percentile(known, 95)) if len(known) else 0.0
    return np.asarray(per_volt / best if best > 0 else np.full(len(per_volt), np.nan))


def _may_still_turn(trace: MotorTrace, model: MotorModel, low_a: FloatArray) -> BoolArray:
    """The same without a speed channel: from the speed when current last flowed, run down since."""
    fed = np.abs(trace.command) > _FED
    back_emf_v = np.where(
        fed, trace.speed_rad_s * model.k_v_s_per_rad, trace.current_a * model.resistance_ohm
    )
    back_emf_v = back_emf_v * np.where(fed, np.sign(filled(trace.command)), 1.0)
    last = np.maximum.accumulate(
        np.where(trace.current_a > _LOADED_TIMES * low_a, np.arange(len(trace.t_s)), -1)
    )
    since_s = trace.t_s - trace.t_s[np.maximum(last, 0)]
    still_v = np.where(last >= 0, back_emf_v[np.maximum(last, 0)], 0.0) * np.exp(-since_s / _COASTS_S)
    along_v = still_v * np.sign(filled(trace.command))
    return np.asarray(along_v > (1 - _MARGIN - _volts_off(trace)) * filled(trace.applied_v))


def _volts_off(trace: MotorTrace) -> FloatArray:
    """By how much, as a share, a battery's voltage may be off that was assumed and not logged, shape (n,).

    The more is drawn the more: behind a worn battery or a loose lug it falls several times as far.
    """
    if trace.voltage_source != "assumed":
        return np.zeros(len(trace.t_s))
    sag_v = float(trace.voltage_v.max()) - trace.voltage_v
    return np.asarray(np.maximum(_ASSUMED_OFF, _SAGS_MORE * sag_v / trace.voltage_v))


def _onset(quiet: FloatArray, start_s: float) -> float:
    """When the current went that is away at an instant."""
    began_s = quiet[(quiet[:, 0] <= start_s) & (quiet[:, 1] > start_s), 0]
    return float(began_s[0]) if len(began_s) else start_s


def _drive(helpers: Sequence[MotorTrace], start_s: float, end_s: float) -> bool:
    """Whether one of some motors is driven for most of an interval."""
    return any(_mostly(trace, trace.driven, start_s, end_s) for trace in helpers)


def _mostly(trace: MotorTrace, flagged: BoolArray, start_s: float, end_s: float) -> bool:
    """Whether most samples of an interval are flagged."""
    part = flagged[(trace.t_s >= start_s) & (trace.t_s < end_s)]
    return len(part) > 0 and float(part.mean()) > _MOSTLY


def _is_plain(
    trace: MotorTrace, motor: Motor, start_s: float, end_s: float, onset_s: float, *, helped: bool
) -> bool:
    """Whether nothing else explains a stretch without current: a speed channel that says it is slow, or this.

    A motor turned from outside at just the speed that its voltage asks draws nothing either. But it does not
    lose a load at once, nor start from rest so, nor go on for seconds; nor keep up with a duty that rises,
    unless another motor of its mechanism turns it (`helped`) and gets the same duty.
    """
    if end_s - start_s >= _NOT_FOR_S:
        return True
    model = MotorModel.from_motor(motor)
    inside = (trace.t_s >= start_s) & (trace.t_s < end_s)
    by_channel = trace.speed_source == "channel"
    if model is None or (by_channel and bool((trace.speed_share < _SLOW - _volts_off(trace))[inside].any())):
        return True
    before = (trace.t_s >= onset_s - _REST_S) & (trace.t_s < onset_s)
    if not before.any() or (np.abs(filled(trace.command[before])) < _FED).all():
        return True
    duty, low_a = np.abs(trace.command[inside]), float(_low_a(trace, motor)[inside][0])
    rise = float(duty.max() - duty[: max(1, len(duty) // 4)].min())
    rise_a = rise * float(np.median(trace.applied_v[inside] / duty)) / model.resistance_ohm
    if (
        not helped
        and rise_a > _RISES_TIMES * low_a
        and float(trace.current_a[inside].max()) < _LOADED_TIMES * low_a
    ):
        return True
    lasts = end_s - start_s >= _LEAST_LOST_S
    anew = not helped and _starts_anew(trace, model, end_s)
    slow = not helped and not by_channel and _lost_while_slow(trace, model, low_a, onset_s)
    return lasts and (_lost_at_once(trace, low_a, onset_s) or slow or anew)


def _lost_while_slow(trace: MotorTrace, model: MotorModel, low_a: float, start_s: float) -> bool:
    """Whether a plain load is gone from one sample to the next but one, at a speed far from what is asked."""
    at = int(np.searchsorted(trace.t_s, start_s))
    near = slice(max(at - 2, 0), at)
    if at < 2 or at >= len(trace.t_s) or trace.t_s[at] - trace.t_s[at - 1] > hold_s(trace.t_s):
        return False
    back_emf_v = float(np.nanmax(trace.speed_rad_s[near])) * model.k_v_s_per_rad
    loaded = float(trace.current_a[near].max()) > _PLAIN_TIMES * low_a
    return loaded and back_emf_v < (_SLOW - float(_volts_off(trace)[at])) * float(trace.applied_v[at])


def _starts_anew(trace: MotorTrace, model: MotorModel, end_s: float) -> bool:
    """Whether it ends with the current of a start, though the command stayed: it had run down meanwhile."""
    at = int(np.searchsorted(trace.t_s, end_s))
    if at < 2 or at >= len(trace.t_s) or trace.t_s[at] - trace.t_s[at - 1] > hold_s(trace.t_s):
        return False
    behind = slice(at, at + 2)
    stays = float(np.ptp(trace.command[at - 2 : at + 2])) < _STAYS * abs(float(trace.command[at]))
    start_v = float(trace.current_a[behind].max()) * model.resistance_ohm
    return bool(stays and start_v > _START_SHARE * trace.applied_v[at])


def _lost_at_once(trace: MotorTrace, low_a: float, start_s: float) -> bool:
    """Whether a plain load, under a command that stays, is gone from one sample to the next but one."""
    at = int(np.searchsorted(trace.t_s, start_s))
    last = max(at - 1, 0)
    if trace.t_s[at] - trace.t_s[last] > hold_s(trace.t_s):
        return False
    from_s = int(np.searchsorted(trace.t_s, start_s - _STAYED_S))
    near, earlier = slice(max(at - 3, 0), max(at - 1, 1)), slice(min(from_s, max(at - 6, 0)), max(at - 3, 1))
    lately = slice(earlier.start, at + 1)
    stays = float(np.ptp(trace.command[lately])) < _STAYS * abs(float(trace.command[at]))
    load_a = float(np.median(trace.current_a[near]))
    earlier_a = float(np.median(trace.current_a[earlier]))
    return bool(stays and load_a > _HELD * earlier_a and min(load_a, earlier_a) > _PLAIN_TIMES * low_a)


def _groups(nothing: FloatArray, loaded: FloatArray) -> list[tuple[float, float]]:
    """Stretches without current joined until load is seen again."""
    groups: list[tuple[float, float]] = []
    for start_s, end_s in nothing.tolist():
        if groups and not _any_between(loaded, groups[-1][1], start_s):
            groups[-1] = (groups[-1][0], end_s)
        else:
            groups.append((start_s, end_s))
    return groups


def _any_between(loaded: FloatArray, from_s: float, to_s: float) -> bool:
    return bool(((loaded[:, 1] > from_s) & (loaded[:, 0] < to_s)).any())


def _interruption(
    trace: MotorTrace, group: tuple[float, float], loaded: FloatArray, drives: FloatArray
) -> Interruption:
    start_s, end_s = group
    just_before = loaded[(loaded[:, 1] <= start_s + _BRIDGE_S) & (loaded[:, 1] >= start_s - _JUST_BEFORE_S)]
    after = loaded[loaded[:, 0] >= end_s - _BRIDGE_S]
    around = drives[(drives[:, 0] <= start_s) & (drives[:, 1] >= end_s)]
    came_back = len(after) > 0
    back_at_once = came_back and float(after[0, 0]) - end_s <= _BRIDGE_S + 2 * period_s(trace.t_s)
    one_drive = (
        len(just_before) > 0
        and came_back
        and len(around) > 0
        and bool(around[0, 0] < start_s - _ROUNDING_S and around[0, 1] > float(after[0, 0]))
    )
    before = (trace.t_s >= start_s - _JUST_BEFORE_S) & (trace.t_s < start_s) & trace.driven
    before_a = float(trace.current_a[before].max()) if before.any() and len(just_before) else None
    return Interruption(
        start_s=start_s,
        end_s=end_s,
        worked_before=bool((loaded[:, 0] < start_s).any()),
        while_driven=len(just_before) > 0,
        came_back=came_back,
        back_while_driven=back_at_once,
        one_drive=one_drive,
        before_a=before_a,
    )

"""Devices of one harness that are lost in the same instant, and the link at which it broke.

Lost is what is missing or frozen in the log, draws no current under command, or keeps silent while the rest
of the log says that something passed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.estimators.releases import launcher_dips
from telemetry.estimators.silent_parts import find_lost_in_one_instant, find_silent_part
from telemetry.log import BoolArray, FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import HarnessBreak
from telemetry.robot import Harness
from telemetry.signals import period_s

__all__ = ["explained_by_harness", "find_harness_breaks"]

_SAME_INSTANT_S, _READINGS = 0.15, 2.0
_INFERRED_S = 0.6
"""How far apart the onsets of silence may lie, which are inferred and not read."""
_LEAST_S = 0.4
_BEFORE_S, _AFTER_S = 0.8, 0.3
_LEAST_UNSEEN, _MOSTLY_SEEN, _CHANCE = 2, 0.8, 0.1
_LEAST_SILENT_S = 2.0
_LEAST_BEAMS = 3
_LOADED = 0.1
_VAGUE_S = 3.0
_CONFIDENCE = {"missing": 0.97, "frozen": 0.95, "no draw": 0.92, "silent": 0.85}


@dataclass(frozen=True)
class _Loss:
    """One device that is lost for a while; `sudden` says whether its first instant is known.

    It was last seen well at `well_s`: just before, where it is sudden.
    """

    device: str
    how: str
    start_s: float
    end_s: float
    sudden: bool = True
    well_s: float = np.inf


def explained_by_harness(known: Analysis, device: str, start_s: float, end_s: float) -> bool:
    """Whether a trouble of one device lies where its harness lost it: then that is told in its place."""
    return any(
        device in one.lost and start_s < one.end_s + _INFERRED_S and end_s > one.start_s - _INFERRED_S
        for one in known.harness_breaks
    )


def find_harness_breaks(known: Analysis) -> tuple[HarnessBreak, ...]:
    """The breaks of every harness in the order of time; at least two devices lost together make one."""
    found: list[HarnessBreak] = []
    for harness in known.robot.harnesses:
        losses = [loss for device in harness.order for loss in _losses(known, device)]
        losses += _silences(known, harness) or _lost_at_once(known, harness)
        part = _part_lost(known, harness)
        whole = _breaks(known, harness, sorted(losses, key=lambda loss: loss.start_s))
        found += part + [one for one in whole if not any(_overlap(one, other) for other in part)]
    return tuple(sorted(found, key=lambda one: one.start_s))


def _part_lost(known: Analysis, harness: Harness) -> list[HarnessBreak]:
    part = find_silent_part(known, harness)
    if part is None:
        return []
    return [
        HarnessBreak(
            harness=harness.name,
            start_s=part.start_s,
            end_s=part.end_s,
            link=(harness.name,),
            lost=MappingProxyType(dict.fromkeys(part.beams, "silent")),
            confidence=_CONFIDENCE["silent"],
            open_at_end=part.end_s >= known.match.end_s,
        )
    ]


def _overlap(one: HarnessBreak, other: HarnessBreak) -> bool:
    return one.start_s < other.end_s and other.start_s < one.end_s


def _losses(known: Analysis, device: str) -> list[_Loss]:
    lapses = [lapse for name in _channels(known, device) for lapse in known.lapses.get(name, ())]
    losses = [_Loss(device, lapse.kind, lapse.start_s, lapse.end_s) for lapse in lapses]
    interruptions = known.interruptions.get(device, ())
    return losses + [
        _Loss(
            device, "no draw", one.start_s, one.end_s, one.while_driven, _drew_s(known, device, one.start_s)
        )
        for one in interruptions
    ]


def _drew_s(known: Analysis, motor: str, before_s: float) -> float:
    """When a motor last drew a load before an instant; minus infinity where it never did."""
    drew_s = _loaded_s(known.motors[motor])
    drew_s = drew_s[drew_s < before_s]
    return float(drew_s[-1]) if len(drew_s) else -np.inf


def _loaded_s(trace: MotorTrace) -> FloatArray:
    """The instants at which a driven motor draws a good part of its highest current."""
    loaded = trace.driven & (trace.current_a > _LOADED * float(trace.current_a.max(initial=0.0)))
    return np.asarray(trace.t_s[loaded])


def _channels(known: Analysis, device: str) -> list[str]:
    """The channels of a device that the log holds."""
    robot = known.robot
    motor = robot.motors.get(device)
    names: list[str | None] = [motor.current, motor.speed, motor.command] if motor else []
    sensors = (robot.beams.get(device), robot.limits.get(device), robot.ranges.get(device))
    names += [sensor.signal for sensor in sensors if sensor is not None]
    return [name for name in names if name is not None and name in known.part.channels]


# Silence


def _silences(known: Analysis, harness: Harness) -> list[_Loss]:
    """Beams of the harness that keep silent together while pieces leave through the launcher.

    Two pieces that leave move past the last two beams at least; one beam that is dead would not silence the
    others. With fewer than three beams that cannot be told.
    """
    beams = [name for name in harness.order if name in known.beams]
    last = [name for name in known.robot.beams_in_order() if name in known.beams][-1:]
    if len(beams) < _LEAST_BEAMS or last[0] not in beams:
        return []
    dips_s = launcher_dips(known.robot, known.motors)
    dips_s = dips_s[(dips_s >= known.match.start_s) & (dips_s <= known.match.end_s)]
    edges_s = np.sort(np.concatenate([known.beams[name].t_s[1:] for name in beams]))
    seen = np.searchsorted(edges_s, dips_s + _AFTER_S) > np.searchsorted(edges_s, dips_s - _BEFORE_S)
    if not len(dips_s) or not len(edges_s):
        return []
    bounds_s = np.concatenate(([known.match.start_s], edges_s, [max(known.match.end_s, edges_s[-1])]))
    silence = np.searchsorted(bounds_s, dips_s, side="right") - 1
    losses = []
    for number in np.unique(silence[~seen]).tolist():
        within = silence == number
        unseen_s = dips_s[within & ~seen]
        tells = _cannot_be_chance(len(unseen_s), seen[~within])
        start_s, end_s = float(bounds_s[number]), float(bounds_s[min(number + 1, len(bounds_s) - 1)])
        if tells and len(unseen_s) >= _LEAST_UNSEEN and end_s - start_s >= _LEAST_SILENT_S:
            losses += [_Loss(name, "silent", start_s, end_s) for name in beams]
    return losses


def _cannot_be_chance(unseen: int, seen_elsewhere: BoolArray) -> bool:
    """Whether so many dips without a piece are more than the false ones elsewhere would heap up anywhere."""
    if not len(seen_elsewhere) or float(seen_elsewhere.mean()) < _MOSTLY_SEEN:
        return False
    false_share = (np.count_nonzero(~seen_elsewhere) + 1) / (len(seen_elsewhere) + 2)
    return bool(len(seen_elsewhere) * false_share**unseen < _CHANCE)


def _lost_at_once(known: Analysis, harness: Harness) -> list[_Loss]:
    """Beams that fall silent in one instant: of a chain, since a part of a star is told as one."""
    beams = [name for name in harness.order if name in known.beams]
    if harness.kind == "star" or len(beams) < _LEAST_BEAMS:
        return []
    part = find_lost_in_one_instant(known, beams)
    return [_Loss(name, "silent", part.start_s, part.end_s) for name in part.beams] if part else []


# Breaks


def _breaks(known: Analysis, harness: Harness, losses: Sequence[_Loss]) -> list[HarnessBreak]:
    found: list[HarnessBreak] = []
    for first in losses:
        taken = bool(found) and first.start_s < found[-1].end_s
        if taken or first.end_s - first.start_s < _LEAST_S:
            continue
        one = _break_at(known, harness, losses, first)
        if one is not None:
            found.append(one)
    return found


def _break_at(
    known: Analysis, harness: Harness, losses: Sequence[_Loss], first: _Loss
) -> HarnessBreak | None:
    """The break that began with one loss, or None where what was lost does not fit the harness."""
    within_s = _INFERRED_S if first.how == "silent" else _same_instant_s(known, first.device)
    lost = {loss.device: loss for loss in losses if _fits(loss, first, within_s)}
    if len(lost) < 2 or first.start_s - max(loss.well_s for loss in lost.values()) > _VAGUE_S:
        return None
    end_s = float(np.median([loss.end_s for loss in lost.values()]))
    alive = [device for device in harness.order if device not in lost and _lives(known, device, first, end_s)]
    link = _link(harness, list(lost), alive)
    if link is None:
        return None
    return HarnessBreak(
        harness=harness.name,
        start_s=first.start_s,
        end_s=end_s,
        link=link,
        lost=MappingProxyType({device: lost[device].how for device in harness.order if device in lost}),
        confidence=_CONFIDENCE[first.how],
        open_at_end=end_s >= known.match.end_s,
    )


def _fits(loss: _Loss, first: _Loss, within_s: float) -> bool:
    """Whether a device may have been lost in the instant of the first: where idle, it shows only later."""
    if loss.sudden:
        return 0 <= loss.start_s - first.start_s <= within_s
    return first.start_s <= loss.start_s < first.end_s and loss.well_s <= first.start_s + within_s


def _same_instant_s(known: Analysis, device: str) -> float:
    periods_s = [period_s(known.part.channels[name].t_s) for name in _channels(known, device)]
    return _SAME_INSTANT_S + _READINGS * max(periods_s, default=0.0)


def _lives(known: Analysis, device: str, first: _Loss, end_s: float) -> bool:
    """Whether a device that is not among the lost ones shows itself alive; False where idle or unlogged."""
    channels = _channels(known, device)
    if first.how in ("missing", "frozen"):
        return bool(channels)
    trace = known.motors.get(device)
    if trace is not None:
        drew_s = _loaded_s(trace)
        return bool(((drew_s >= first.start_s) & (drew_s < end_s)).any())
    beam = known.beams.get(device) or known.limits.get(device)
    return beam is not None and bool(((beam.t_s >= first.start_s) & (beam.t_s < end_s)).any())


def _link(harness: Harness, lost: Sequence[str], alive: Sequence[str]) -> tuple[str, ...] | None:
    """Where it broke: None where a device beyond the break lives (chain), or any at all (star)."""
    if harness.kind == "star":
        return None if alive else (harness.name,)
    place: Mapping[str, int] = {device: number for number, device in enumerate(harness.order)}
    first = min(place[device] for device in lost)
    if any(place[device] > first for device in alive):
        return None
    before = [device for device in alive if place[device] < first]
    return (before[-1] if before else harness.name, harness.order[first])

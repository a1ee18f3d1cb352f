"""Where a channel lapses though the log goes on: its values are missing, or one number repeats for too long.

How long is too long is asked of the channel itself: a reading that trembles all the time and then stands
still is frozen, one that often stands still when it is well is not.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from telemetry.log import BoolArray, Channel, FloatArray, Kind, Log
from telemetry.match import Match
from telemetry.records.sensors import Lapse
from telemetry.robot import Robot
from telemetry.signals import period_s

__all__ = ["find_lapses", "resting_at_zero"]

_LEAST_MISSING_S, _MISSING_PERIODS = 0.5, 5.0
_LEAST_FROZEN_S, _FROZEN_PERIODS = 0.5, 10.0
_LEAST_ENABLED_S = 0.5
_BY_CHANCE = 1e-4
"""A repeat so long that it comes about in one log of ten thousand is frozen (our choice)."""
_TIMES_USUAL = 4.0
_TURNS = 0.35
_TIMES_USUAL_SMOOTH, _MOST_SMOOTH = 20.0, 1
_MOST_FREEZES = 5
_LEAST_LIVE = 50
_MOSTLY = 0.8


def find_lapses(log: Log, robot: Robot, match: Match, gaps_s: FloatArray) -> Mapping[str, tuple[Lapse, ...]]:
    """The lapses of each channel that the robot file names, in the order of time; those without are left out.

    Silences of the whole log are none, nor what is logged on change only. Numbers freeze, switches do not.
    Sources: QARTOD manual for temperature and salinity (U.S. IOOS), tests 1 (gap) and 8 (flat line), with
    limits that follow the channel's own rate and noise.
    """
    rest = resting_at_zero(log, robot)
    found: dict[str, tuple[Lapse, ...]] = {}
    for _key, name in robot.references():
        channel = log.channels.get(name)
        if channel is None or not channel.sampled or len(channel.t_s) < 2 or name in found:
            continue
        lapses = _missing(channel, log, match, gaps_s)
        if channel.kind is Kind.NUMBER:
            lapses += _frozen(channel, match, rest.get(name))
        if lapses:
            found[name] = tuple(sorted(lapses, key=lambda lapse: lapse.start_s))
    return MappingProxyType(_without_held_commands(found, robot))


def _without_held_commands(
    found: Mapping[str, tuple[Lapse, ...]], robot: Robot
) -> dict[str, tuple[Lapse, ...]]:
    """A command is held on purpose: it counts as frozen only while its motor's current or speed is so too."""
    kept = dict(found)
    for motor in robot.motors.values():
        beside = [lapse for name in (motor.current, motor.speed) if name for lapse in found.get(name, ())]
        if motor.command in kept and motor.command not in (motor.current, motor.speed):
            lapses = found[motor.command]
            stay = [lapse for lapse in lapses if lapse.kind == "missing" or _any_together(lapse, beside)]
            kept[motor.command] = tuple(stay)
    return {name: lapses for name, lapses in kept.items() if lapses}


def _any_together(lapse: Lapse, others: list[Lapse]) -> bool:
    return any(
        other.kind == lapse.kind and other.start_s < lapse.end_s and lapse.start_s < other.end_s
        for other in others
    )


def resting_at_zero(log: Log, robot: Robot) -> Mapping[str, BoolArray]:
    """Where a current or speed of a motor, or its command, may honestly stand at 0, by channel."""
    rest: dict[str, BoolArray] = {}
    for motor in robot.motors.values():
        for name in (motor.current, motor.speed, motor.command):
            channel = log.channels.get(name) if name else None
            if channel is not None:
                rest[channel.name] = channel.values == 0
    return rest


# Missing


def _missing(channel: Channel, log: Log, match: Match, gaps_s: FloatArray) -> list[Lapse]:
    apart_s = period_s(channel.t_s)
    if not len(channel.t_s) or not len(log.t_s) or apart_s == 0:
        return []
    read_s = np.concatenate(([log.t_s[0] - apart_s], channel.t_s, [log.t_s[-1] + apart_s]))
    wide = np.flatnonzero(np.diff(read_s) > max(_LEAST_MISSING_S, _MISSING_PERIODS * apart_s))
    found = []
    for start_s, end_s in zip(read_s[wide] + apart_s, read_s[wide + 1], strict=True):
        if _covered_s(gaps_s, start_s, end_s) < _MOSTLY * (end_s - start_s):
            enabled_s = _enabled_s(match, float(start_s), float(end_s))
            if enabled_s >= _LEAST_ENABLED_S:
                found.append(Lapse(channel.name, "missing", float(start_s), float(min(end_s, log.t_s[-1]))))
    return found


def _covered_s(gaps_s: FloatArray, start_s: float, end_s: float) -> float:
    """How much of an interval lies in gaps of the whole log."""
    shared = np.minimum(gaps_s[:, 1], end_s) - np.maximum(gaps_s[:, 0], start_s)
    return float(np.maximum(shared, 0.0).sum())


def _enabled_s(match: Match, start_s: float, end_s: float) -> float:
    if match.source == "whole log":
        return end_s - start_s
    return sum(max(0.0, min(phase.end_s, end_s) - max(phase.start_s, start_s)) for phase in match.enabled())


# Frozen


def _frozen(channel: Channel, match: Match, at_rest: BoolArray | None) -> list[Lapse]:
    first, last = _equal_runs(channel.values)
    apart_s = period_s(channel.t_s)
    lasting_s = channel.t_s[last] - channel.t_s[first]
    long = lasting_s >= max(_LEAST_FROZEN_S, _FROZEN_PERIODS * apart_s)
    if not long.any():
        return []
    trembles = _trembles(channel.values, first, last, long)
    if not trembles and np.count_nonzero(long) > _MOST_SMOOTH:
        return []
    honest = np.zeros(len(first), dtype=bool) if at_rest is None else at_rest[first]
    honest |= long & _comes_again(channel.values[first], long)
    suspect = np.flatnonzero(long & ~honest & _too_long_for_chance(first, last, long))
    usual_s = lasting_s[~honest & ~np.isin(np.arange(len(first)), suspect)]
    if len(suspect) > _MOST_FREEZES or not len(usual_s):
        return []
    least_s = (_TIMES_USUAL if trembles else _TIMES_USUAL_SMOOTH) * float(usual_s.max())
    return [
        Lapse(channel.name, "frozen", float(channel.t_s[first[run]]), float(channel.t_s[last[run]]) + apart_s)
        for run in suspect
        if lasting_s[run] >= least_s
        and _enabled_s(match, float(channel.t_s[first[run]]), float(channel.t_s[last[run]]))
        >= _LEAST_ENABLED_S
    ]


def _trembles(values: FloatArray, first: np.ndarray, last: np.ndarray, long: BoolArray) -> bool:
    """Whether its changes go to and fro, as noise does: then standing still for a while is remarkable.

    Of a smooth reading only one stretch, far longer than any other, is taken for frozen.

    Of independent readings two in three changes turn the other way; what follows a machine seldom does.
    """
    inside = np.zeros(len(values) + 1, dtype=np.intp)
    np.add.at(inside, first[long], 1)
    np.add.at(inside, last[long] + 1, -1)
    change = np.diff(values)[np.cumsum(inside)[1:-1] == 0]
    change = np.sign(change[change != 0])
    return len(change) > _LEAST_LIVE and float((change[1:] != change[:-1]).mean()) >= _TURNS


def _equal_runs(values: FloatArray) -> tuple[np.ndarray, np.ndarray]:
    """First and last index of every run of equal values, each shape (k,)."""
    changes = np.flatnonzero(values[1:] != values[:-1]) + 1
    return np.concatenate(([0], changes)), np.concatenate((changes - 1, [len(values) - 1]))


def _comes_again(held: FloatArray, long: BoolArray) -> BoolArray:
    """Levels at which a channel stands for long more than once are where it rests, shape (k,)."""
    levels, times = np.unique(held[long], return_counts=True)
    return np.isin(held, levels[times > 1])


def _too_long_for_chance(first: np.ndarray, last: np.ndarray, long: BoolArray) -> BoolArray:
    """Whether a run would hardly come about in a log this long, by how often a live reading repeats, (k,)."""
    repeats = last - first
    live = int((repeats + 1)[~long].sum())
    if live < _LEAST_LIVE:
        return np.zeros(len(first), dtype=bool)
    again = (int(repeats[~long].sum()) + 1) / (live + 2)
    return np.asarray(repeats * np.log(again) < np.log(_BY_CHANCE / (int(last[-1]) + 1)))

"""Phases and matches, from the phase channel or from what the motors did."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from telemetry.log import BoolArray, Channel, FloatArray, Log
from telemetry.match import ENABLED_PHASES, Match, Phase
from telemetry.robot import MatchSection, Robot
from telemetry.signals import hold_s, spans

__all__ = ["find_matches"]

SAME_MATCH_S = 10.0
"""Enabled stretches less than this apart are one match (contract)."""
SHORTEST_MATCH_S = 20.0
"""A match has at least this much from first to last enabled (contract)."""

_MOVING_COMMAND = 0.05
_MOVING_A = 3.0
_WORDS = {
    "disabled": ("disabled", "disable", "off", "none", "idle"),
    "autonomous": ("autonomous", "auto"),
    "teleop": ("teleop", "teleoperated", "driver", "enabled", "manual"),
    "endgame": ("endgame",),
}


def find_matches(log: Log, robot: Robot, *, stem: str) -> tuple[Match, ...]:
    """Every match in a log, in order; the whole log as one where nothing is ever enabled.

    Names are `stem`, `stem-2`, `stem-3` …
    """
    phases, source = _from_channel(log, robot.match), "channel"
    if not phases:
        phases, source = _from_activity(log, robot), "activity"
    groups = _groups(phases)
    if not groups:
        return (_whole_log(log, stem, phases if source == "channel" else ()),)
    edges = [
        0.0,
        *((left[-1].end_s + right[0].start_s) / 2 for left, right in pairwise(groups)),
    ]
    edges.append(np.nextafter(log.span_s, np.inf))
    return tuple(
        _match(
            stem if number == 1 else f"{stem}-{number}",
            group,
            (edges[number - 1], edges[number]),
            robot.match,
            source,
        )
        for number, group in enumerate(groups, start=1)
    )


def _from_channel(log: Log, section: MatchSection) -> list[Phase]:
    channel = log.channels.get(section.phase) if section.phase else None
    if channel is None or not len(channel.values):
        return []
    holds_s = _holds_s(channel)
    end_s = np.nextafter(log.span_s, np.inf)
    found = [
        Phase(phase, float(start), float(end))
        for phase in ("disabled", *ENABLED_PHASES)
        for start, end in spans(
            channel.t_s, _is_phase(channel, section, phase), end_s, holds_s, bridge_s=holds_s
        )
    ]
    return sorted(found, key=lambda phase: phase.start_s)


def _holds_s(channel: Channel) -> float:
    """How long a value stands for: of a channel logged when it changes, until the next."""
    return hold_s(channel.t_s) if channel.sampled else np.inf


def _is_phase(channel: Channel, section: MatchSection, phase: str) -> BoolArray:
    listed = section.values.get(phase) if section.values else _WORDS[phase]  # type: ignore[call-overload]
    flagged = np.zeros(len(channel.values), dtype=bool)
    for value in listed or ():
        flagged |= channel.equals(value)
    return flagged


def _from_activity(log: Log, robot: Robot) -> list[Phase]:
    stretches: list[FloatArray] = []
    for motor in robot.motors.values():
        for name, floor in ((motor.command, _MOVING_COMMAND), (motor.current, _MOVING_A)):
            channel = log.channels.get(name) if name else None
            if channel is not None and len(channel.values):
                moving = np.abs(channel.canonical()) > floor
                stretches.append(spans(channel.t_s, moving, log.span_s, _holds_s(channel)))
    if not stretches:
        return []
    together = np.concatenate(stretches)
    together = together[np.argsort(together[:, 0], kind="stable")]
    return _schedule(_joined(together), robot.match)


def _joined(stretches: FloatArray) -> list[tuple[float, float]]:
    """Stretches sorted by start, joined where less than SAME_MATCH_S apart."""
    if not len(stretches):
        return []
    reach = np.maximum.accumulate(stretches[:, 1])
    first = np.concatenate(([True], stretches[1:, 0] - reach[:-1] >= SAME_MATCH_S))
    starts = stretches[first, 0]
    ends = reach[np.append(np.flatnonzero(first)[1:] - 1, len(stretches) - 1)]
    return [(float(start), float(end)) for start, end in zip(starts, ends, strict=True)]


def _schedule(stretches: Sequence[tuple[float, float]], section: MatchSection) -> list[Phase]:
    phases = []
    for start, end in stretches:
        switch = min(start + section.autonomous_s, end)
        phases += [Phase("autonomous", start, switch), Phase("teleop", switch, end)]
    return [phase for phase in phases if phase.end_s > phase.start_s]


def _groups(phases: Sequence[Phase]) -> list[list[Phase]]:
    groups: list[list[Phase]] = []
    for phase in phases:
        if phase.phase not in ENABLED_PHASES:
            continue
        if groups and phase.start_s - groups[-1][-1].end_s < SAME_MATCH_S:
            groups[-1].append(phase)
        else:
            groups.append([phase])
    return [group for group in groups if group[-1].end_s - group[0].start_s >= SHORTEST_MATCH_S]


def _match(
    name: str, enabled: list[Phase], window_s: tuple[float, float], section: MatchSection, source: str
) -> Match:
    endgame_s = _endgame_begins_s(enabled, section)
    parts = [part for phase in enabled for part in _endgame_apart(phase, endgame_s)]
    covered = _with_disabled(parts, window_s)
    return Match(name, enabled[0].start_s, enabled[-1].end_s, window_s, tuple(covered), source)


def _endgame_begins_s(enabled: Sequence[Phase], section: MatchSection) -> float:
    """When the last part of teleop begins by the schedule, counted from the first teleop; else never."""
    teleop_s = min((phase.start_s for phase in enabled if phase.phase == "teleop"), default=np.inf)
    return np.inf if section.endgame_s == 0 else teleop_s + section.teleop_s - section.endgame_s


def _endgame_apart(phase: Phase, begins_s: float) -> list[Phase]:
    if phase.phase != "teleop" or phase.end_s <= begins_s:
        return [phase]
    if phase.start_s >= begins_s:
        return [Phase("endgame", phase.start_s, phase.end_s)]
    return [Phase("teleop", phase.start_s, begins_s), Phase("endgame", begins_s, phase.end_s)]


def _with_disabled(parts: Sequence[Phase], window_s: tuple[float, float]) -> list[Phase]:
    covered: list[Phase] = []
    reached_s = window_s[0]
    for part in parts:
        if part.start_s > reached_s:
            covered.append(Phase("disabled", reached_s, part.start_s))
        covered.append(part)
        reached_s = part.end_s
    if window_s[1] > reached_s:
        covered.append(Phase("disabled", reached_s, window_s[1]))
    return covered


def _whole_log(log: Log, stem: str, phases: Sequence[Phase]) -> Match:
    end_s = float(np.nextafter(log.span_s, np.inf))
    return Match(stem, 0.0, log.span_s, (0.0, end_s), tuple(phases), "whole log")

"""Robots and hand-made signals for tests: beams broken when told, motors as told, at any rate."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from telemetry.analysis import Analysis
from telemetry.log import BoolArray, Channel, FloatArray, Log
from telemetry.match import Match, Phase
from telemetry.records.sensors import Switching
from telemetry.robot import Robot
from tests.telemetry.logs import log_of, numbers, switch

__all__ = [
    "RATES_HZ", "analysis_of", "change_logged", "clock", "held", "inside", "match_of", "passing", "robot_of",
    "sampled_switch", "switching",
]  # fmt: skip

RATES_HZ = (10.0, 25.0, 50.0, 250.0, 1000.0)

Intervals = Sequence[tuple[float, float]]


def robot_of(text: str) -> Robot:
    """A robot by the text of its file."""
    return Robot.model_validate(tomllib.loads(text))


def clock(length_s: float, rate_hz: float = 50.0, *, jitter: float = 0.0) -> FloatArray:
    """Instants from 0 to below `length_s`; `jitter` as a share of the period, to either side."""
    number = np.arange(round(length_s * rate_hz))
    shift = jitter * np.random.default_rng(0).uniform(-1, 1, len(number)) if jitter else 0.0
    t_s = (number + shift) / rate_hz
    frozen: FloatArray = t_s - t_s[0]
    frozen.setflags(write=False)
    return frozen


def inside(t_s: FloatArray, intervals: Intervals) -> BoolArray:
    """Where an instant lies in one of the half-open intervals."""
    found = np.zeros(len(t_s), dtype=bool)
    for start, end in intervals:
        found |= (t_s >= start) & (t_s < end)
    return found


def sampled_switch(name: str, t_s: FloatArray, on: Intervals, *, on_value: int = 1) -> Channel:
    """A switch read at every instant."""
    read = inside(t_s, on)
    return switch(name, (read if on_value else ~read).astype(float).tolist(), t_s.tolist())


def change_logged(name: str, on: Intervals, *, start_s: float = 0.0, on_value: int = 1) -> Channel:
    """A switch logged at the start and whenever it changes."""
    edges = [(start_s, 1 - on_value)]
    for start, end in on:
        edges += [(start, on_value), (end, 1 - on_value)]
    return replace(switch(name, [value for _, value in edges], [at for at, _ in edges]), sampled=False)


def switching(on: Intervals, end_s: float, *, period_s: float = 0.0) -> Switching:
    """A two-state signal that is on in the given intervals, off at the start."""
    t_s = np.array([0.0, *(edge for interval in on for edge in interval)])
    state = np.arange(len(t_s)) % 2 == 1
    t_s.setflags(write=False)
    state.setflags(write=False)
    return Switching(t_s, state, end_s, period_s)


def passing(at_s: Sequence[float], lasting_s: float = 0.15) -> list[tuple[float, float]]:
    """Intervals that begin at each instant and last alike."""
    return [(at, at + lasting_s) for at in at_s]


def held(
    name: str, t_s: FloatArray, levels: Mapping[tuple[float, float], float], rest: float = 0.0
) -> Channel:
    """A number that holds a level in each interval and `rest` elsewhere."""
    values = np.full(len(t_s), rest)
    for interval, level in levels.items():
        values[inside(t_s, [interval])] = level
    return numbers(name, values.tolist(), t_s.tolist())


def match_of(length_s: float = 100.0, *, start_s: float = 0.0) -> Match:
    """A match in teleop from its start to 10 s before the end of the log."""
    end_s = length_s - 10.0
    phases = [Phase("teleop", start_s, end_s), Phase("disabled", end_s, length_s)]
    if start_s:
        phases.insert(0, Phase("disabled", 0.0, start_s))
    return Match("match-01", start_s, end_s, (0.0, length_s), tuple(phases), "channel")


def analysis_of(robot: Robot, log: Log | None = None, **parts: Any) -> Analysis:
    """What is known of a match of 90 s, as written out."""
    whole = log or log_of(numbers("load_a", [0.0] * 101))
    return Analysis(whole, whole, robot, parts.pop("match", match_of()), **parts)

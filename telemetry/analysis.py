"""Analysis: everything known of one match, in one frozen record that grows from step to step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from types import MappingProxyType
from typing import TypeVar

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.finding import Check, Finding
from telemetry.log import FloatArray, Log
from telemetry.match import Match
from telemetry.records.guess import Guess
from telemetry.records.motors import Interruption, MotorStates, MotorTrace, MotorUse, Protection
from telemetry.records.pieces import Cycle, Driving, Pieces
from telemetry.records.sensors import (
    Burst,
    HarnessBreak,
    Lapse,
    LimitTrouble,
    RangeUse,
    SensorState,
    Switching,
    Travel,
)
from telemetry.records.start_heat import StartHeat
from telemetry.records.supply import Supply
from telemetry.robot import Robot

__all__ = ["Action", "Analysis", "Contact", "Guess"]

T = TypeVar("T")


def _empty() -> Mapping[str, T]:
    return MappingProxyType({})


@dataclass(frozen=True)
class Contact:
    """A hit. `peak_g` and `direction_deg` are None where no accelerometer saw it.

    `direction_deg` is the direction of the first push in the plane of the two axes, from the first axis
    towards the second; `source` is `accelerometer` or `drive current`.
    """

    t_s: float
    peak_g: float | None
    duration_s: float
    source: str
    direction_deg: float | None = None


@dataclass(frozen=True)
class Action:
    """One line of the pit list: what to do, and the findings (indices into `Analysis.findings`) behind it."""

    text: str
    subject: str
    why: str
    when_s: float
    severity: str
    minutes: float
    cautions: tuple[str, ...]
    findings: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Analysis:
    """What is known so far; each step returns a copy with one more part filled in.

    Findings stand in the order of time. `notes` say what could not be looked at, besides `checks`;
    `failures` name each step that broke, with the reason.

    Attributes:
        log: the whole file.
        part: the match's own part of it, on the same clock; what all steps work on.
        start_heat: what the match before left in the motors; None where all start from cold.
        gaps_s: (k, 2), silences of the whole log: last instant before, first after.
        honest_dwell_s: by beam or limit, the dwell below which a change is too quick to be honest.
        bursts: by beam or limit, where such changes crowd.
    """

    log: Log
    part: Log
    robot: Robot
    match: Match
    guesses: tuple[Guess, ...] = ()
    start_heat: StartHeat | None = None
    gaps_s: FloatArray = field(default_factory=lambda: np.empty((0, 2)))
    contacts: tuple[Contact, ...] = ()
    beams: Mapping[str, Switching] = field(default_factory=_empty)
    limits: Mapping[str, Switching] = field(default_factory=_empty)
    honest_dwell_s: Mapping[str, float] = field(default_factory=_empty)
    bursts: Mapping[str, tuple[Burst, ...]] = field(default_factory=_empty)
    motors: Mapping[str, MotorTrace] = field(default_factory=_empty)
    motor_states: Mapping[str, MotorStates] = field(default_factory=_empty)
    motor_use: Mapping[str, MotorUse] = field(default_factory=_empty)
    interruptions: Mapping[str, tuple[Interruption, ...]] = field(default_factory=_empty)
    protections: Mapping[str, Protection] = field(default_factory=_empty)
    limit_troubles: Mapping[str, tuple[LimitTrouble, ...]] = field(default_factory=_empty)
    travels: tuple[Travel, ...] = ()
    lapses: Mapping[str, tuple[Lapse, ...]] = field(default_factory=_empty)
    harness_breaks: tuple[HarnessBreak, ...] = ()
    range_use: Mapping[str, RangeUse] = field(default_factory=_empty)
    supply: Supply | None = None
    pieces: Pieces | None = None
    cycles: tuple[Cycle, ...] = ()
    driving: Driving | None = None
    findings: tuple[Finding, ...] = ()
    checks: tuple[Check, ...] = ()
    sensors: Mapping[str, SensorState] = field(default_factory=_empty)
    pit_list: tuple[Action, ...] = ()
    notes: tuple[str, ...] = ()
    failures: tuple[str, ...] = ()
    settings: Mapping[str, object] = field(default_factory=_empty)

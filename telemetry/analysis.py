"""Analysis: everything known of one match, in one frozen record that grows from step to step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TypeVar

import numpy as np

from telemetry.finding import Check, Finding
from telemetry.log import BoolArray, FloatArray, Log
from telemetry.match import Match
from telemetry.robot import Robot
from telemetry.statistics import RateComparison

__all__ = [
    "Action", "Analysis", "BeamHealth", "Burst", "Contact", "Count", "Cycle", "Dip", "Driving", "Guess",
    "HarnessBreak", "Interruption", "Lapse", "LimitTrouble", "MotorStates", "MotorTrace", "MotorUse",
    "PieceStep", "Pieces", "Protection", "RangeUse", "SensorState", "SourceStretch", "Supply", "Switching",
    "Travel",
]  # fmt: skip

T = TypeVar("T")


def _empty() -> Mapping[str, T]:
    return MappingProxyType({})


@dataclass(frozen=True)
class Guess:
    """One role that no robot file told: the dotted key, the channel that filled it, and why."""

    key: str
    channel: str
    why: str


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


@dataclass(frozen=True, eq=False)
class Switching:
    """A two-state signal as steps: from `t_s[i]` on it is `on[i]`, until the next entry or `end_s`.

    Arrays have shape (n,); neighbours differ. For a beam, on means broken; for a limit, pressed.
    `period_s` is how far apart readings are: 0 where every change was logged.
    """

    t_s: FloatArray
    on: BoolArray
    end_s: float
    period_s: float

    @property
    def transitions(self) -> int:
        """How often it changed."""
        return max(len(self.t_s) - 1, 0)


@dataclass(frozen=True)
class Burst:
    """A stretch of chatter: how many extra edges, the shortest and the median of its short dwells."""

    start_s: float
    end_s: float
    edges: int
    shortest_s: float
    median_s: float


@dataclass(frozen=True, eq=False)
class MotorTrace:
    """What one motor did, on the clock of its current channel; arrays have shape (n,).

    `current_a` is winding current without sign, `command` the duty applied (NaN where not logged),
    `applied_v` the voltage at the winding without sign (NaN where it cannot be told),
    `speed_rad_s` the shaft speed, positive the way it is driven, negative while it is braked against its
    rotation (NaN where it cannot be told), `speed_share` that speed as a share of the free speed at the
    voltage applied (NaN likewise), `heat` the thermal level (1.0 is the limit; NaN where the robot file does
    not tell enough). `speed_source` is `channel`, `back-EMF` or `none`. `supply_a` is what it takes out of
    the battery, negative where it gives back (NaN where that cannot be told), `voltage_v` the battery's
    voltage; both are empty where nothing was worked out. `notes` say what was odd about its channels.
    """

    t_s: FloatArray
    current_a: FloatArray
    command: FloatArray
    speed_rad_s: FloatArray
    speed_share: FloatArray
    heat: FloatArray
    applied_v: FloatArray
    driven: BoolArray
    speed_source: str
    supply_a: FloatArray = field(default_factory=lambda: np.empty(0))
    voltage_v: FloatArray = field(default_factory=lambda: np.empty(0))
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class MotorStates:
    """Where a motor stalled and nearly stalled, each (k, 2) seconds, half-open, and its usual spin-up."""

    stall: FloatArray
    near_stall: FloatArray
    spin_up_s: float


@dataclass(frozen=True)
class Interruption:
    """A stretch in which a driven motor drew nothing, half-open.

    `worked_before` says whether it ever drew before, `while_driven` whether the current went under command,
    `came_back` whether it returned later, `back_while_driven` whether it did so under command, `one_drive`
    whether the command stood throughout. `before_a` is the current just before it, None without one.
    """

    start_s: float
    end_s: float
    worked_before: bool
    while_driven: bool
    came_back: bool
    back_while_driven: bool
    one_drive: bool
    before_a: float | None


@dataclass(frozen=True)
class Protection:
    """A current limit and the time above it that would have stopped a motor only when it stood.

    `tripped` of `stalls` stops, `saved_j` heat kept out of the winding, `healthy_s` the longest that healthy
    work stayed above the limit, all by replaying the log.
    """

    limit_a: float
    after_s: float
    tripped: int
    stalls: int
    saved_j: float
    healthy_s: float


@dataclass(frozen=True)
class MotorUse:
    """One motor's match in a few numbers; None where it cannot be told."""

    peak_current_a: float | None
    stall_s: float | None
    near_stall_s: float | None
    peak_heat: float | None
    end_heat: float | None
    energy_wh: float | None
    energy_by_phase_wh: Mapping[str, float] | None = None
    heat_time_left_s: float | None = None
    """Until the limit of heat, at the load of the last half minute; None where it never gets there."""
    next_match_safe_a: float | None = None
    """The steady current that another match at once, as long, could bear."""
    breaker_fraction: float | None = None
    chain_share: float | None = None


@dataclass(frozen=True)
class Dip:
    """A voltage dip in the terms of IEC 61000-4-30: start, end, and the lowest voltage in it."""

    start_s: float
    end_s: float
    residual_v: float


@dataclass(frozen=True)
class SourceStretch:
    """A stretch in which the battery and its leads kept one resistance, with its 95 % interval.

    `open_circuit_v` is that at its start.
    """

    start_s: float
    end_s: float
    resistance_ohm: float
    low_ohm: float
    high_ohm: float
    open_circuit_v: float


@dataclass(frozen=True, eq=False)
class Supply:
    """The battery as the robot saw it; `t_s` and `voltage_v` have shape (n,).

    `source` are the stretches of one resistance each, `windows` the same in sliding windows.
    """

    t_s: FloatArray
    voltage_v: FloatArray
    open_circuit_v: float | None
    resistance_ohm: float | None
    lowest_v: float | None
    dips: tuple[Dip, ...]
    energy_wh: float | None
    charge_ah: float | None = None
    energy_by_phase_wh: Mapping[str, float] | None = None
    energy_by_mechanism_wh: Mapping[str, float] | None = None
    source: tuple[SourceStretch, ...] = ()
    windows: tuple[SourceStretch, ...] = ()
    current_a: FloatArray = field(default_factory=lambda: np.empty(0))
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Count:
    """A count with its 90 % interval."""

    estimate: int
    low: int
    high: int


@dataclass(frozen=True)
class PieceStep:
    """From `start_s` until the next step: pieces aboard, the chance that this is right, 90 % band."""

    start_s: float
    aboard: int
    probability: float
    low: int
    high: int


@dataclass(frozen=True)
class BeamHealth:
    """A stretch in which a beam told nothing true: `stuck_clear` or `stuck_broken`, and how sure that is.

    `contradictions_s` are the instants at which the story of the pieces gainsays what the beam read: pieces
    that passed it unseen, or a beam that read broken with nothing there; `flickered` says whether the signal
    flickered as the stretch began, as a contact does when it breaks.
    """

    start_s: float
    end_s: float
    state: str
    probability: float
    contradictions_s: tuple[float, ...] = ()
    flickered: bool = False


@dataclass(frozen=True)
class Pieces:
    """The story of the pieces, with each beam's health as part of it.

    `entry_chances` and `release_chances` go with `entries_s` and `releases_s`: how sure it is that a piece
    came in, or went out, within half a second of each. `most_aboard` is the most pieces that the story can
    hold: below the robot's capacity where there are too many places for more to be computed.
    """

    collected: Count
    released: Count
    timeline: tuple[PieceStep, ...]
    entries_s: tuple[float, ...]
    releases_s: tuple[float, ...]
    beam_health: Mapping[str, tuple[BeamHealth, ...]] = field(default_factory=_empty)
    entry_chances: tuple[float, ...] = ()
    release_chances: tuple[float, ...] = ()
    most_aboard: int | None = None


@dataclass(frozen=True)
class Cycle:
    """From the last release of one volley to the last of the next; `stages` in seconds.

    `open` marks the last cycle where the match ended before its release: then `end_s` is that end. `contacts`
    counts the hits in it; `under_contact_s`, `faulty_sensor_s` and `standing_s` are how much of it passed
    under contact, with a beam that lied, and without moving (None where no drive motor tells).
    """

    number: int
    start_s: float
    end_s: float
    pieces: int
    stages: Mapping[str, float]
    open: bool = False
    contacts: int = 0
    under_contact_s: float = 0.0
    faulty_sensor_s: float = 0.0
    standing_s: float | None = None


@dataclass(frozen=True)
class Driving:
    """Cycle times of one match in a few numbers; None where there is too little to tell.

    Attributes:
        median_s, low_s, high_s: of the closed cycles in which a piece was collected; 95 % order statistics.
        waiting_median_s: with the open last cycle as one cut short (Kaplan and Meier).
        clean_median_s: of the cycles without a hit and without a lying beam.
        faulty_sensor_cost_s, contact_cost_s: what cycles with such a trouble took beyond that, in all.
    """

    closed_cycles: int
    median_s: float
    low_s: float | None
    high_s: float | None
    waiting_median_s: float | None
    clean_cycles: int
    clean_median_s: float | None
    faulty_sensor_cost_s: float | None
    contact_cost_s: float | None


@dataclass(frozen=True)
class LimitTrouble:
    """One trouble of a limit, its kind as a finding has it; what does not apply to that kind is None.

    `charge_as` and `peak_a` went through its motor meanwhile; `other` is the other end; `share_of_way` how
    much of the usual turns from end to end the motor had made.
    """

    kind: str
    start_s: float
    end_s: float
    confidence: float
    charge_as: float | None = None
    peak_a: float | None = None
    other: str | None = None
    share_of_way: float | None = None


@dataclass(frozen=True)
class Travel:
    """A motor's way from one limit, from when it opened, to the other, until that closed."""

    motor: str
    start_limit: str
    end_limit: str
    start_s: float
    end_s: float
    charge_as: float | None = None
    peak_a: float | None = None
    turned_rad: float | None = None


@dataclass(frozen=True)
class Lapse:
    """A stretch in which a channel was `missing` or `frozen` while the log went on, half-open."""

    channel: str
    kind: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class HarnessBreak:
    """A stretch in which devices of one harness were lost together.

    `lost` maps each device that shows it to how: `missing`, `frozen`, `no draw` or `silent`; `link` is where
    to look: the last device that lived and the first lost, or the harness itself.
    """

    harness: str
    start_s: float
    end_s: float
    link: tuple[str, ...]
    lost: Mapping[str, str]
    confidence: float
    open_at_end: bool


@dataclass(frozen=True, eq=False)
class RangeUse:
    """What a distance sensor did, in the unit it is logged in.

    `noise` is the standard deviation of its trembling; `near_level` and `far_level` are the two levels
    between which it goes (None where there is one), `jumps_s` (k,) where it left them for less than a piece
    takes. `crossings` counts how often it came nearer than its `threshold`, `pieces` how often without the
    jumps. The better threshold lies midway between the levels, with the least hysteresis that counts best.
    """

    noise: float
    near_level: float | None
    far_level: float | None
    jumps_s: FloatArray
    longest_jump_s: float
    threshold: float | None
    crossings: int
    pieces: int
    better_threshold: float | None
    better_hysteresis: float | None
    better_crossings: int | None


@dataclass(frozen=True)
class SensorState:
    """What a beam, limit or distance sensor was in this match.

    `contact_p_adjusted` is the p-value of the association, adjusted for how many sensors were looked at;
    `contact_words` say it in counts.
    """

    role: str
    transitions: int
    state: str
    dead_since_s: float | None = None
    dead_interval_s: tuple[float, float] | None = None
    contact_association: RateComparison | None = None
    contact_p_adjusted: float | None = None
    contact_words: str | None = None


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
        gaps_s: (k, 2), silences of the whole log: last instant before, first after.
        honest_dwell_s: by beam or limit, the dwell below which a change is too quick to be honest.
        bursts: by beam or limit, where such changes crowd.
    """

    log: Log
    part: Log
    robot: Robot
    match: Match
    guesses: tuple[Guess, ...] = ()
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

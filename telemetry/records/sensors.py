"""What is known of beams, limits and distance sensors: their signal, its troubles, their state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray
from telemetry.statistics import RateComparison

__all__ = ["Burst", "HarnessBreak", "Lapse", "LimitTrouble", "RangeUse", "SensorState", "Switching", "Travel"]


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
    jumps; `crossings_s` are the instants. The better threshold lies midway between the levels, with the least
    hysteresis that counts best.
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
    crossings_s: FloatArray = field(default_factory=lambda: np.empty(0))


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

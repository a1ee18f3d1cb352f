"""What is known of each motor: its trace, the states it stood in, and its match in a few numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray

__all__ = ["Interruption", "MotorStates", "MotorTrace", "MotorUse", "Protection"]


@dataclass(frozen=True, eq=False)
class MotorTrace:
    """What one motor did, on the clock of its current channel; arrays have shape (n,).

    `current_a` is winding current without sign, `command` the duty applied (NaN where not logged),
    `applied_v` the voltage at the winding without sign (NaN where it cannot be told),
    `speed_rad_s` the shaft speed, positive the way it is driven, negative while it is braked against its
    rotation (NaN where it cannot be told), `speed_share` that speed as a share of the free speed at the
    voltage applied (NaN likewise), `heat` the thermal level (1.0 is the limit; NaN where the robot file does
    not tell enough). Where only a range of it can be told, `heat_low` and `heat_high` hold that, and `heat`
    is their middle or NaN; otherwise both are empty. `speed_source` is `channel`, `back-EMF` or `none`.
    `supply_a` is what it takes out of the battery, negative where it gives back (NaN where that cannot be
    told), `voltage_v` the battery's voltage; both are empty where nothing was worked out. `voltage_source` is
    `channel` or `assumed`, `heat_source` what the heat was worked out from. `notes` say what was odd about
    its channels.
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
    voltage_source: str = "channel"
    heat_source: str = "winding current"
    heat_low: FloatArray = field(default_factory=lambda: np.empty(0))
    heat_high: FloatArray = field(default_factory=lambda: np.empty(0))


@dataclass(frozen=True, eq=False)
class MotorStates:
    """Where a motor stalled and nearly stalled, each (k, 2) seconds, half-open, and its usual spin-up.

    `told_by` is `speed` or `current alone`; `unsure_a` then the greatest current that lasted and may have
    been a stall, None where none did.
    """

    stall: FloatArray
    near_stall: FloatArray
    spin_up_s: float
    told_by: str = "speed"
    unsure_a: float | None = None


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
    peak_heat_low: float | None = None
    peak_heat_high: float | None = None
    """Between which the highest level lies where it is told as a range; None where it is told as it is."""

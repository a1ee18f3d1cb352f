"""What is known of the pieces aboard and of the cycles they were carried in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from types import MappingProxyType

from telemetry.dataclass import dataclass

__all__ = ["BeamHealth", "Count", "Cycle", "Driving", "PieceStep", "Pieces"]


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
    beam_health: Mapping[str, tuple[BeamHealth, ...]] = field(default_factory=lambda: MappingProxyType({}))
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

"""Match and Phase: where a match lies on the log's clock, and what it was in at each instant."""

from __future__ import annotations

from telemetry.dataclass import dataclass

__all__ = ["ENABLED_PHASES", "Match", "Phase"]

ENABLED_PHASES = ("autonomous", "teleop", "endgame")


@dataclass(frozen=True)
class Phase:
    """A stretch of one phase: `disabled autonomous teleop endgame`, half-open, on the log's clock."""

    phase: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Match:
    """One match of a log.

    Attributes:
        name: safe for a folder: letters, digits, `-`, `_`, `.`.
        start_s: the start of autonomous (or of what was enabled first); match time counts from here.
        end_s: when it was last enabled.
        window_s: the part of the log that belongs to it, half-open: (from, to).
        phases: in order, without overlap; they cover the window.
        source: what told the phases: `channel`, `activity` (inferred from commands and currents), or
            `whole log` where nothing was ever enabled.
    """

    name: str
    start_s: float
    end_s: float
    window_s: tuple[float, float]
    phases: tuple[Phase, ...]
    source: str

    def phase_at(self, t_s: float) -> str:
        """The phase at an instant; `disabled` outside the match."""
        for phase in self.phases:
            if phase.start_s <= t_s < phase.end_s:
                return phase.phase
        return "disabled"

    def enabled(self) -> tuple[Phase, ...]:
        """The stretches in which the robot may move."""
        return tuple(phase for phase in self.phases if phase.phase in ENABLED_PHASES)

    @property
    def enabled_s(self) -> float:
        """How long the robot was enabled."""
        return sum(phase.end_s - phase.start_s for phase in self.enabled())

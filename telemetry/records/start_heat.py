"""How warm the motors were when a match began."""

from __future__ import annotations

from collections.abc import Mapping

from telemetry.dataclass import dataclass

__all__ = ["StartHeat"]


@dataclass(frozen=True)
class StartHeat:
    """What the match before left in the motors, after a pause without current; 1.0 is the limit.

    `after` is that match's name, `levels` are by motor; a motor that is not named starts from cold.
    """

    after: str
    pause_s: float
    levels: Mapping[str, float]

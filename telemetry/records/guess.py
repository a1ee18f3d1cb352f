"""What was guessed for want of a robot file."""

from __future__ import annotations

from telemetry.dataclass import dataclass

__all__ = ["Guess"]


@dataclass(frozen=True)
class Guess:
    """One role that no robot file told: the dotted key, the channel that filled it, and why."""

    key: str
    channel: str
    why: str

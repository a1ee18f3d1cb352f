"""What goes with a motor's trouble: a limit it ran into, a hit just before, pieces that may jam it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.analysis import Analysis, Contact
from telemetry.dataclass import dataclass
from telemetry.estimators.contacts import contact_before
from telemetry.wording import counted

__all__ = ["Circumstances", "circumstances_of", "limit_advice"]

_AROUND_S = 0.1


@dataclass(frozen=True)
class Circumstances:
    """A limit pressed meanwhile, a contact just before, pieces aboard of a motor that may move them."""

    limit: str | None
    contact: Contact | None
    contact_before_s: float | None
    pieces: int
    piece: str

    @property
    def evidence(self) -> Mapping[str, object]:
        """As keys of evidence; `jam_likely` where pieces were aboard and no limit was pressed."""
        return {
            "limit": self.limit,
            "contact_t_s": self.contact.t_s if self.contact else None,
            "contact_peak_g": self.contact.peak_g if self.contact else None,
            "pieces_aboard": self.pieces,
            "jam_likely": self.pieces > 0 and self.limit is None,
        }

    @property
    def words(self) -> str:
        """A clause that begins with a comma or semicolon; empty where nothing goes with it."""
        parts = []
        if self.limit is not None:
            parts.append(f", with limit {self.limit} pressed")
        elif self.pieces:
            parts.append(f", with {counted(self.pieces, self.piece)} aboard")
        if self.contact is not None and self.contact_before_s is not None:
            force = f" of {self.contact.peak_g:.1f} g" if self.contact.peak_g is not None else ""
            parts.append(f"; it began {self.contact_before_s:.2f} s after a hit{force}")
        return "".join(parts)


def circumstances_of(known: Analysis, motor: str, start_s: float, end_s: float) -> Circumstances:
    """What goes with a trouble of one motor within an interval."""
    limit = _pressed_limit(known, motor, start_s, end_s)
    contact = contact_before(known.contacts, start_s)
    return Circumstances(
        limit=limit,
        contact=contact,
        contact_before_s=None if contact is None else start_s - contact.t_s,
        pieces=_pieces_at(known, start_s) if _may_move_pieces(known, motor) else 0,
        piece=known.robot.robot.piece,
    )


def limit_advice(known: Analysis, motor: str) -> tuple[str, Mapping[str, object]]:
    """A sentence on the current limit that would have protected a motor, and its figures; may be empty."""
    protection = known.protections.get(motor)
    if protection is None:
        return "", {}
    times = f"{protection.tripped} of {counted(protection.stalls, 'time')}"
    sentence = (
        f" For the programmer: a current limit of {protection.limit_a:.0f} A for {protection.after_s:.2f} s "
        f"would have stopped it {times} and never in healthy work."
    )
    return sentence, {
        "limit_a": protection.limit_a,
        "limit_after_s": protection.after_s,
        "limit_trips": protection.tripped,
        "limit_wrong_trips": 0,
        "limit_saved_j": protection.saved_j,
        "healthy_above_limit_s": protection.healthy_s,
    }


def _pressed_limit(known: Analysis, motor: str, start_s: float, end_s: float) -> str | None:
    for name, limit in known.robot.limits.items():
        switching = known.limits.get(name)
        if limit.motor != motor or switching is None:
            continue
        until_s = np.append(switching.t_s[1:], switching.end_s)
        meets = (switching.t_s < end_s + _AROUND_S) & (until_s > start_s - _AROUND_S)
        if (switching.on & meets).any():
            return name
    return None


def _may_move_pieces(known: Analysis, motor: str) -> bool:
    robot = known.robot
    others = {robot.launcher.motor} if robot.launcher else set()
    others |= {*robot.contact.drive, *(limit.motor for limit in robot.limits.values() if limit.motor)}
    return motor not in others


def _pieces_at(known: Analysis, t_s: float) -> int:
    if known.pieces is None:
        return 0
    aboard = [step.aboard for step in known.pieces.timeline if step.start_s <= t_s]
    return aboard[-1] if aboard else 0

"""When a beam fell silent, as far as its own edges show."""

from __future__ import annotations

from telemetry.analysis import Analysis
from telemetry.estimators.contacts import AFTER_CONTACT_S
from telemetry.records.sensors import Switching

__all__ = ["silent_between", "unseen_onset"]


def silent_between(
    known: Analysis, beam: Switching, onset_s: float, contradiction_s: float | None
) -> tuple[float, float]:
    """From the last honest edge to the first contradiction, or to the onset where nothing contradicts."""
    edges_s = beam.t_s[beam.t_s < onset_s]
    last_edge_s = float(edges_s[-1]) if len(edges_s) else float(known.part.t_s[0])
    return last_edge_s, max(contradiction_s, onset_s) if contradiction_s is not None else onset_s


def unseen_onset(
    known: Analysis, beam: Switching, onset_s: float, contradiction_s: float | None
) -> tuple[float, float] | None:
    """Between what a beam fell silent that no edge of its own dates; None where that is within half a second.

    A beam that reads clear once unplugged falls silent between two pieces, without an edge.
    """
    between = silent_between(known, beam, onset_s, contradiction_s)
    return between if between[1] - between[0] > AFTER_CONTACT_S else None

"""Dropouts of beams that one match shows too weakly for a finding; over an event they count."""

from __future__ import annotations

import numpy as np

from telemetry.analysis import Analysis
from telemetry.estimators.bursts import shows_a_pass
from telemetry.estimators.piece_evidence import lead_flickers_s

__all__ = ["suspected_dropouts"]

_NEAR_S = 1.5
_ONE_OUTAGE_S = 12.0
"""A lead flickers as it breaks and again as it makes: within this time that is one outage (our choice)."""

_Spans = list[tuple[float, float]]


def suspected_dropouts(known: Analysis, beam: str) -> int:
    """How often a beam flickered as a loose lead does, with nothing to gainsay it, and no finding tells it.

    Counted are stretches in which the story of the pieces takes it for out after a flicker, and flickers
    apart from those. What is mostly chatter is left out; that a silence begins so is what a loose lead does.
    None where readings are so far apart that a pass looks like a flicker.
    """
    judged = beam in known.beams and beam in known.honest_dwell_s
    if not judged or known.pieces is None or known.guesses or not shows_a_pass(known.beams, beam):
        return 0
    out, chatter = _told(known, beam, "dropout"), _told(known, beam, "chatter")
    silent = [
        (stretch.start_s, stretch.end_s)
        for stretch in known.pieces.beam_health.get(beam, ())
        if stretch.flickered
        and not _met(stretch.start_s, stretch.end_s, out)
        and _shared_s(stretch.start_s, stretch.end_s, chatter) < (stretch.end_s - stretch.start_s) / 2
    ]
    told = chatter + [(start_s, end_s + _NEAR_S) for start_s, end_s in out + silent]
    flickers_s = _flickers_s(known, beam)
    alone_s = [t_s for t_s in flickers_s if not _met(t_s - _NEAR_S, t_s + _NEAR_S, told)]
    return len(silent) + int(len(alone_s) > 0) + int((np.diff(alone_s) > _ONE_OUTAGE_S).sum())


def _flickers_s(known: Analysis, beam: str) -> list[float]:
    honest_s = known.honest_dwell_s[beam]
    hits_s = np.array([contact.t_s for contact in known.contacts])
    flickers_s = lead_flickers_s(known.beams[beam], known.bursts.get(beam, ()), honest_s, hits_s)
    return [float(t_s) for t_s in flickers_s]


def _told(known: Analysis, beam: str, kind: str) -> _Spans:
    """What findings of a kind tell of the beam or its harness already."""
    return [
        (finding.start_s, finding.end_s)
        for finding in known.findings
        if finding.kind == kind and (finding.subject == beam or beam in _lost(finding.evidence.get("lost")))
    ]


def _lost(devices: object) -> list[object]:
    return list(devices) if isinstance(devices, list | tuple | dict) else []


def _met(start_s: float, end_s: float, spans: _Spans) -> bool:
    return any(start_s < until_s and from_s < end_s for from_s, until_s in spans)


def _shared_s(start_s: float, end_s: float, spans: _Spans) -> float:
    return sum(max(0.0, min(end_s, until_s) - max(start_s, from_s)) for from_s, until_s in spans)

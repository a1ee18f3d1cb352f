"""Dropouts of beams that one match shows too weakly for a finding; over an event they count."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from telemetry.analysis import Analysis
from telemetry.estimators.loose_leads import changes_at_rest, lead_signs
from telemetry.finding import Finding
from telemetry.log import FloatArray

__all__ = ["Spans", "is_of_an_outage", "outages_of", "suspected_dropouts"]

_NEAR_S, _AT_ITS_END_S = 1.5, 0.5
_MOST_OF_A_LEAD = 12
_ONE_OUTAGE_S = 12.0
"""A lead flickers as it breaks and again as it makes: within this time that is one outage (our choice)."""

Spans = list[tuple[float, float]]
"""From when until when, in seconds of the log."""


def outages_of(known: Analysis) -> dict[str, Spans]:
    """The outages that the signs of each beam's lead make, from the first sign to the last, in order."""
    resting = changes_at_rest(known) if known.beams else {}
    return {beam: _outages(known, beam, resting) for beam in known.beams}


def suspected_dropouts(known: Analysis, beam: str, all_outages: Mapping[str, Spans]) -> int:
    """How often a beam seems to have been out besides what findings tell, with nothing to gainsay it.

    Its lead breaks and makes: two signs of that within some seconds are one outage. Outages that a finding
    tells are left out, but one finding may span several, between which the beam came back."""
    judged = beam in known.beams and beam in known.honest_dwell_s
    if not judged or known.pieces is None or known.guesses:
        return 0
    outages = all_outages[beam]
    told = _told(known, beam)
    by_finding = sum(_met(one, outages) for one in told)
    return max(len(outages) - by_finding, 0)


def is_of_an_outage(known: Analysis, chatter: Finding, all_outages: Mapping[str, Spans]) -> bool:
    """Whether a short burst of chatter is how the lead of its beam parted or met, in a match in which that
    beam is told to have dropped out: then the outage is what counts.
    """
    told = [(one.start_s, one.end_s) for one in known.findings if _is_dropout(one, chatter.subject)]
    extra = chatter.evidence.get("extra_edges")
    if not told or chatter.role != "beam" or not isinstance(extra, int) or extra > _MOST_OF_A_LEAD:
        return False
    outages = told + all_outages.get(chatter.subject, [])
    return any(
        abs(end_s - at_s) <= _AT_ITS_END_S
        for one in outages
        for end_s in one
        for at_s in (chatter.start_s, chatter.end_s)
    )


def _outages(known: Analysis, beam: str, resting: Mapping[str, FloatArray]) -> Spans:
    """A sign opens one or closes that which another opened within some seconds. One that leaves the beam at
    another level than it reads unplugged has closed one, whether its opening was seen or not.
    """
    unplugged, signal = known.robot.beams[beam].unplugged, known.beams[beam]
    found: Spans = []
    opened_s = -math.inf
    for start_s, end_s in lead_signs(known, beam, resting).tolist():
        on = bool(signal.on[int(np.searchsorted(signal.t_s, end_s, side="right")) - 1])
        back = unplugged is not None and on != (unplugged == "broken")
        if start_s - opened_s <= _ONE_OUTAGE_S:
            found[-1] = found[-1][0], end_s
            opened_s = -math.inf
        else:
            found.append((start_s, end_s))
            opened_s = -math.inf if back else start_s
    return found


def _told(known: Analysis, beam: str) -> Spans:
    """The dropouts of the beam or its harness that findings tell."""
    return [(one.start_s, one.end_s) for one in known.findings if _is_dropout(one, beam)]


def _is_dropout(finding: Finding, beam: str) -> bool:
    concerned = finding.subject == beam or beam in _lost(finding.evidence.get("lost"))
    return finding.kind == "dropout" and concerned


def _lost(devices: object) -> list[object]:
    return list(devices) if isinstance(devices, list | tuple | dict) else []


def _met(one: tuple[float, float], spans: Spans) -> bool:
    return any(one[0] - _NEAR_S < until_s and from_s < one[1] + _NEAR_S for from_s, until_s in spans)

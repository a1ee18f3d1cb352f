"""Dropouts of beams that one match shows too weakly for a finding; over an event they count."""

from __future__ import annotations

import math

import numpy as np

from telemetry.analysis import Analysis
from telemetry.estimators.bursts import shows_a_pass
from telemetry.estimators.loose_leads import lead_signs

__all__ = ["suspected_dropouts"]

_NEAR_S = 1.5
_ONE_OUTAGE_S = 12.0
"""A lead flickers as it breaks and again as it makes: within this time that is one outage (our choice)."""

_Spans = list[tuple[float, float]]


def suspected_dropouts(known: Analysis, beam: str) -> int:
    """How often a beam seems to have been out besides what findings tell, with nothing to gainsay it.

    Its lead breaks and makes: two signs of that within some seconds are one outage. Outages that a finding
    tells are left out, but one finding may span several, between which the beam came back.
    None where readings are so far apart that a pass looks like a flicker.
    """
    judged = beam in known.beams and beam in known.honest_dwell_s
    if not judged or known.pieces is None or known.guesses or not shows_a_pass(known.beams, beam):
        return 0
    outages = _outages(known, beam)
    told = _told(known, beam)
    by_finding = sum(_met(one, outages) for one in told)
    return max(len(outages) - by_finding, 0)


def _outages(known: Analysis, beam: str) -> _Spans:
    """The outages that the signs of a lead make, from the first sign to the last, in order.

    A sign opens one or closes that which another opened within some seconds. One that leaves the beam at
    another level than it reads unplugged has closed one, whether its opening was seen or not.
    """
    unplugged, signal = known.robot.beams[beam].unplugged, known.beams[beam]
    found: _Spans = []
    opened_s = -math.inf
    for start_s, end_s in lead_signs(known, beam).tolist():
        on = bool(signal.on[int(np.searchsorted(signal.t_s, end_s, side="right")) - 1])
        back = unplugged is not None and on != (unplugged == "broken")
        if start_s - opened_s <= _ONE_OUTAGE_S:
            found[-1] = found[-1][0], end_s
            opened_s = -math.inf
        else:
            found.append((start_s, end_s))
            opened_s = -math.inf if back else start_s
    return found


def _told(known: Analysis, beam: str) -> _Spans:
    """The dropouts of the beam or its harness that findings tell."""
    return [
        (finding.start_s, finding.end_s)
        for finding in known.findings
        if finding.kind == "dropout"
        and (finding.subject == beam or beam in _lost(finding.evidence.get("lost")))
    ]


def _lost(devices: object) -> list[object]:
    return list(devices) if isinstance(devices, list | tuple | dict) else []


def _met(one: tuple[float, float], spans: _Spans) -> bool:
    return any(one[0] - _NEAR_S < until_s and from_s < one[1] + _NEAR_S for from_s, until_s in spans)

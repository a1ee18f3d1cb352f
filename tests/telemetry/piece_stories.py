"""The story of the pieces out of a log written by hand, through the steps that come before it."""

from __future__ import annotations

from telemetry.estimators.bursts import find_bursts, shortest_honest_dwell_s, usual_pass_s
from telemetry.estimators.gaps import find_gaps
from telemetry.estimators.motors import trace_motors
from telemetry.estimators.phases import find_matches
from telemetry.estimators.pieces import estimate_pieces
from telemetry.estimators.switches import read_beams
from telemetry.log import Log
from telemetry.records.pieces import Pieces
from telemetry.robot import Robot
from tests.telemetry.building import analysis_of

__all__ = ["story_of"]


def story_of(log: Log, robot: Robot) -> Pieces | None:
    """The story of the one match of the log; None without a beam."""
    (match,) = find_matches(log, robot, stem="match-01")
    beams = read_beams(log, robot, log.span_s)
    pass_s = usual_pass_s(beams.values())
    honest_s = {name: shortest_honest_dwell_s(beam, pass_s) for name, beam in beams.items()}
    known = analysis_of(
        robot,
        log,
        match=match,
        beams=beams,
        bursts={name: find_bursts(beam, honest_s[name], 3) for name, beam in beams.items()},
        honest_dwell_s=honest_s,
        gaps_s=find_gaps(log),
        motors=trace_motors(log, robot),
    )
    return estimate_pieces(known)

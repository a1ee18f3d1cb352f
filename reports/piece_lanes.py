"""Lanes of the game: pieces aboard with how sure that is, cycles with their stages, releases."""

from __future__ import annotations

from itertools import accumulate, pairwise
from statistics import median

import numpy as np
from markupsafe import Markup

from reports.drawing import Axis, at, label, path, stretched, tag
from reports.envelope import band_path, steps_path
from reports.lanes import Lane, Strip
from reports.readings import words_reading
from reports.words import counted, duration, percent
from telemetry.analysis import Analysis
from telemetry.records.pieces import Cycle, Pieces

__all__ = ["STAGES", "cycle_lane", "piece_lane"]

STAGES = ("collect", "load", "carry", "release")
"""The stages of a cycle that follow each other."""


def piece_lane(analysis: Analysis, pieces: Pieces, strip: Strip) -> Lane:
    """Pieces aboard as a step, with the band that holds the truth nine times in ten."""
    axis, steps, piece = strip.axis, pieces.timeline, analysis.robot.robot.piece
    most = max([step.high for step in steps] + [analysis.robot.robot.capacity or 1])
    t_s = np.array([step.start_s for step in steps], dtype=float)
    aboard, low, high = (
        np.array([getattr(step, name) for step in steps], dtype=float) for name in ("aboard", "low", "high")
    )
    end_s, bounds = analysis.match.window_s[1], (-0.25, most + 0.25)
    drawing = stretched(
        *(
            path("g", steps_path(t_s[:1], np.array([float(n)]), end_s, axis, *bounds))
            for n in range(most + 1)
        ),
        path("band", band_path(t_s, low, high, end_s, axis, *bounds)),
        path("l l-pieces", steps_path(t_s, aboard, end_s, axis, *bounds)),
    )
    told = [
        (step.start_s, _aboard_words(step.aboard, step.low, step.high, step.probability)) for step in steps
    ]
    flow = f"{pieces.collected.estimate} collected, {pieces.released.estimate} released"
    return Lane(
        key="pieces",
        group="match",
        name=f"{piece.capitalize()}s aboard",
        span=f"0 to {most}",
        summary=f"{piece}s aboard, 0 to {most}: {flow}.",
        rest=flow,
        height_px=26 + 14 * most,
        drawing=drawing,
        readings=(words_reading(strip.grid, told),),
    )


def _aboard_words(aboard: int, low: int, high: int, probability: float) -> str:
    between = "" if low == high else f", {low} to {high}"
    return f"{aboard}{between} ({percent(probability)} sure)"


def cycle_lane(analysis: Analysis, strip: Strip) -> Lane:
    """Cycles end to end with their stages, and a tick for every release."""
    axis, cycles = strip.axis, analysis.cycles
    bars = [_cycle_bar(cycle, axis) for cycle in cycles]
    releases = analysis.pieces.releases_s if analysis.pieces else ()
    marks = [at(axis.percent(t), 0, path("release", "M0 9 4 1H-4z")) for t in releases]
    closed = [cycle.end_s - cycle.start_s for cycle in cycles if not cycle.open]
    typical = f", median {duration(median(closed))}" if closed else ""
    told = [change for cycle in cycles for change in _stage_words(cycle)]
    told += [(cycles[-1].end_s, "")] if cycles else []
    flow = f"{counted(len(cycles), 'cycle')}{typical}"
    return Lane(
        key="cycles",
        group="match",
        name="Cycles",
        span="▾ a release",
        summary=f"{flow}, {counted(len(releases), 'release')}.",
        rest=flow,
        height_px=40,
        drawing=Markup("").join([*bars, *marks]),
        readings=(words_reading(strip.grid, told),),
        linked=True,
    )


def _cycle_bar(cycle: Cycle, axis: Axis) -> Markup:
    stages = [_block(f"stage stage-{stage}", a, b, axis) for stage, a, b in _stages(cycle)]
    frame = _block("cycle open" if cycle.open else "cycle", cycle.start_s, cycle.end_s, axis)
    middle = f"{(axis.share(cycle.start_s) + axis.share(cycle.end_s)) * 50:.6g}%"
    text = label(middle, 28, str(cycle.number), kind="t tc")
    name = f"Cycle {cycle.number}, {duration(cycle.end_s - cycle.start_s)}"
    return tag("a", {"href": f"#cycle-{cycle.number}", "aria-label": name}, *stages, frame, text)


def _block(kind: str, start_s: float, end_s: float, axis: Axis) -> Markup:
    place = {"x": axis.percent(start_s), "width": axis.width(start_s, end_s)}
    return tag("rect", {"class": kind, "y": 12, "height": 24, **place})


def _stages(cycle: Cycle) -> list[tuple[str, float, float]]:
    """The stages that took any time, each with its start and end."""
    lengths = [cycle.stages.get(stage) or 0.0 for stage in STAGES]
    bounds = pairwise(accumulate([cycle.start_s, *lengths]))
    return [(stage, a, b) for stage, (a, b) in zip(STAGES, bounds, strict=True) if b > a]


def _stage_words(cycle: Cycle) -> list[tuple[float, str]]:
    return [(start_s, f"{cycle.number}, {stage}") for stage, start_s, _ in _stages(cycle)]

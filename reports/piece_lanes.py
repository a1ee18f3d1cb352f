"""Lanes of the game: pieces aboard with how sure that is, cycles with their stages, releases."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import accumulate, pairwise
from statistics import median

import numpy as np
from markupsafe import Markup

from reports.drawing import COLUMNS, LEVELS, Axis, label, path, stretched, tag
from reports.envelope import band_path, steps_path
from reports.lanes import Lane, Strip
from reports.readings import words_reading
from reports.words import counted, duration, percent
from telemetry.analysis import Analysis
from telemetry.records.pieces import Cycle, Pieces

__all__ = ["STAGES", "cycle_lane", "piece_lane"]

STAGES = ("collect", "load", "carry", "release")
"""The stages of a cycle that follow each other."""

_BAR_TOP_PX, _BAR_PX = 12, 24


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
    blocks = stretched(*_stage_paths(cycles, axis), top=_BAR_TOP_PX, height=_BAR_PX)
    marks = stretched(path("release", "".join(f"M{_unit(t, axis)} 0V{LEVELS}" for t in releases)), height=8)
    closed = [cycle.end_s - cycle.start_s for cycle in cycles if not cycle.open]
    typical = f", median {duration(median(closed))}" if closed else ""
    told = [change for cycle in cycles for change in _stage_words(cycle)]
    told += [(cycles[-1].end_s, "")] if cycles else []
    flow = f"{counted(len(cycles), 'cycle')}{typical}"
    return Lane(
        key="cycles",
        group="match",
        name="Cycles",
        span="tick = a release",
        summary=f"{flow}, {counted(len(releases), 'release')}.",
        rest=flow,
        height_px=40,
        drawing=Markup("").join([blocks, *bars, marks]),
        readings=(words_reading(strip.grid, told),),
        linked=True,
    )


def _unit(t_s: float, axis: Axis) -> str:
    return f"{axis.share(t_s) * COLUMNS:.1f}"


def _stage_paths(cycles: Sequence[Cycle], axis: Axis) -> Iterator[Markup]:
    """All blocks of a stage as one path: few shapes to move while the strip is zoomed."""
    for kind in STAGES:
        spans = [(a, b) for cycle in cycles for stage, a, b in _stages(cycle) if stage == kind]
        blocks = [f"M{_unit(a, axis)} 0H{_unit(b, axis)}V{LEVELS}H{_unit(a, axis)}z" for a, b in spans]
        yield path(f"stage stage-{kind}", "".join(blocks))


def _cycle_bar(cycle: Cycle, axis: Axis) -> Markup:
    place = {"x": axis.percent(cycle.start_s), "width": axis.width(cycle.start_s, cycle.end_s)}
    kind = "cycle open" if cycle.open else "cycle"
    frame = tag("rect", {"class": kind, "y": _BAR_TOP_PX, "height": _BAR_PX, **place})
    middle = f"{(axis.share(cycle.start_s) + axis.share(cycle.end_s)) * 50:.6g}%"
    text = label(middle, 28, str(cycle.number), kind="t tc")
    name = f"Cycle {cycle.number}, {duration(cycle.end_s - cycle.start_s)}"
    return tag("a", {"href": f"#cycle-{cycle.number}", "aria-label": name}, frame, text)


def _stages(cycle: Cycle) -> list[tuple[str, float, float]]:
    """The stages that took any time, each with its start and end."""
    lengths = [cycle.stages.get(stage) or 0.0 for stage in STAGES]
    bounds = pairwise(accumulate([cycle.start_s, *lengths]))
    return [(stage, a, b) for stage, (a, b) in zip(STAGES, bounds, strict=True) if b > a]


def _stage_words(cycle: Cycle) -> list[tuple[float, str]]:
    return [(start_s, f"{cycle.number}, {stage}") for stage, start_s, _ in _stages(cycle)]

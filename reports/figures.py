"""Figures for a poster or a notebook, drawn with matplotlib: strip, cycles, motor maps, dwells.

Made on request only. Names of the log stand in them as plain text (no mathematical markup), under file names
of our own. The same match gives the same bytes: no dates, no random identifiers.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from reports.dwell_chart import dwells_s
from reports.palette import LIGHT
from reports.piece_lanes import STAGES
from reports.words import clock, visible
from reports.working_map import map_states
from telemetry.analysis import Analysis
from telemetry.records.sensors import Switching

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "FORMATS",
    "cycle_figure",
    "dwell_figure",
    "figure_file",
    "figure_files",
    "motor_map_figure",
    "strip_figure",
]

FORMATS = ("png", "pdf", "svg")

_STYLE: Any = {
    "text.parse_math": False, "svg.hashsalt": "rattletrace", "svg.fonttype": "none", "font.size": 9.0,
    "axes.spines.top": False, "axes.spines.right": False, "axes.edgecolor": LIGHT["frame"],
    "text.color": LIGHT["ink"], "axes.labelcolor": LIGHT["ink"], "xtick.color": LIGHT["soft"],
    "ytick.color": LIGHT["soft"], "axes.titlelocation": "left", "axes.titlesize": 10.0,
}  # fmt: skip
_DATES: Any = {"png": {}, "pdf": {"CreationDate": None, "ModDate": None}, "svg": {"Date": None}}
_STAGE_INKS = dict(zip(STAGES, ("#dfe6dc", "#9db8a6", "#5b8a78", LIGHT["cycle"]), strict=True))
_HATCHES = dict(zip(STAGES, ("", "..", "//", ""), strict=True))
_SEVERITY_INKS = {"fix": LIGHT["fix"], "watch": LIGHT["watch"], "note": LIGHT["note"]}


def figure_files(analysis: Analysis, kind: str) -> Iterator[tuple[str, bytes]]:
    """(file name, content) of every figure that this match has something for; `kind` is out of `FORMATS`.

    Raises ValueError for another kind.
    """
    if kind not in FORMATS:
        raise ValueError(f"no figure can be written as {kind!r}; choose {', '.join(FORMATS)}")
    for name, draw in _FIGURES.items():
        content = figure_file(partial(draw, analysis), kind)
        if content:
            yield f"{name}.{kind}", content


def figure_file(draw: Callable[[], Figure | None], kind: str) -> bytes:
    """What `draw` draws in our style, as the content of a file of that kind; empty where it is nothing."""
    from matplotlib import rc_context

    with rc_context(_STYLE):
        figure = draw()
        return b"" if figure is None else _written(figure, kind)


def _written(figure: Figure, kind: str) -> bytes:
    stream = io.BytesIO()
    figure.savefig(stream, format=kind, dpi=160, metadata=_DATES[kind])
    return stream.getvalue()


def _axes(rows: int, columns: int = 1, *, size: tuple[float, float], **options: Any) -> tuple[Figure, Any]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=size, layout="constrained")
    return figure, figure.subplots(rows, columns, squeeze=False, **options)


def _title(figure: Figure, analysis: Analysis, what: str) -> None:
    who = f"{analysis.match.name}, robot {analysis.robot.robot.name}"
    figure.suptitle(f"{what}: {visible(who)}", x=0.01, ha="left", fontsize=11)


def strip_figure(analysis: Analysis) -> Figure | None:
    """The match on one time axis: pieces aboard, beams and limits, currents, supply; findings shaded."""
    parts = list(_strip_parts(analysis))
    if not parts:
        return None
    heights = [height for height, _ in parts]
    size = (11.0, 0.8 + 0.95 * sum(heights))
    figure, grid = _axes(len(parts), size=size, sharex=True, height_ratios=heights)
    zero_s = analysis.match.start_s
    for axes, (_, draw) in zip(grid[:, 0], parts, strict=True):
        draw(axes)
        for finding in analysis.findings:
            ink = _SEVERITY_INKS[str(finding.severity)]
            axes.axvspan(finding.start_s - zero_s, finding.end_s - zero_s, color=ink, alpha=0.10, lw=0)
        for contact in analysis.contacts:
            axes.axvline(contact.t_s - zero_s, color=LIGHT["contact"], lw=0.6, ls=":")
    bottom = grid[-1, 0]
    bottom.set_xlim(analysis.match.start_s - zero_s - 3, analysis.match.end_s - zero_s + 3)
    bottom.xaxis.set_major_formatter(lambda t, _: clock(t)[:-2])
    bottom.set_xlabel("match time; shaded: findings; dotted: hits")
    _title(figure, analysis, "Match strip")
    return figure


def _strip_parts(analysis: Analysis) -> Iterator[tuple[float, Callable[[Axes], None]]]:
    zero_s = analysis.match.start_s
    if analysis.pieces and analysis.pieces.timeline:
        yield 1.0, lambda axes: _draw_pieces(axes, analysis)
    switches = {**analysis.beams, **analysis.limits}
    if switches:
        yield max(0.22 * len(switches), 0.5), lambda axes: _draw_switches(axes, switches, zero_s)
    for name, trace in analysis.motors.items():
        yield (
            0.6,
            lambda axes, name=name, trace=trace: _draw_line(  # type: ignore[misc]
                axes, trace.t_s - zero_s, trace.current_a, f"{visible(name)}\nA", LIGHT["current"]
            ),
        )
    supply = analysis.supply
    if supply is not None:
        yield (
            0.8,
            lambda axes: _draw_line(
                axes, supply.t_s - zero_s, supply.voltage_v, "supply\nV", LIGHT["voltage"]
            ),
        )


def _draw_pieces(axes: Axes, analysis: Analysis) -> None:
    steps = analysis.pieces.timeline if analysis.pieces else ()
    t_s = np.array([step.start_s for step in steps] + [analysis.match.window_s[1]]) - analysis.match.start_s
    low, high, aboard = (
        np.array([getattr(step, name) for step in steps] + [getattr(steps[-1], name)], dtype=float)
        for name in ("low", "high", "aboard")
    )
    axes.fill_between(t_s, low, high, step="post", color=LIGHT["band"], lw=0)
    axes.step(t_s, aboard, where="post", color=LIGHT["pieces"], lw=1.3)
    axes.set_ylabel(f"{visible(analysis.robot.robot.piece)}s\naboard", rotation=0, ha="right", va="center")
    axes.set_yticks(range(int(high.max()) + 1))


def _draw_switches(axes: Axes, switches: dict[str, Switching], zero_s: float) -> None:
    for row, signal in enumerate(switches.values()):
        ends = np.append(signal.t_s[1:], signal.end_s)
        spans = np.stack([signal.t_s, ends - signal.t_s], axis=1)[signal.on] - [zero_s, 0.0]
        axes.broken_barh(spans.tolist(), (row - 0.35, 0.7), color=LIGHT["beam"])
    axes.set_yticks(range(len(switches)), [visible(name) for name in switches])
    axes.set_ylim(len(switches) - 0.4, -0.6)


def _draw_line(axes: Axes, t_s: np.ndarray, values: np.ndarray, name: str, ink: str) -> None:
    axes.plot(t_s, values, color=ink, lw=0.7)
    axes.set_ylabel(name, rotation=0, ha="right", va="center")


def cycle_figure(analysis: Analysis) -> Figure | None:
    """One bar a cycle, its stages stacked, hits beside it; None without a cycle."""
    if not analysis.cycles:
        return None
    figure, grid = _axes(1, size=(8.0, 1.4 + 0.32 * len(analysis.cycles)))
    axes: Axes = grid[0, 0]
    for row, cycle in enumerate(analysis.cycles):
        left = 0.0
        for stage in STAGES:
            length = cycle.stages.get(stage) or 0.0
            axes.barh(row, length, left=left, height=0.7, color=_STAGE_INKS[stage], hatch=_HATCHES[stage],
                      edgecolor=LIGHT["frame"], lw=0.5, label=stage if row == 0 else None)  # fmt: skip
            left += length
        hits = [c.t_s - cycle.start_s for c in analysis.contacts if cycle.start_s <= c.t_s < cycle.end_s]
        axes.plot(hits, [row] * len(hits), "D", color=LIGHT["contact"], ms=4, mec="white", mew=0.5)
    names = [f"{cycle.number}{' (open)' if cycle.open else ''}" for cycle in analysis.cycles]
    axes.set_yticks(range(len(names)), names)
    axes.invert_yaxis()
    axes.set_xlabel("seconds; diamonds: hits")
    axes.set_ylabel("cycle")
    axes.legend(ncols=len(STAGES), loc="lower right", bbox_to_anchor=(1, 1), frameon=False)
    _title(figure, analysis, "Cycles")
    return figure


def motor_map_figure(analysis: Analysis) -> Figure | None:
    """Speed against current at nominal voltage, with the data-sheet line; None where no motor tells it."""
    mapped = []
    for name, trace in analysis.motors.items():
        motor = analysis.robot.motors.get(name)
        if motor and motor.stall_current_a is not None and motor.free_current_a is not None:
            share, current_a, time_s = map_states(trace, motor)
            if len(share):
                mapped.append((name, motor.stall_current_a, motor.free_current_a, share, current_a, time_s))
    if not mapped:
        return None
    rows = -(-len(mapped) // 3)
    figure, grid = _axes(rows, 3, size=(10.5, 0.6 + 2.6 * rows))
    for axes in grid.flat[len(mapped) :]:
        axes.set_visible(False)
    for axes, (name, stall_a, free_a, share, current_a, time_s) in zip(grid.flat, mapped, strict=False):
        box = [[0.0, 1.1], [0.0, 1.05 * max(stall_a, float(np.quantile(current_a, 0.995)))]]
        spent_s, x, y = np.histogram2d(share, current_a, bins=(44, 26), range=box, weights=time_s)
        axes.pcolormesh(x, y, np.ma.masked_equal(np.sqrt(spent_s.T), 0), cmap="GnBu", rasterized=True)
        axes.plot([0, 1], [stall_a, free_a], color=LIGHT["ink"], lw=1)
        axes.axvspan(0, 0.05, color=LIGHT["fix"], alpha=0.15, lw=0)
        axes.axvspan(0.05, 0.2, color=LIGHT["watch"], alpha=0.12, lw=0)
        axes.set_title(visible(name))
        axes.set_xlabel("share of free speed")
        axes.set_ylabel("A at nominal voltage")
    _title(figure, analysis, "Motor maps, darker where it ran longer")
    return figure


def dwell_figure(analysis: Analysis) -> Figure | None:
    """How long each beam stayed broken, on a logarithmic scale, with the least honest dwell dashed."""
    dwells = {name: dwells_s(beam) for name, beam in analysis.beams.items()}
    dwells = {name: values for name, values in dwells.items() if len(values)}
    if not dwells:
        return None
    figure, grid = _axes(len(dwells), size=(7.0, 0.7 + 1.3 * len(dwells)), sharex=True)
    lowest = min(float(values.min()) for values in dwells.values())
    highest = max(float(values.max()) for values in dwells.values())
    edges = np.geomspace(lowest * 0.8, highest * 1.25, 48)
    for axes, (name, values) in zip(grid[:, 0], dwells.items(), strict=True):
        axes.hist(values, edges, color=LIGHT["beam"])
        if name in analysis.honest_dwell_s:
            axes.axvline(analysis.honest_dwell_s[name], color=LIGHT["fix"], ls="--", lw=1)
        axes.set_ylabel("times")
        axes.set_title(f"{visible(name)}, broken {len(values)} times")
    grid[-1, 0].set_xscale("log")
    grid[-1, 0].xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    grid[-1, 0].set_xlabel("seconds broken; dashed: shorter than a passing piece can be")
    _title(figure, analysis, "Dwells")
    return figure


_FIGURES: dict[str, Callable[[Analysis], Figure | None]] = {
    "strip": strip_figure, "cycles": cycle_figure, "motor-maps": motor_map_figure, "dwells": dwell_figure,
}  # fmt: skip

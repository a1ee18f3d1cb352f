"""How long each beam stayed broken: a histogram over powers of ten; pieces make one hump, chatter another."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from markupsafe import Markup

from reports.drawing import COLUMNS, LEVELS, label, path, stretched, tag
from reports.tables import Cell, Table
from reports.words import counted, duration
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.records.sensors import Switching

__all__ = ["DwellChart", "dwell_charts", "dwell_table", "dwells_s"]

_HEIGHT_PX = 90
_BINS = 40
_SECONDS = (0.001, 0.01, 0.1, 1.0, 10.0, 100.0)
_EDGE = 0.08
"""Nearer to an end than this share of the width, a label begins or ends at its place, so as not to be cut."""


@dataclass(frozen=True)
class DwellChart:
    """The histogram of one beam: its drawing, and what it shows in a sentence."""

    name: str
    drawing: Markup
    height_px: int
    summary: str


def dwells_s(beam: Switching) -> FloatArray:
    """How long a beam stayed broken each time that it became clear again, shape (n,)."""
    lengths = np.diff(beam.t_s)[beam.on[:-1]] if len(beam.t_s) > 1 else np.empty(0)
    return lengths[lengths > 0]


def dwell_charts(analysis: Analysis) -> Iterator[DwellChart]:
    """A histogram for each beam that was ever broken, all on one scale."""
    dwells = _known(analysis)
    if not dwells:
        return
    scale = _Scale.over(list(dwells.values()), list(analysis.honest_dwell_s.values()))
    for name, lengths in dwells.items():
        honest = analysis.honest_dwell_s.get(name)
        drawing = Markup("").join([*_bars(lengths, scale), *_limit(honest, scale), *_ticks(scale)])
        yield DwellChart(name, drawing, _HEIGHT_PX + 18, _summary(name, lengths, honest))


def dwell_table(analysis: Analysis) -> Table | None:
    """The same in figures: how often, shortest, middle and longest, and how many too short for a piece."""
    rows = tuple(_row(name, lengths, analysis.honest_dwell_s) for name, lengths in _known(analysis).items())
    columns = ("Beam", "Times broken", "Shortest", "Middle", "Longest", "Too short below", "Too short")
    return Table("How long each beam stayed broken", columns, rows) if rows else None


def _known(analysis: Analysis) -> Mapping[str, FloatArray]:
    found = {name: dwells_s(beam) for name, beam in analysis.beams.items()}
    return {name: lengths for name, lengths in found.items() if len(lengths)}


@dataclass(frozen=True)
class _Scale:
    """Seconds to a share of the width, by their logarithm."""

    low: float
    high: float

    @classmethod
    def over(cls, dwells: Sequence[FloatArray], limits: Sequence[float]) -> _Scale:
        ends = [*(value for lengths in dwells for value in (lengths.min(), lengths.max())), *limits]
        low, high = (float(np.log10(end)) for end in (min(ends), max(ends)))
        return cls(low - 0.15, high + 0.15)

    def share(self, seconds: float) -> float:
        return (float(np.log10(seconds)) - self.low) / (self.high - self.low)

    def percent(self, seconds: float) -> str:
        return f"{self.share(seconds) * 100:.4g}%"


def _bars(lengths: FloatArray, scale: _Scale) -> Iterator[Markup]:
    counts, _ = np.histogram(np.log10(lengths), bins=_BINS, range=(scale.low, scale.high))
    width, most = COLUMNS / _BINS, int(counts.max())
    heights = counts / most * (LEVELS - 14)
    drawn = "".join(
        f"M{at * width + 2:.0f} {LEVELS}v-{heights[at]:.1f}h{width - 4:.0f}v{heights[at]:.1f}z"
        for at in np.flatnonzero(counts).tolist()
    )
    yield stretched(path("base", f"M0 {LEVELS}H{COLUMNS}"), path("dwells", drawn), height=_HEIGHT_PX)
    yield label("99.5%", 12, f"at most {counted(most, 'time')} a bar", kind="t s-small", anchor="end")


def _limit(honest_s: float | None, scale: _Scale) -> Iterator[Markup]:
    if honest_s is None:
        return
    x = scale.percent(honest_s)
    yield tag("rect", {"class": "h h-fix", "width": x, "height": 9})
    yield tag("line", {"class": "edge edge-fix", "x1": x, "x2": x, "y1": 0, "y2": _HEIGHT_PX})


def _ticks(scale: _Scale) -> Iterator[Markup]:
    for seconds in _SECONDS:
        share = scale.share(seconds)
        if 0.0 < share < 1.0:
            anchor = "start" if share < _EDGE else "end" if share > 1 - _EDGE else "middle"
            yield label(scale.percent(seconds), _HEIGHT_PX + 14, duration(seconds), kind="t n", anchor=anchor)


def _summary(name: str, lengths: FloatArray, honest_s: float | None) -> str:
    middle = duration(float(np.median(lengths)))
    told = f"{name}: broken {counted(len(lengths), 'time')}, mostly for about {middle}"
    if honest_s is None:
        return f"{told}."
    short = int((lengths < honest_s).sum())
    return f"{told}; {short} of them shorter than {duration(honest_s)}, too short for a piece."


def _row(name: str, lengths: FloatArray, honest_s: Mapping[str, float]) -> tuple[Cell, ...]:
    limit = honest_s.get(name)
    short = "–" if limit is None else str(int((lengths < limit).sum()))
    spans = (duration(float(value)) for value in (lengths.min(), np.median(lengths), lengths.max()))
    return (
        Cell(name),
        *(Cell(text, number=True) for text in (str(len(lengths)), *spans, duration(limit), short)),
    )

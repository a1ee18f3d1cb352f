"""What the cursor reads: each lane's value on one grid of instants, packed small for the page's script."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from reports.drawing import Axis
from reports.envelope import gap_limit_s
from reports.words import visible
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray

__all__ = ["Grid", "Reading", "grid_of", "number_reading", "words_reading"]

_STEPS_S = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0)
_MOST_INSTANTS = 2000
_LARGEST = 1e9

Reading = dict[str, object]
"""A lane's packed values, JSON-able; unpacked by `assets/match.js`."""


@dataclass(frozen=True)
class Grid:
    """The instants the cursor can stand at: `start_s + index × step_s` for `count` of them."""

    start_s: float
    step_s: float
    count: int

    @property
    def end_s(self) -> float:
        """The last instant."""
        return self.start_s + self.step_s * (self.count - 1)

    def times_s(self) -> FloatArray:
        """All instants, shape (count,)."""
        return self.start_s + self.step_s * np.arange(self.count, dtype=np.float64)

    def index(self, t_s: float) -> int:
        """The first instant at or after a time; the last one where there is none."""
        return min(max(math.ceil((t_s - self.start_s) / self.step_s - 1e-6), 0), self.count - 1)


def grid_of(axis: Axis) -> Grid:
    """A grid of round match times over the axis: every 0.1 s, wider where that gives over 2000."""
    step = next(
        (step for step in _STEPS_S if axis.span_s / step <= _MOST_INSTANTS), axis.span_s / _MOST_INSTANTS
    )
    first = axis.zero_s - step * math.floor((axis.zero_s - axis.start_s) / step + 1e-9)
    return Grid(first, step, max(int((axis.end_s - first) / step + 1e-9), 0) + 1)


def number_reading(
    grid: Grid,
    t_s: FloatArray,
    values: FloatArray,
    *,
    unit: str,
    places: int,
    before: str = "",
    scale: float = 1.0,
) -> Reading:
    """The latest value logged at or before each instant, as whole steps of 10^-`places`, each less the last.

    `t_s` and `values` have shape (n,). Inside a gap, where nothing is known, and from a thousand million on
    stands null.
    """
    instants = grid.times_s()
    packed = np.full(grid.count, None, dtype=object)
    if len(t_s):
        latest = np.searchsorted(t_s, instants + 1e-6, side="right") - 1
        held = values[np.maximum(latest, 0)] * scale
        age_s = instants - t_s[np.maximum(latest, 0)]
        known = (latest >= 0) & (np.abs(held) < _LARGEST) & (age_s <= max(gap_limit_s(t_s), grid.step_s))
        steps = np.rint(held[known] * 10**places).astype(np.int64)
        packed[known] = np.diff(steps, prepend=0)
    return {"before": before, "unit": unit, "places": places, "steps": packed.tolist()}


def words_reading(grid: Grid, changes: Sequence[tuple[float, str]], start: str = "") -> Reading:
    """A text that holds from each change until the next: the distinct texts, and [instant, text] in turn.

    `changes` are (time, text) in the order of time; instants are whole milliseconds from the grid's start,
    and of several changes in one millisecond the last one counts.
    """
    at_ms = {0: start}
    for t_s, text in changes:
        if t_s <= grid.end_s:
            at_ms[max(round((t_s - grid.start_s) * 1000), 0)] = text
    texts = {visible(text): None for text in at_ms.values()}
    number_of = {text: index for index, text in enumerate(texts)}
    runs = [entry for ms, text in sorted(at_ms.items()) for entry in (ms, number_of[visible(text)])]
    return {"words": list(texts), "runs": runs}

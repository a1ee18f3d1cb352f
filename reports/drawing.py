"""SVG written by hand: escaped tags, and the time axis that every drawing shares.

Lines are drawn in an inner `<svg>` of `COLUMNS` × `LEVELS` units that stretches with the page; text and
marks stand outside it at a per cent of the width, so that they never stretch.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from markupsafe import Markup, escape

from reports.words import clock, visible
from telemetry.dataclass import dataclass

__all__ = ["COLUMNS", "LEVELS", "Axis", "at", "label", "path", "stretched", "tag"]

COLUMNS = 1200
"""Units across a drawing: about one a pixel on a laptop."""

LEVELS = 100
"""Units down a drawing."""

_TICK_STEPS_S = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0)


@dataclass(frozen=True)
class Axis:
    """The time across a drawing: from `start_s` to `end_s` on the log's clock, match time from `zero_s`.

    `columns` is how finely samples are told apart; it divides `COLUMNS`.
    """

    start_s: float
    end_s: float
    zero_s: float
    columns: int = COLUMNS

    @property
    def span_s(self) -> float:
        """Seconds across the drawing."""
        return max(self.end_s - self.start_s, 1e-6)

    def share(self, t_s: float) -> float:
        """Where an instant lies, 0 at the left edge to 1 at the right; kept inside."""
        return min(max((t_s - self.start_s) / self.span_s, 0.0), 1.0)

    def percent(self, t_s: float) -> str:
        """The same as a per cent for an attribute."""
        return f"{self.share(t_s) * 100:.6g}%"

    def width(self, start_s: float, end_s: float) -> str:
        """How wide a stretch is, as a per cent."""
        return f"{max(self.share(end_s) - self.share(start_s), 0.0) * 100:.6g}%"

    def covers(self, start_s: float, end_s: float) -> bool:
        """Whether any of a stretch is on the drawing."""
        return start_s < self.end_s and end_s >= self.start_s

    def ticks(self, most: int = 18) -> list[tuple[float, str]]:
        """Round match times with their labels, at most `most` of them."""
        step = next((step for step in _TICK_STEPS_S if self.span_s / step <= most), self.span_s)
        first = math.ceil((self.start_s - self.zero_s) / step - 1e-9)
        last = math.floor((self.end_s - self.zero_s) / step + 1e-9)
        times = [self.zero_s + step * index for index in range(first, last + 1)]
        return [(t_s, _tick_label(t_s - self.zero_s, step)) for t_s in times]


def _tick_label(t_s: float, step_s: float) -> str:
    return clock(t_s) if step_s < 1 else clock(t_s)[:-2]


def tag(name: str, attributes: Mapping[str, object] | None = None, *children: object) -> Markup:
    """One element; attribute values and text children are escaped, Markup children kept."""
    written = "".join(f' {key}="{_safe(value)}"' for key, value in (attributes or {}).items())
    inside = "".join(map(_safe, children))
    return Markup(f"<{name}{written}>{inside}</{name}>" if inside else f"<{name}{written}/>")  # noqa: S704 - escaped


def _safe(value: object) -> Markup:
    return value if isinstance(value, Markup) else escape(visible(value))


def path(kind: str, data: str) -> Markup:
    """A path of a class; `data` is our own writing, never text of a log."""
    return Markup(f'<path class="{kind}" d="{data}"/>')  # noqa: S704 - both ours


def stretched(*children: object, top: float = 0, height: object = "100%") -> Markup:
    """The inner drawing whose units stretch with the page."""
    box = {
        "class": "s", "viewBox": f"0 0 {COLUMNS} {LEVELS}", "preserveAspectRatio": "none",
        "y": f"{top:g}", "width": "100%", "height": height,
    }  # fmt: skip
    return tag("svg", box, *children)


def at(percent: str, top: float, *children: object) -> Markup:
    """Children in pixels around a point at a per cent of the width."""
    return tag("svg", {"x": percent, "y": f"{top:g}", "class": "at"}, *children)


def label(percent: str, baseline: float, text: str, *, kind: str = "t", anchor: str = "start") -> Markup:
    """A line of text at a per cent of the width."""
    attributes = {"x": percent, "y": f"{baseline:g}", "class": kind}
    if anchor != "start":
        attributes["text-anchor"] = anchor
    return tag("text", attributes, text)

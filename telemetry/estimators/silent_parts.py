"""Beams of a star that fall silent together while another beam sees pieces pass, or in one instant.

What a part of a harness loses is told by time alone where it cannot be chance: its beams change to what they
read unplugged in the same instant, and none changes again for far longer than it ever does. Where they were
clear when it broke and read clear ever since, no edge marks the instant. But then pieces go by a beam beyond
them, more than the robot could have held, and they miss them all.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.robot import Harness

__all__ = ["SilentPart", "find_silent_part", "reads_unplugged"]

_LEAST_BEAMS, _LEAST_LOST = 3, 2
_LEAST_EDGES, _LEAST_EXPECTED, _TIMES_USUAL = 4, 8.0, 2.0
_READINGS, _AT_ONCE_S = 2.0, 0.03
_LEAST_DWELL_S = 0.04
"""A piece breaks a beam for longer than that (common practice, no source); chatter is shorter."""
_USUAL_CAPACITY, _MORE = 3, 2
_LATE_EDGES = 4.0


@dataclass(frozen=True)
class SilentPart:
    """Beams that fell silent together, from when and until when."""

    beams: tuple[str, ...]
    start_s: float
    end_s: float


@dataclass(frozen=True)
class _Silence:
    """One beam's longest stretch without a change, and how many changes were to be expected in it."""

    beam: str
    start_s: float
    end_s: float
    expected: float


def find_silent_part(known: Analysis, harness: Harness) -> SilentPart | None:
    """At least two beams of a star that fell silent together, or None; at most once a match."""
    beams = [name for name in harness.order if name in known.beams]
    if harness.kind != "star" or len(beams) < _LEAST_BEAMS:
        return None
    return _in_one_instant(known, beams) or _while_pieces_pass(known, beams)


def _edges_s(known: Analysis, name: str) -> FloatArray:
    """When a beam changed during the match, chatter left out."""
    changed_s = known.beams[name].t_s[1:]
    apart_s = np.diff(changed_s, prepend=-np.inf, append=np.inf)
    steady = (apart_s[:-1] >= _LEAST_DWELL_S) & (apart_s[1:] >= _LEAST_DWELL_S)
    inside = (changed_s >= known.match.start_s) & (changed_s <= known.match.end_s)
    return np.asarray(changed_s[steady & inside])


def _bounds_s(known: Analysis, edges_s: FloatArray) -> FloatArray:
    return np.concatenate(([known.match.start_s], edges_s, [known.match.end_s]))


# In one instant


def _in_one_instant(known: Analysis, beams: Sequence[str]) -> SilentPart | None:
    silences = [one for name in beams if (one := _longest_by_time(known, name)) is not None]
    for first in silences:
        within_s = max(_READINGS * known.beams[first.beam].period_s, _AT_ONCE_S)
        together = [one for one in silences if abs(one.start_s - first.start_s) <= within_s]
        if len(together) >= _LEAST_LOST:
            start_s = min(one.start_s for one in together)
            end_s = float(np.median([one.end_s for one in together]))
            lost = {one.beam for one in together}
            also = [name for name in beams if name in lost or _silent_all_along(known, name, start_s, end_s)]
            return SilentPart(tuple(also), start_s, end_s)
    return None


def _silent_all_along(known: Analysis, name: str, start_s: float, end_s: float) -> bool:
    """Whether a beam read unplugged already when the others went, and missed as much as they did."""
    edges_s = _edges_s(known, name)
    others_s = known.match.end_s - known.match.start_s - (end_s - start_s)
    inside = np.count_nonzero((edges_s > start_s) & (edges_s < end_s))
    expected = len(edges_s) * (end_s - start_s) / max(others_s, 1.0)
    return bool(not inside and expected >= _LEAST_EXPECTED and reads_unplugged(known, name, start_s))


def _longest_by_time(known: Analysis, name: str) -> _Silence | None:
    """A beam's longest silence, if it is far too long by the beam's own rate and reads unplugged."""
    edges_s = _edges_s(known, name)
    lasting_s = np.diff(_bounds_s(known, edges_s))
    place = int(lasting_s.argmax())
    if place == 0 or len(edges_s) < _LEAST_EDGES:
        return None
    silent_s, others_s = float(lasting_s[place]), np.delete(lasting_s, place)
    expected = len(edges_s) * silent_s / float(others_s.sum())
    start_s = float(edges_s[place - 1])
    too_long = silent_s >= _TIMES_USUAL * float(others_s.max()) and expected >= _LEAST_EXPECTED
    if not too_long or known.robot.beams[name].unplugged is None or not reads_unplugged(known, name, start_s):
        return None
    return _Silence(name, start_s, start_s + silent_s, expected)


def reads_unplugged(known: Analysis, name: str, at_s: float) -> bool:
    """Whether a beam reads just after an instant what it reads unplugged; yes where that is not known."""
    beam, unplugged = known.beams[name], known.robot.beams[name].unplugged
    place = int(np.searchsorted(beam.t_s, at_s, side="right")) - 1
    return unplugged is None or bool(beam.on[max(place, 0)]) == (unplugged == "broken")


# While pieces pass


def _while_pieces_pass(known: Analysis, beams: Sequence[str]) -> SilentPart | None:
    """Against each beam further along that sees pieces pass: every beam before it must have seen them."""
    ordered = [name for name in known.robot.beams_in_order() if name in known.beams]
    for place in range(len(ordered) - 1, 0, -1):
        passes_s = _edges_s(known, ordered[place])[::2]
        before = [name for name in ordered[:place] if name in beams]
        silences = [one for name in before if (one := _longest_by_passes(known, name, passes_s)) is not None]
        part = _together(known, silences, passes_s)
        if part is not None:
            return part
    return None


def _longest_by_passes(known: Analysis, name: str, passes_s: FloatArray) -> _Silence | None:
    """The silence of a beam during which the most pieces passed beyond it."""
    edges_s = _edges_s(known, name)
    bounds_s = _bounds_s(known, edges_s)
    passed = np.diff(np.searchsorted(passes_s, bounds_s))
    place = int(passed.argmax())
    most = int(passed[place])
    if (
        len(edges_s) < _LEAST_EDGES
        or most < _held(known)
        or not reads_unplugged(known, name, float(bounds_s[place]))
    ):
        return None
    expected = most * len(edges_s) / max(len(passes_s) - most, 1)
    if expected < _LEAST_EXPECTED:
        return None
    return _Silence(name, float(bounds_s[place]), float(bounds_s[place + 1]), expected)


def _held(known: Analysis) -> int:
    """More pieces than a robot can have held when its beams were lost."""
    return (known.robot.robot.capacity or _USUAL_CAPACITY) + _MORE


def _together(known: Analysis, silences: Sequence[_Silence], passes_s: FloatArray) -> SilentPart | None:
    """The most silences that can have begun as one: at the last change of any, none long due by then."""
    best: list[_Silence] = []
    for start_s in sorted(one.start_s for one in silences):
        begun = [one for one in silences if one.start_s <= start_s]
        begun = [one for one in begun if one.end_s > start_s and not _was_due(one, start_s, passes_s)]
        best = max(best, begun, key=len)
    if len(best) < _LEAST_LOST:
        return None
    start_s, end_s = max(one.start_s for one in best), min(one.end_s for one in best)
    if np.count_nonzero((passes_s > start_s) & (passes_s < end_s)) < _held(known):
        return None
    return SilentPart(tuple(one.beam for one in best), start_s, end_s)


def _was_due(silence: _Silence, until_s: float, passes_s: FloatArray) -> bool:
    """Whether a beam had missed so much before an instant that it was lost earlier, by itself."""
    inside = int(np.count_nonzero((passes_s > silence.start_s) & (passes_s < silence.end_s)))
    before = int(np.count_nonzero((passes_s > silence.start_s) & (passes_s < until_s)))
    return silence.expected * before / max(inside, 1) > _LATE_EDGES

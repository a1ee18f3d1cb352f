"""Beams that fall silent in one instant, or together while another beam sees pieces pass.

What a part of a harness loses is told by time alone where it cannot be chance: its beams change to what they
read unplugged in the same instant, and none changes again for far longer than it ever does. Where they were
clear when it broke and read clear ever since, no edge marks the instant. But then pieces go by a beam beyond
them, more than the robot could have held, and they miss them all.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.log import FloatArray
from telemetry.robot import Harness

__all__ = ["SilentPart", "find_lost_in_one_instant", "find_silent_part"]

_LEAST_BEAMS, _LEAST_LOST = 3, 2
_LEAST_EDGES, _LEAST_EXPECTED, _TIMES_USUAL = 4, 8.0, 2.0
_READINGS, _AT_ONCE_S, _SELDOM = 2.0, 0.03, 0.2
_LEAST_DWELL_S = 0.04
"""A piece breaks a beam for longer than that (common practice, no source); chatter is shorter."""
_EDGES_A_PIECE = 2.0
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
    return find_lost_in_one_instant(known, beams) or _while_pieces_pass(known, beams)


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


def find_lost_in_one_instant(known: Analysis, beams: Sequence[str]) -> SilentPart | None:
    """Beams that go to what they read unplugged, at least two in one instant, and then all keep silent.

    For at least twice as long as they ever do, and so long that eight changes and more were to be expected.
    Those that read unplugged already are lost with them. Two that often change together, as read seldom a
    piece makes beams do that are near each other, say nothing by it.
    """
    told = [name for name in beams if known.robot.beams[name].unplugged is not None]
    silences = {name: span_s for name in told if (span_s := _longest_s(known, name)) is not None}
    for name, (begun_s, _) in silences.items():
        within_s = max(_READINGS * known.beams[name].period_s, _AT_ONCE_S)
        together = {one: span_s for one, span_s in silences.items() if abs(span_s[0] - begun_s) <= within_s}
        starts_s, ends_s = zip(*together.values(), strict=True)
        start_s, end_s = max(starts_s), min(ends_s)
        lost = [one for one in told if one in together or _rests_unplugged(known, one, start_s, end_s)]
        at_once = any(_seldom_together(known, *pair, within_s) for pair in combinations(together, 2))
        if at_once and _is_too_long(known, lost, start_s, end_s):
            return SilentPart(tuple(lost), min(starts_s), float(np.median(ends_s)))
    return None


def _seldom_together(known: Analysis, one: str, other: str, within_s: float) -> bool:
    """Whether but a few changes of one meet a change of the other, besides that by which both fell silent."""
    ones_s, others_s = _edges_s(known, one), _edges_s(known, other)
    near = np.searchsorted(others_s, ones_s + within_s) > np.searchsorted(others_s, ones_s - within_s)
    return bool(np.count_nonzero(near) - 1 <= _SELDOM * len(ones_s))


def _longest_s(known: Analysis, name: str) -> tuple[float, float] | None:
    """A beam's longest stretch without a change, if one began it and it reads unplugged then."""
    edges_s = _edges_s(known, name)
    bounds_s = _bounds_s(known, edges_s)
    place = int(np.diff(bounds_s).argmax())
    if place == 0 or len(edges_s) < _LEAST_EDGES or not _reads_unplugged(known, name, float(bounds_s[place])):
        return None
    return float(bounds_s[place]), float(bounds_s[place + 1])


def _rests_unplugged(known: Analysis, name: str, start_s: float, end_s: float) -> bool:
    edges_s = _edges_s(known, name)
    inside = (edges_s > start_s) & (edges_s < end_s)
    return bool(len(edges_s) and not inside.any() and _reads_unplugged(known, name, start_s))


def _is_too_long(known: Analysis, beams: Sequence[str], start_s: float, end_s: float) -> bool:
    """Whether a silence of beams is longer than any other of theirs, and than their rate allows."""
    edges_s = np.sort(np.concatenate([_edges_s(known, name) for name in beams]))
    outside_s = edges_s[(edges_s <= start_s) | (edges_s >= end_s)]
    lasting_s = np.diff(_bounds_s(known, outside_s))
    others_s = np.delete(lasting_s, int(np.searchsorted(outside_s, start_s, side="right")))
    if not len(others_s) or end_s - start_s < _TIMES_USUAL * float(others_s.max()):
        return False
    return len(edges_s) * (end_s - start_s) >= _LEAST_EXPECTED * float(others_s.sum())


def _reads_unplugged(known: Analysis, name: str, at_s: float) -> bool:
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
    """The silence of a beam during which the most pieces passed beyond it.

    By how often it changed elsewhere for every piece; one that hardly did misses two changes a piece.
    """
    edges_s = _edges_s(known, name)
    bounds_s = _bounds_s(known, edges_s)
    passed = np.diff(np.searchsorted(passes_s, bounds_s))
    place = int(passed.argmax())
    most = int(passed[place])
    if most < _held(known) or not _reads_unplugged(known, name, float(bounds_s[place])):
        return None
    elsewhere = len(edges_s) / max(len(passes_s) - most, 1)
    expected = most * (elsewhere if len(edges_s) >= _LEAST_EDGES else _EDGES_A_PIECE)
    if expected < _LEAST_EXPECTED:
        return None
    return _Silence(name, float(bounds_s[place]), float(bounds_s[place + 1]), expected)


def _held(known: Analysis) -> int:
    """More pieces than a robot can have held when its beams were lost."""
    return (known.robot.robot.capacity or _USUAL_CAPACITY) + _MORE


def _together(known: Analysis, silences: Sequence[_Silence], passes_s: FloatArray) -> SilentPart | None:
    """The most silences that can have begun as one: at the last change of any, none long due by then.

    At least one of them changed before: of beams that never did it is not known that they were lost.
    """
    best: list[_Silence] = []
    for start_s in sorted(one.start_s for one in silences):
        begun = [one for one in silences if one.start_s <= start_s]
        begun = [one for one in begun if one.end_s > start_s and not _was_due(one, start_s, passes_s)]
        best = max(best, begun, key=len)
    if len(best) < _LEAST_LOST:
        return None
    start_s, end_s = max(one.start_s for one in best), min(one.end_s for one in best)
    passed = np.count_nonzero((passes_s > start_s) & (passes_s < end_s))
    if start_s <= known.match.start_s or passed < _held(known):
        return None
    return SilentPart(tuple(one.beam for one in best), start_s, end_s)


def _was_due(silence: _Silence, until_s: float, passes_s: FloatArray) -> bool:
    """Whether a beam had missed so much before an instant that it was lost earlier, by itself."""
    inside = int(np.count_nonzero((passes_s > silence.start_s) & (passes_s < silence.end_s)))
    before = int(np.count_nonzero((passes_s > silence.start_s) & (passes_s < until_s)))
    return silence.expected * before / max(inside, 1) > _LATE_EDGES

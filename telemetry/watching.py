"""Which files of a folder are complete: seen twice alike, and left alone for a while.

Works by looking again and again, since neither sticks nor network drives tell of changes dependably.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from types import MappingProxyType

from telemetry.dataclass import dataclass

__all__ = ["Stamp", "Watch", "look", "unreported"]

_EMPTY_FOR_S = 30.0
"""A file that stays empty for so long is no copy that has just begun (our choice)."""

Stamp = tuple[int, int]
"""A file's size in bytes, and when it was last changed, in nanoseconds."""


@dataclass(frozen=True)
class Watch:
    """What is known of a folder: since when each file has been as it is, and as what it was reported.

    `growing` are files that changed between two looks and do not stand still yet: they are being copied.
    `present` is False while the folder cannot be read.
    """

    since_s: Mapping[str, tuple[Stamp, float]] = field(default_factory=lambda: MappingProxyType({}))
    reported: Mapping[str, Stamp] = field(default_factory=lambda: MappingProxyType({}))
    present: bool = True
    growing: frozenset[str] = frozenset()


def look(
    watch: Watch, found: Mapping[str, Stamp] | None, now_s: float, *, rest_s: float
) -> tuple[Watch, tuple[str, ...]]:
    """What is known after one more look, and the files that are complete now and not yet reported, by name.

    `found` is None where the folder cannot be read: a stick that was pulled. Nothing is forgotten then, so
    that what lies there as before when it is back is not reported again. A file is complete when its size and
    time stand still for `rest_s`, an empty one for half a minute at least, since copies begin so; one that
    changes after that is reported anew.
    """
    if found is None:
        return Watch(MappingProxyType({}), watch.reported, False), ()
    since_s = {name: _since(watch, name, stamp, now_s) for name, stamp in found.items()}
    ready = tuple(
        name
        for name, (stamp, began_s) in sorted(since_s.items())
        if now_s - began_s >= (rest_s if stamp[0] > 0 else max(rest_s, _EMPTY_FOR_S))
        and watch.reported.get(name) != stamp
    )
    reported = {**watch.reported, **{name: since_s[name][0] for name in ready}}
    changed = {n for n, (stamp, _) in since_s.items() if n in watch.since_s and watch.since_s[n][0] != stamp}
    growing = frozenset((watch.growing & since_s.keys() | changed) - {*ready})
    return Watch(MappingProxyType(since_s), MappingProxyType(reported), True, growing), ready


def unreported(watch: Watch, name: str) -> Watch:
    """The same, but a file that could not be reported is ready again when it is next seen at rest."""
    return replace(watch, reported=MappingProxyType({n: s for n, s in watch.reported.items() if n != name}))


def _since(watch: Watch, name: str, stamp: Stamp, now_s: float) -> tuple[Stamp, float]:
    before = watch.since_s.get(name)
    return before if before is not None and before[0] == stamp else (stamp, now_s)

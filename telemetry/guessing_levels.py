"""Which of a switch's two levels means broken or pressed: by words, by duration, by its neighbours."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Sequence
from itertools import combinations

import numpy as np

from telemetry.channel_words import NamedChannel
from telemetry.dataclass import dataclass
from telemetry.guessing_phase import EnabledClock
from telemetry.log import Channel, FloatArray
from telemetry.plain import shown

__all__ = ["LevelGuess", "beam_levels", "limit_levels", "tells_of_a_beam"]

_BROKEN = frozenset({"broken", "blocked", "occupied", "present", "detected", "interrupted"})
_CLEAR = frozenset({"clear", "unbroken", "unblocked", "empty", "absent", "open", "free"})
_PRESSED = frozenset({"pressed", "closed", "hit", "triggered"})
_RELEASED = frozenset({"released", "open", "free"})

# Our choice: a beam tells its own level where the rarer one is this rare, and where it changes at least a
# third as often as the liveliest beam; one that stuck for most of a match does neither.
_CLEARLY_RARER = 0.3
_LIVELY_SHARE = 1 / 3


@dataclass(frozen=True)
class LevelGuess:
    """A level as the log spells it (0, 1, true, false or its word), and why it was taken."""

    level: bool | int | str
    why: str


def tells_of_a_beam(labels: Sequence[str]) -> bool:
    """Whether one of the words is said of a beam that something interrupts."""
    return any(label.strip().lower() in _BROKEN for label in labels)


def beam_levels(beams: Sequence[NamedChannel], clock: EnabledClock) -> list[LevelGuess]:
    """For each beam the level that means broken: what a word says, else the rarer of the enabled time.

    A beam that does not tell by itself, because it hardly changed or both levels lasted, follows the others.
    """
    shares = [_share_high(named.channel, clock) for named in beams]
    changes = [int(np.count_nonzero(np.diff(named.channel.values))) for named in beams]
    lively = max(changes, default=0) * _LIVELY_SHARE
    sure = [
        min(share, 1 - share) <= _CLEARLY_RARER and 0 < lively <= changed
        for share, changed in zip(shares, changes, strict=True)
    ]
    common = _majority([_rarer(share) for share, is_sure in zip(shares, sure, strict=True) if is_sure])
    found = []
    for named, share, is_sure in zip(beams, shares, sure, strict=True):
        worded = _by_words(named, "broken", _BROKEN, _CLEAR)
        if worded is None and common is not None and not is_sure:
            why = f"as for the other beams, for this one was high {share:.0%} of the enabled time"
            worded = _told(named, common, "broken", why)
        found.append(worded or _by_rarity(named, "broken", share))
    return found


def limit_levels(
    limits: Sequence[NamedChannel], clock: EnabledClock, mechanism: Callable[[NamedChannel], Hashable]
) -> list[LevelGuess]:
    """For each limit the level that means pressed.

    A mechanism may rest on a limit, so the rarer level says little. But the two ends of one mechanism are
    wired alike and cannot be reached at once: the level that both hold together for less time is taken. A
    limit alone follows the pairs; without any, the rarer level is taken.
    """
    groups: dict[Hashable, list[NamedChannel]] = {}
    for named in limits:
        groups.setdefault(mechanism(named), []).append(named)
    by_pair = {key: _exclusive_level(group, clock) for key, group in groups.items()}
    common = _majority([code for code in by_pair.values() if code is not None])
    return [_limit_level(named, by_pair[mechanism(named)], common, clock) for named in limits]


def _limit_level(
    named: NamedChannel, paired: int | None, common: int | None, clock: EnabledClock
) -> LevelGuess:
    worded = _by_words(named, "pressed", _PRESSED, _RELEASED)
    if worded:
        return worded
    if paired is not None:
        return _told(named, paired, "pressed", "both ends of the mechanism hold it together least")
    if common is not None:
        return _told(named, common, "pressed", "as for the other limits")
    return _by_rarity(named, "pressed", _share_high(named.channel, clock))


def _by_words(
    named: NamedChannel, what: str, on_words: frozenset[str], off_words: frozenset[str]
) -> LevelGuess | None:
    labels = [label.strip().lower() for label in named.channel.labels[:2]]
    for code, label in enumerate(labels):
        if label in on_words:
            return _told(named, code, what, "its label says so")
    for code, label in enumerate(labels):
        if label in off_words:
            return _told(named, 1 - code, what, f"its other label is {label}")
    return _told(named, 1, what, "its name says so") if named.has(on_words) else None


def _by_rarity(named: NamedChannel, what: str, share_high: float) -> LevelGuess:
    if len(named.channel.t_s) == 0:
        return _told(named, 1, what, "it was never logged, so this is only usual")
    rarer = f"{min(share_high, 1 - share_high):.0%}"
    return _told(
        named, _rarer(share_high), what, f"it is the rarer level while enabled ({rarer} of the time)"
    )


def _told(named: NamedChannel, code: int, what: str, why: str) -> LevelGuess:
    level = _spelled(named.channel, code)
    return LevelGuess(level, f"{shown(str(level), 20)} is taken for {what}: {why}")


def _spelled(channel: Channel, code: int) -> bool | int | str:
    label = channel.labels[code].strip() if len(channel.labels) == 2 else str(code)
    if label.lower() in ("true", "false"):
        return label.lower() == "true"
    is_word = 0 < len(label) <= 60 and label.isprintable() and not any(map(str.isdigit, label))
    return label if is_word and channel.code_of(label) == code else code


def _rarer(share_high: float) -> int:
    return 1 if share_high <= 0.5 else 0


def _majority(codes: Sequence[int]) -> int | None:
    """The code that most have, None where there is none or as many of each."""
    counts = Counter(codes)
    return None if counts[0] == counts[1] else int(counts[1] > counts[0])


def _share_high(channel: Channel, clock: EnabledClock) -> float:
    """The share of the enabled time in which a switch was high; by samples where no time passed."""
    if len(channel.t_s) == 0:
        return 0.0
    spent, high = clock.spent_s(channel.t_s), channel.values == 1
    whole = float(spent.sum())
    return float(spent[high].sum()) / whole if 0 < whole < np.inf else float(high.mean())


def _exclusive_level(limits: Sequence[NamedChannel], clock: EnabledClock) -> int | None:
    """The level that two limits of one mechanism hold together for less time, None where neither is."""
    together_s = [0.0, 0.0]
    for one, other in combinations(limits, 2):
        t_s = np.union1d(one.channel.t_s, other.channel.t_s)
        spent, first, second = clock.spent_s(t_s), _held(one.channel, t_s), _held(other.channel, t_s)
        for code in (0, 1):
            together_s[code] += float(spent[(first == code) & (second == code)].sum())
    return None if together_s[0] == together_s[1] else int(together_s[1] < together_s[0])


def _held(channel: Channel, t_s: FloatArray) -> FloatArray:
    """The state of a switch at instants, NaN before it was first logged."""
    place = np.searchsorted(channel.t_s, t_s, side="right") - 1
    values = np.append(channel.values, np.nan)
    return values[np.where(place >= 0, place, len(channel.values))]

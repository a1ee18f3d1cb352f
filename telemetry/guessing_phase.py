"""Which channel tells the phase of the match, by the words it holds."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from telemetry.channel_words import NamedChannel
from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray, Kind
from telemetry.match import ENABLED_PHASES
from telemetry.plain import shown

__all__ = ["EnabledClock", "PhaseGuess", "guess_phase", "looks_like_phase"]

_NAME_WORDS = frozenset({"mode", "phase", "state", "period"})
_PHASE_OF_START = (
    ("disab", "disabled"), ("auto", "autonomous"), ("endg", "endgame"), ("tele", "teleop"),
    ("driver", "teleop"), ("enable", "teleop"),
)  # fmt: skip
_LONGEST_LABEL = 200


@dataclass(frozen=True)
class PhaseGuess:
    """The channel, the values that stand for each phase, and why."""

    named: NamedChannel
    values: dict[str, list[bool | int | float | str]]
    why: str


def guess_phase(channels: Iterable[NamedChannel]) -> PhaseGuess | None:
    """The text channel whose words are phases, or a switch named `enabled`; None where there is neither.

    Numbers say nothing of what they stand for: see `looks_like_phase`.
    """
    texts = [channel for channel in channels if not channel.is_a(Kind.NUMBER)]
    best, most = None, 0
    for named in texts:
        values = _phases_of_labels(named)
        enabled = sum(phase in values for phase in ("autonomous", "teleop", "endgame"))
        score = 4 * enabled + 2 * ("disabled" in values) + named.has(_NAME_WORDS)
        if enabled and (len(values) > 1 or named.has(_NAME_WORDS)) and score > most:
            told = ", ".join(f"{phase} is {shown(str(words[0]), 20)}" for phase, words in values.items())
            best, most = PhaseGuess(named, values, f"its values are phases: {told}"), score
    return best or next((guess for guess in map(_enabled_switch, texts) if guess), None)


def looks_like_phase(named: NamedChannel) -> bool:
    """Whether a channel of numbers is named like a phase, so that a person could say what they mean."""
    return not named.is_a(Kind.TEXT) and named.has({"mode", "phase"})


class EnabledClock:
    """How long the robot was enabled, by the guessed phase; all the time without one."""

    def __init__(self, guess: PhaseGuess | None, end_s: float) -> None:
        self._end_s = end_s
        self._t_s, self._enabled_s = np.empty(0), np.empty(0)
        if guess is not None and len(guess.named.channel.t_s):
            self._t_s = np.append(guess.named.channel.t_s, end_s)
            enabled = _enabled(guess)
            self._enabled_s = np.concatenate(([0.0], np.cumsum(np.where(enabled, np.diff(self._t_s), 0.0))))

    def spent_s(self, t_s: FloatArray) -> FloatArray:
        """Enabled seconds from each instant to the next, the last to the log's end, shape of `t_s`.

        Where the robot was never enabled, all seconds count.
        """
        edges = np.append(t_s, self._end_s)
        if len(self._t_s) and self._enabled_s[-1] > 0:
            edges = np.interp(edges, self._t_s, self._enabled_s)
        return np.diff(edges)


def _enabled(guess: PhaseGuess) -> BoolArray:
    channel = guess.named.channel
    enabled = np.zeros(len(channel.t_s), dtype=bool)
    for value in (value for phase in ENABLED_PHASES for value in guess.values.get(phase, [])):
        enabled |= channel.equals(value)
    return enabled


def _phases_of_labels(named: NamedChannel) -> dict[str, list[bool | int | float | str]]:
    values: dict[str, list[bool | int | float | str]] = {}
    seen: set[str] = set()
    for label in named.channel.labels:
        plain = label.strip().lower()
        phase = _phase_of(plain)
        if phase and plain not in seen and len(plain) <= _LONGEST_LABEL and _is_unicode(plain):
            seen.add(plain)
            values.setdefault(phase, []).append(label.strip())
    return values


def _phase_of(label: str) -> str | None:
    words = re.findall(r"[a-z]+", label)
    for start, phase in _PHASE_OF_START:
        if any(word.startswith(start) for word in words):
            return phase
    return None


def _enabled_switch(named: NamedChannel) -> PhaseGuess | None:
    if not named.is_a(Kind.SWITCH) or "enabled" not in named.words:
        return None
    return PhaseGuess(
        named, {"disabled": [0], "teleop": [1]}, "a switch named enabled: 1 is taken for teleop"
    )


def _is_unicode(text: str) -> bool:
    return not any("\ud800" <= character <= "\udfff" for character in text)

"""Whether the chances and ranges of the story of the pieces are what they say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from telemetry.records.pieces import Count, Pieces

__all__ = ["Calibration"]

_BINS = (0.0, 0.5, 0.7, 0.9, 0.97, 1.0)
_STEP_S, _NEAR_S = 0.1, 0.5


@dataclass
class Calibration:
    """What was said of how sure the story is, beside how often it was right."""

    said: dict[str, list[np.ndarray]] = field(default_factory=dict)
    right: dict[str, list[np.ndarray]] = field(default_factory=dict)
    widths: list[int] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)

    def add(self, pieces: Pieces, truth: Mapping[str, Any], collected: int) -> None:
        """Compare one story with its truth."""
        entered = np.array([p["entered_s"] for p in truth["pieces"] if p["entered_s"] and not p["preload"]])
        released = np.array(truth["releases_s"])
        self._count(pieces, truth["timeline"])
        self._events("entry", pieces.entries_s, pieces.entry_chances, entered)
        self._events("release", pieces.releases_s, pieces.release_chances, released)
        self._range(pieces.collected, collected)
        self._range(pieces.released, len(released))

    def _add(self, what: str, said: np.ndarray, right: np.ndarray) -> None:
        self.said.setdefault(what, []).append(said)
        self.right.setdefault(what, []).append(right)

    def _count(self, pieces: Pieces, true: Sequence[Mapping[str, Any]]) -> None:
        """The count told at each instant, by the chance given to it there."""
        starts_s = [step.start_s for step in pieces.timeline]
        true_s = [step["start_s"] for step in true]
        if not starts_s:
            return
        at_s = np.arange(max(starts_s[0], true_s[0]), max(starts_s[-1], true_s[-1]), _STEP_S)
        told = np.searchsorted(starts_s, at_s, side="right") - 1
        really = np.searchsorted(true_s, at_s, side="right") - 1
        aboard = np.array([step.aboard for step in pieces.timeline])[told]
        right = aboard == np.array([step["aboard"] for step in true])[really]
        self._add("count at an instant", np.array([s.probability for s in pieces.timeline])[told], right)

    def _events(self, what: str, told_s: Sequence[float], said: Sequence[float], true_s: np.ndarray) -> None:
        """Events told, by their chance; right where there was one within half a second."""
        off = np.abs(np.array(told_s)[:, None] - np.append(true_s, np.inf))
        self._add(what, np.array(said), off.min(axis=1, initial=np.inf) <= _NEAR_S)

    def _range(self, told: Count, really: int) -> None:
        self.widths.append(told.high - told.low)
        self.held.append(told.low <= really <= told.high)

    def report(self) -> str:
        """The reliability tables as text in Markdown."""
        lines = ["| what | chance said | told | mean chance | right |", "| --- | --- | --- | --- | --- |"]
        for what in self.said:
            said, right = (np.concatenate(parts[what]) for parts in (self.said, self.right))
            place = np.clip(np.searchsorted(_BINS, said, side="left"), 1, len(_BINS) - 1)
            for number in np.unique(place):
                at = place == number
                bin_ = f"{_BINS[number - 1]:g} to {_BINS[number]:g}"
                lines.append(
                    f"| {what} | {bin_} | {at.sum()} | {said[at].mean():.3f} | {right[at].mean():.3f} |"
                )
        return "\n".join([*lines, "", *self._ranges()])

    def _ranges(self) -> list[str]:
        widths, held = np.array(self.widths), np.array(self.held)
        lines = ["| range of a total | ranges | hold | mean width |", "| --- | --- | --- | --- |"]
        for what, at in (("one value", widths == 0), ("wider", widths > 0), ("all", widths >= 0)):
            if at.any():
                lines.append(f"| {what} | {at.sum()} | {held[at].mean():.3f} | {widths[at].mean():.2f} |")
        return lines

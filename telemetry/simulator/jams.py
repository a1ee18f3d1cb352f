"""Jams of the belt: each waits for a piece on its way up, and holds until it is cleared."""

from collections.abc import Callable, Iterable

import numpy as np

from telemetry.simulator.driver import Driver
from telemetry.simulator.faults import FeedJam
from telemetry.simulator.mechanisms import Feed
from telemetry.simulator.plan import Span
from telemetry.simulator.tower import Tower

__all__ = ["Jams"]

_CLEARS_S = 0.3  # of running backwards
_TURNS_RAD_S = 50.0
_DRAWN_SHARE = (0.10, 0.55)  # of teleop, in which a jam of no given time may begin
_NEVER = float("inf")


class Jams:
    """The jams of a match, one after the other. ``note(start_s, end_s)`` is told of each when it is over."""

    def __init__(
        self,
        faults: Iterable[FeedJam],
        parts: tuple[Feed, Tower, Driver],
        teleop: Span,
        rng: np.random.Generator,
        note: Callable[[float, float], None],
    ) -> None:
        self.feed, self.tower, self.driver = parts
        self._note = note
        length_s = teleop.end_s - teleop.start_s
        drawn = [teleop.start_s + length_s * float(rng.uniform(*_DRAWN_SHARE)) for _ in faults]
        timed = zip(drawn, faults, strict=True)
        self._waiting = sorted(
            ((time_s if fault.from_s is None else fault.from_s, fault) for time_s, fault in timed),
            key=lambda pair: pair[0],
        )
        self._held: tuple[float, FeedJam] | None = None
        self._reversed_s = 0.0

    def look(self, now_s: float, tick_s: float) -> None:
        """Begin or end a jam, once a control tick."""
        if self._held is not None:
            self._hold(now_s, tick_s, *self._held)
        elif self._waiting and now_s >= self._waiting[0][0] and self._may_jam():
            self._begin(now_s, self._waiting.pop(0)[1])

    def finish(self, end_s: float) -> None:
        """End a jam that outlasts the record."""
        if self._held is not None:
            self._end(self._held[0], end_s)

    def _may_jam(self) -> bool:
        if self.feed.motor.wanted <= 0.2 or self.feed.motor.speed < _TURNS_RAD_S or not self.tower.pieces:
            return False
        spec = self.tower.spec
        return 0.6 * spec.piece_length_m < self.tower.pieces[-1].front_m < 0.95 * spec.catch_m

    def _begin(self, now_s: float, fault: FeedJam) -> None:
        self._held = (now_s, fault)
        self._reversed_s = 0.0
        self.feed.jammed = True
        self.driver.patience_s = fault.held_s if fault.cleared_by == "reverse" else _NEVER

    def _hold(self, now_s: float, tick_s: float, start_s: float, fault: FeedJam) -> None:
        if self.feed.motor.wanted < 0.0:
            self._reversed_s += tick_s
        freed = fault.cleared_by == "release" and now_s - start_s >= fault.held_s
        if freed or self._reversed_s >= _CLEARS_S:
            self._end(start_s, now_s - self._reversed_s)

    def _end(self, start_s: float, end_s: float) -> None:
        self.feed.jammed = False
        self._held = None
        self.driver.patience_s = _NEVER
        self._note(start_s, end_s)

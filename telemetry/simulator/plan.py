"""The course of a match: its phases and how its driver plays."""

from dataclasses import dataclass

__all__ = ["MatchPlan", "Span"]


@dataclass(frozen=True)
class Span:
    """A phase from its start up to its end, seconds."""

    phase: str
    start_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True)
class MatchPlan:
    """Lengths of the phases, and the style of play. Pairs are the least and greatest of a uniform draw.

    ``hits`` is how many are expected of a robot that is never fully loaded; a full one draws
    ``hits_when_loaded`` times as many in the same time.
    """

    disabled_before_s: float = 3.0
    autonomous_s: float = 15.0
    pause_s: float = 0.0
    teleop_s: float = 135.0
    endgame_s: float = 30.0
    disabled_after_s: float = 3.0
    climbs: bool = True
    acorn_wait_s: tuple[float, float] = (0.6, 3.2)
    carry_s: tuple[float, float] = (2.5, 5.5)
    return_s: tuple[float, float] = (1.5, 3.5)
    hits: float = 14.0
    hits_when_loaded: float = 1.0
    bumps: float = 3.0

    @property
    def spans(self) -> tuple[Span, ...]:
        """The phases in order, without gaps; those of no length are left out."""
        lengths = [
            ("disabled", self.disabled_before_s),
            ("autonomous", self.autonomous_s),
            ("disabled", self.pause_s),
            ("teleop", self.teleop_s),
            ("disabled", self.disabled_after_s),
        ]
        spans: list[Span] = []
        start_s = 0.0
        for phase, length_s in lengths:
            if length_s > 0.0:
                spans.append(Span(phase, start_s, start_s + length_s))
                start_s += length_s
        return tuple(spans)

    @property
    def length_s(self) -> float:
        """Length of the whole record."""
        return self.spans[-1].end_s

    @property
    def teleop(self) -> Span:
        """The teleop phase."""
        start_s = self.disabled_before_s + self.autonomous_s + self.pause_s
        return Span("teleop", start_s, start_s + self.teleop_s)

"""Times and figures in the words of findings: match time as m:ss.s, plural forms, cautions."""

from __future__ import annotations

from telemetry.match import Match

__all__ = ["HANDS_IN", "HELD_ARM", "HOT_MOTOR", "SUPPLY_WORK", "counted", "match_clock", "when"]

HANDS_IN = "Robot disabled and main breaker off before you reach in."
HOT_MOTOR = "The motor may be hot enough to burn: feel for heat from a distance first."
HELD_ARM = "A raised arm or a stretched spring holds energy: block it before you loosen anything."
SUPPLY_WORK = (
    "Take rings and watches off, insulate the tools, wear eye protection, lift the battery by its body."
)


def match_clock(match: Match, t_s: float) -> str:
    """An instant as match time, m:ss.s, with a minus before the start."""
    tenths = round((t_s - match.start_s) * 10)
    sign = "-" if tenths < 0 else ""
    minutes, rest = divmod(abs(tenths), 600)
    return f"{sign}{minutes}:{rest // 10:02d}.{rest % 10}"


def when(match: Match, start_s: float, end_s: float) -> str:
    """An interval in match time: `0:58.3 to 1:11.0`, or one instant where they look the same."""
    first, last = match_clock(match, start_s), match_clock(match, end_s)
    return first if first == last else f"{first} to {last}"


def counted(number: int, singular: str, plural: str | None = None) -> str:
    """`1 piece`, `2 pieces`."""
    return f"{number} {singular if number == 1 else plural or singular + 's'}"

"""Log text made safe for a terminal: names and values of a log are hostile until escaped."""

from __future__ import annotations

__all__ = ["shown"]


def shown(text: str, limit: int = 80) -> str:
    """`text` on one line, at most `limit` characters, without anything that steers a terminal.

    Control characters, line breaks, bidirectional marks and all else that is not printable become
    `\\n`, `\\x1b`, `\\u202e` …; what is too long ends in `…`. Never raises.
    """
    cut = text if len(text) <= limit else text[: max(limit - 1, 0)]
    safe = cut if cut.isprintable() else "".join(map(_escaped, cut))
    if len(text) > limit or len(safe) > limit:
        safe = safe[: max(limit - 1, 0)] + "…"
    return safe


def _escaped(character: str) -> str:
    if character.isprintable():
        return character
    return ascii(character)[1:-1]

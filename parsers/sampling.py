"""Some lines of a text from everywhere in it: what its dialect is told from."""

from __future__ import annotations

from telemetry.dataclass import dataclass

__all__ = ["NumberedLines", "Sample", "head_lines", "sample_text"]

NumberedLines = list[tuple[int, str]]

_HEAD_LINES = 200
_PLACES = 10
_LINES_A_PLACE = 30
_PIECE_BYTES = 1 << 18


@dataclass(frozen=True)
class Sample:
    """Lines that are not blank: `head` from the start of the text, `later` from evenly spread places."""

    head: list[str]
    later: list[list[str]]


def sample_text(text: bytes) -> Sample:
    """The first lines, and where there are more, some from ten places of the rest."""
    head = _lines(text, 0, _HEAD_LINES)
    step = len(text) // (_PLACES + 1)
    places = range(step, _PLACES * step + 1, step) if len(head) == _HEAD_LINES else ()
    later = [_filled(_lines(text, at, _LINES_A_PLACE + 1)[1:]) for at in places]
    return Sample(_filled(head), later)


def head_lines(text: bytes, most: int) -> NumberedLines:
    """At most so many lines from the start with their numbers, blank ones left out."""
    lines = _lines(text, 0, most, piece=max(_PIECE_BYTES, len(text) // 8 if most > _HEAD_LINES else 0))
    return [(number, line) for number, line in enumerate(lines, start=1) if line.strip()]


def _filled(lines: list[str]) -> list[str]:
    return [line for line in lines if line.strip()]


def _lines(text: bytes, at: int, most: int, piece: int = _PIECE_BYTES) -> list[str]:
    """At most so many lines from a place in the text; of a last one that the piece cuts, nothing."""
    lines = text[at : at + piece].split(b"\n", most)
    ended = at + piece >= len(text) and len(lines) <= most
    whole = lines if ended else lines[:-1] or lines
    return [line.rstrip(b"\r").decode(errors="replace") for line in whole]

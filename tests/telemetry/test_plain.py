"""Log text in a terminal: one line, bounded, nothing that steers it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.plain import shown


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("feed_current_a", "feed_current_a"),
        ("battery [A] °C né", "battery [A] °C né"),
        ("two\nlines\r\t", "two\\nlines\\r\\t"),
        ("\x1b[2J\x07", "\\x1b[2J\\x07"),
        ("\u202egnp.exe", "\\u202egnp.exe"),
        ("\ud800", "\\ud800"),
        ("a\u2028b", "a\\u2028b"),
        ("", ""),
    ],
)
def test_what_steers_a_terminal_is_spelled_out(text: str, safe: str) -> None:
    assert shown(text) == safe


@pytest.mark.parametrize(("length", "limit", "kept"), [(80, 80, 80), (81, 80, 80), (5, 1, 1)])
def test_what_is_too_long_ends_in_dots(length: int, limit: int, kept: int) -> None:
    safe = shown("x" * length, limit)

    assert len(safe) == kept
    assert safe.endswith("…") == (length > limit)


@given(st.text(st.characters()), st.integers(1, 100))
def test_the_result_is_printable_and_bounded(text: str, limit: int) -> None:
    safe = shown(text, limit)

    assert safe.isprintable()
    assert len(safe) <= limit

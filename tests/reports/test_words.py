"""Numbers and times as the page spells them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports import words
from telemetry.finding import KINDS


@pytest.mark.parametrize(
    ("t_s", "spelled"),
    [(0.0, "0:00.0"), (61.24, "1:01.2"), (59.96, "1:00.0"), (-3.1, "−0:03.1"),
     (-0.04, "0:00.0"), (754.0, "12:34.0")],
)  # fmt: skip
def test_match_time(t_s: float, spelled: str) -> None:
    assert words.clock(t_s) == spelled
    assert words.clock(t_s + 100, 100) == spelled


@pytest.mark.parametrize(
    ("seconds", "spelled"),
    [(0.0, "0.0 s"), (0.0123, "12.3 ms"), (0.0996, "0.1 s"), (1.449, "1.4 s"),
     (99.96, "100 s"), (720, "12 min"),
     (None, "–"), (math.nan, "–")],
)  # fmt: skip
def test_durations(seconds: float | None, spelled: str) -> None:
    assert words.duration(seconds) == spelled


@pytest.mark.parametrize(
    ("value", "unit", "digits", "spelled"),
    [(61.04, "A", 3, "61.0 A"), (0.0192, "Ω", 3, "0.0192 Ω"), (1234.5, "W", 3, "1230 W"),
     (-2.5, "", 2, "−2.5"),
     (0.0, "A", 3, "0 A"), (99.96, "A", 3, "100 A"), (None, "A", 3, "–"), (math.inf, "A", 3, "–")],
)  # fmt: skip
def test_figures_with_their_unit(value: float | None, unit: str, digits: int, spelled: str) -> None:
    assert words.number(value, unit, digits) == spelled


@pytest.mark.parametrize(
    ("share", "spelled"),
    [
        (0.0, "0 %"),
        (0.004, "under 1 %"),
        (0.5, "50 %"),
        (0.99, "99 %"),
        (0.9951, "over 99 %"),
        (1.0, "100 %"),
    ],
)
def test_a_share_is_never_rounded_to_certainty(share: float, spelled: str) -> None:
    assert words.percent(share) == spelled


@pytest.mark.parametrize(
    ("confidence", "spelled"),
    [
        (0.97, "almost certain (97 %)"),
        (0.85, "very likely (85 %)"),
        (0.849, "likely (85 %)"),
        (0.1, "a guess (10 %)"),
    ],
)
def test_sureness_in_words_and_percent(confidence: float, spelled: str) -> None:
    assert words.sureness(confidence) == spelled


@pytest.mark.parametrize(
    ("key", "value", "spelled"),
    [("peak_a", 61.04, ("peak", "61.0 A")),
     ("silent_s", 19.7, ("silent", "19.7 s")), ("edges", 48, ("edges", "48")),
     ("share_right", 0.56, ("share right", "56 %")),
     ("state", "stuck_clear", ("state", "stuck clear")),
     ("lost", ["feed", "arm"], ("lost", "feed, arm")),
     ("seen", True, ("seen", "yes")), ("why", None, ("why", "–"))],
)  # fmt: skip
def test_evidence_as_label_and_figure(key: str, value: object, spelled: tuple[str, str]) -> None:
    assert words.evidence_words(key, value) == spelled


def test_instants_among_the_evidence_stand_in_match_time() -> None:
    evidence = {"contact_t_s": 64.34, "first_contradiction_s": 70.0, "silent_s": 19.7}

    assert words.evidence_list(evidence, 3.1) == [
        ("contact at", "1:01.2"),
        ("first disagreed at", "1:06.9"),
        ("silent", "19.7 s"),
    ]


def test_every_kind_of_finding_has_words_of_its_own() -> None:
    assert set(words.KIND_WORDS) == set(KINDS)
    assert len({kind.title for kind in words.KIND_WORDS.values()}) == len(KINDS)
    assert all(kind.meaning.endswith(".") for kind in words.KIND_WORDS.values())


@pytest.mark.parametrize(
    ("kind", "subject", "role", "spelled"),
    [("dropout", "entry", "beam", "entry: dropped out"), ("brownout", "supply", "supply", "Supply: brownout"),
     ("log_gap", "log", "log", "Gap in the log")],
)  # fmt: skip
def test_headings(kind: str, subject: str, role: str, spelled: str) -> None:
    assert words.heading(kind, subject, role) == spelled


def test_a_figure_keeps_its_unit_on_the_same_line() -> None:
    assert words.visible("stood still for 1.4 s at 108 A.") == "stood still for 1.4\u00a0s at 108\u00a0A."


@given(st.text(max_size=60))
def test_nothing_in_a_shown_text_steers_the_page(text: str) -> None:
    assert all(character.isprintable() or character == "\u00a0" for character in words.visible(text))


def test_an_overlong_text_is_cut() -> None:
    assert len(words.visible("x" * 10_000)) == 2000

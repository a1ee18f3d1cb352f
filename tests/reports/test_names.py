"""Folder names that no system trips over, and no two alike."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.names import safe_name, unique_names


@pytest.mark.parametrize(
    ("text", "name"),
    [("match-07", "match-07"), ("Übung 3", "Ubung-3"), ("../../etc/passwd", "etc-passwd"), ("", "match"),
     ("…", "match"), ("con", "match-con"), ("NUL.csv", "match-NUL.csv"),
     (".hidden", "hidden"), ("a" * 300, "a" * 80)],
)  # fmt: skip
def test_safe_names(text: str, name: str) -> None:
    assert safe_name(text) == name


def test_the_second_of_two_alike_gets_a_number() -> None:
    assert unique_names(["m", "m", "M", "m-2"]) == ["m", "m-2", "M-3", "m-2-2"]


def test_no_match_takes_the_place_of_the_events_own_files() -> None:
    assert unique_names(["index.html", "event.json"]) == ["index.html-2", "event.json-2"]


@given(st.lists(st.text(max_size=100), max_size=8))
def test_names_are_safe_and_unique_whatever_the_texts(texts: list[str]) -> None:
    names = unique_names(texts)

    assert len({name.lower() for name in names}) == len(texts)
    assert all(re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9._-]*", name) and len(name) <= 80 for name in names)

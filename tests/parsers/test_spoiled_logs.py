"""Any log in any dialect, spoiled in one named way: nothing wrong, all the rest kept, the repair named."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parsers import read_log
from tests.parsers.spoiling import SPOILS, expected, held, whole_log
from tests.parsers.writing import Style

STYLES = st.one_of(
    st.builds(
        Style,
        delimiter=st.sampled_from([",", ";", "\t", "|"]),
        quoted=st.booleans(),
        line_end=st.sampled_from(["\n", "\r\n"]),
        encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le"]),
        trailing=st.booleans(),
        preamble=st.sampled_from([(), ("# written by the robot",), ("logger 3", "", "robot: Jay")]),
    ),
    st.builds(
        Style,
        delimiter=st.sampled_from([";", "\t", "|"]),
        decimal=st.just(","),
        quoted=st.booleans(),
        line_end=st.sampled_from(["\n", "\r\n"]),
    ),
)


@pytest.mark.parametrize("spoil", list(SPOILS))
@settings(max_examples=12, deadline=None)
@given(style=STYLES, seed=st.integers(0, 10**6), long=st.booleans())
def test_a_log_spoiled_in_one_way_keeps_all_the_rest(spoil: str, style: Style, seed: int, long: bool) -> None:
    spoiled = whole_log(seed, style, long=long)
    SPOILS[spoil](spoiled)
    with tempfile.TemporaryDirectory() as folder:
        log = read_log(spoiled.write(Path(folder)))

    assert held(log) == expected(spoiled)
    assert {repair.kind for repair in log.repairs} == set(spoiled.kinds)
    for repair in log.repairs:
        assert repair.line == (spoiled.kinds[repair.kind] or repair.line)
        assert repair.count == 1 or repair.kind == "reordered_rows"


@settings(max_examples=40, deadline=None)
@given(style=STYLES, seed=st.integers(0, 10**6), long=st.booleans())
def test_a_sound_log_needs_no_repair(style: Style, seed: int, long: bool) -> None:
    sound = whole_log(seed, style, long=long)
    with tempfile.TemporaryDirectory() as folder:
        log = read_log(sound.write(Path(folder)))

    assert log.repairs == ()
    assert held(log) == expected(sound)

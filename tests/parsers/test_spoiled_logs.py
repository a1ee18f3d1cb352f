"""Any log in any dialect, spoiled in one named way: nothing wrong, all the rest kept, the repair named."""

from __future__ import annotations

import tempfile
from dataclasses import replace
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


SPOILED_LINES = ("", "a;b;c;d;e;f", "1,5;2,5", '"never closed', ",,,,,,,")


@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize(
    "style", [Style(), Style(delimiter=";", decimal=","), Style(delimiter="\t"), Style(quoted=True)]
)
def test_no_row_that_is_spoiled_changes_the_dialect(style: Style, long: bool, tmp_path: Path) -> None:
    sound = whole_log(3, style, long=long, rows=10 // (1 + 2 * long))
    dialect = read_log(sound.write(tmp_path)).dialect
    for place in range(len(sound.lines)):
        for line in SPOILED_LINES:
            lines = [*sound.lines[:place], line, *sound.lines[place + 1 :]]
            found = read_log(replace(sound, lines=lines).write(tmp_path)).dialect
            assert (found.delimiter, found.decimal, found.time_column, found.time_unit, found.shape) == (
                dialect.delimiter,
                dialect.decimal,
                dialect.time_column,
                dialect.time_unit,
                dialect.shape,
            )

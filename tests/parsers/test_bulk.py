"""The bulk read of a delimited text: the same columns in however many pieces it is read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from parsers import bulk, read_log
from parsers.records import find_records
from telemetry.log import Kind, Log

WHOLE = st.integers(-999, 999).map(str)
FRACTION = st.integers(-999, 999).map(lambda number: f"{number / 8}")
CELL = WHOLE | FRACTION | st.sampled_from(["", "NaN", " 7", "12345678901234567890", "shut", "1e9"])
COLUMN = st.tuples(st.lists(WHOLE, min_size=20, max_size=20), st.lists(CELL, min_size=20, max_size=20))


def write(path: Path, columns: list[list[str]]) -> None:
    """A wide log at 50 Hz with the columns' cells, spelled as given."""
    header = ["time_s", *(f"channel {i}" for i in range(len(columns)))]
    rows = [[f"{row * 0.02:.2f}", *cells] for row, cells in enumerate(zip(*columns, strict=True))]
    path.write_text("".join(",".join(cells) + "\n" for cells in (header, *rows)))


def told(log: Log) -> list[object]:
    """All that a log says of its channels."""
    return [
        (
            c.name,
            c.kind,
            c.labels,
            c.missing,
            c.sampled,
            *(np.array(x).tolist() for x in (c.t_s, c.values, c.logged)),
        )
        for c in log.channels.values()
    ]


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@example(columns=[["0"] * 40, ["0"] * 39 + ["shut"], ["0"] * 34 + ["-1", "NaN"] + ["shut"] * 4])
@given(columns=st.lists(COLUMN.map(lambda halves: halves[0] + halves[1]), min_size=2, max_size=4))
def test_pieces_of_a_log_make_the_same_channels_as_the_whole(
    columns: list[list[str]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "match.csv"
    write(path, columns)
    whole = read_log(path)

    with monkeypatch.context() as small:
        small.setattr(bulk, "_CHUNK_BYTES", 120)
        small.setattr(bulk, "_SAMPLE_ROWS", 4)
        pieces = read_log(path)

    assert told(pieces) == told(whole)
    assert pieces.repairs == whole.repairs


def test_whole_numbers_that_turn_into_fractions_far_down_keep_both(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "match.csv"
    write(path, [["3"] * 300 + ["0.25"] * 2, ["5", "", "7"] * 100 + ["", "9"]])
    monkeypatch.setattr(bulk, "_CHUNK_BYTES", 400)
    monkeypatch.setattr(bulk, "_SAMPLE_ROWS", 4)

    log = read_log(path)

    turned, holed = log.channels["channel 0"], log.channels["channel 1"]
    assert turned.kind is Kind.NUMBER
    assert turned.values.tolist() == [3.0] * 300 + [0.25] * 2
    assert holed.values.tolist() == [5.0, 7.0] * 100 + [9.0]


@pytest.mark.parametrize("width", [1, 255, 256, 257, 300, 512, 513, 2_001])
def test_a_row_of_any_width_is_counted(width: int) -> None:
    text = "a,b\n" + ",".join(["7"] * width) + "\nc,d\n"

    assert find_records(text.encode(), ",").width.tolist() == [2, width, 2]


def test_many_wide_rows_are_counted() -> None:
    text = "\n".join(",".join(["7"] * width) for width in np.arange(200, 900, 7).tolist())

    assert find_records(text.encode(), ",").width.tolist() == np.arange(200, 900, 7).tolist()

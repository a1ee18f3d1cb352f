"""Every type of Parquet column that a logger may write, and pages weighed before they are unpacked."""

from __future__ import annotations

import datetime
import decimal
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from parsers import Limits, read_log
from parsers.pages import MalformedPageError, page_sizes
from telemetry.errors import LogError
from telemetry.log import Kind, Log

ROWS = 60
INSTANTS = [datetime.datetime(2026, 3, 1, 10) + datetime.timedelta(milliseconds=20 * i) for i in range(ROWS)]
NUMBERS = [i + 0.5 for i in range(ROWS)]


def log_of(folder: Path, columns: dict[str, Any], **options: Any) -> Log:
    path = folder / "log.parquet"
    pq.write_table(pa.table(columns), path, **options)
    return read_log(path)


@pytest.mark.parametrize(
    ("name", "times", "unit"),
    [
        ("time", pa.array(INSTANTS, pa.timestamp("us")), "iso8601"),
        ("time", pa.array(INSTANTS, pa.timestamp("ns", "UTC")), "iso8601"),
        ("time", pa.array([instant.isoformat() for instant in INSTANTS]), "iso8601"),
        ("elapsed", pa.array([20 * i for i in range(ROWS)], pa.duration("ms")), "s"),
        ("time", pa.array([36_000_000 + 20 * i for i in range(ROWS)], pa.time32("ms")), "s"),
        ("t_ms", pa.array([20 * i for i in range(ROWS)], pa.int64()), "ms"),
        ("timestamp", pa.array([1_772_359_200_000 + 20 * i for i in range(ROWS)], pa.int64()), "ms"),
        ("time_s", pa.array([0.02 * i for i in range(ROWS)], pa.float64()), "s"),
    ],
)
def test_times_of_every_type_are_read(name: str, times: pa.Array, unit: str, tmp_path: Path) -> None:
    log = log_of(tmp_path, {name: times, "x_v": NUMBERS})

    np.testing.assert_allclose(log.t_s, np.arange(ROWS) * 0.02, atol=1e-9)
    assert log.dialect.time_unit == unit
    assert log.channels["x_v"].values.tolist() == NUMBERS


@pytest.mark.parametrize(
    ("cells", "kind", "values"),
    [
        (pa.array(NUMBERS, pa.float32()), Kind.NUMBER, NUMBERS),
        (
            pa.array([decimal.Decimal(number) for number in NUMBERS], pa.decimal128(9, 1)),
            Kind.NUMBER,
            NUMBERS,
        ),
        (pa.array([i % 2 for i in range(ROWS)], pa.int8()), Kind.SWITCH, [i % 2 for i in range(ROWS)]),
        (pa.array([i % 2 == 0 for i in range(ROWS)]), Kind.SWITCH, [1 - i % 2 for i in range(ROWS)]),
        (pa.array(["a", "b"] * 30).dictionary_encode(), Kind.TEXT, [0, 1] * 30),
        (pa.array([7, 9] * 30, pa.int32()).dictionary_encode(), Kind.NUMBER, [7, 9] * 30),
        (pa.array(["1.5", "2.5"] * 30), Kind.NUMBER, [1.5, 2.5] * 30),
        (pa.array([datetime.date(2026, 3, 1)] * ROWS), Kind.TEXT, [0] * ROWS),
        (pa.nulls(ROWS), Kind.NUMBER, []),
    ],
)
def test_cells_of_every_type_are_read(cells: pa.Array, kind: Kind, values: list, tmp_path: Path) -> None:
    log = log_of(tmp_path, {"time_s": [0.02 * i for i in range(ROWS)], "x": cells})

    assert log.repairs == ()
    assert log.channels["x"].kind is kind
    assert log.channels["x"].values.tolist() == values


def test_columns_that_hold_no_values_are_left_out_and_told(tmp_path: Path) -> None:
    columns = {"time_s": [0.02 * i for i in range(ROWS)], "x": NUMBERS, "l": [[1]] * ROWS, "b": [b"x"] * ROWS}
    (repair,) = (log := log_of(tmp_path, columns)).repairs

    assert list(log.channels) == ["x"]
    assert (repair.kind, repair.count, repair.cells) == ("left_out_column", 2, 2 * ROWS)


@pytest.mark.parametrize("compression", ["none", "snappy", "gzip", "zstd"])
def test_pages_are_weighed_by_their_own_headers(compression: str, tmp_path: Path) -> None:
    path = tmp_path / "log.parquet"
    text = pa.array([f"the same long text {i % 3}" * 40 for i in range(3000)])
    table = pa.table({"time_s": np.arange(3000) / 50, "text": text})
    pq.write_table(table, path, compression=compression, use_dictionary=False, data_page_size=5000)
    data, group = path.read_bytes(), pq.ParquetFile(path).metadata.row_group(0)
    sizes = [
        list(page_sizes(data, group.column(i).data_page_offset, group.column(i).total_compressed_size))
        for i in range(2)
    ]

    assert len(sizes[1]) > 1
    assert sum(sizes[1]) >= sum(len(cell.as_py()) for cell in text)
    with pytest.raises(LogError, match="unpacked bytes"):
        read_log(path, limits=Limits(unpacked_bytes=sum(map(sum, sizes)) - 1))
    assert read_log(path, limits=Limits(unpacked_bytes=10 * sum(map(sum, sizes)))).rows == 3000


@pytest.mark.parametrize(
    "data", [b"", b"\xff" * 40, b"\x15\x00\x15\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80\x80", b"\x1c" * 60]
)
def test_what_is_no_page_header_is_told(data: bytes) -> None:
    with pytest.raises(MalformedPageError):
        list(page_sizes(data, 0, 40))


def test_true_and_false_beside_a_clock_without_a_name_are_no_times(tmp_path: Path) -> None:
    log = log_of(tmp_path, {"x": [True, False] * (ROWS // 2), "y": [i * 0.02 for i in range(ROWS)]})

    assert log.dialect.time_column == "y"
    assert log.channels["x"].kind is Kind.SWITCH


def test_a_time_column_of_true_and_false_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="looked for rows with a time in 'time', found 60 rows but no time"):
        log_of(tmp_path, {"time": [True, False] * (ROWS // 2), "x": NUMBERS})

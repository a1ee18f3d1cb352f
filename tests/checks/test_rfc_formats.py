"""Published examples of the formats: RFC 3339 times, RFC 4180 cells, byte-order marks."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from parsers import read_log
from parsers.records import find_records, split_lines
from parsers.stamps import parse_stamps


def epoch(text: str) -> float:
    """Unix time of one stamp, by the reader of time columns."""
    stamps = parse_stamps(pl.Series([text]), name="time", decimal=".", unit="iso8601", long=False)
    assert stamps.base_epoch_s is not None
    return stamps.base_epoch_s + float(stamps.t_s[0])


@pytest.mark.parametrize(
    ("text", "unix_s"),
    [
        ("1985-04-12T23:20:50.52Z", 482196050.52),
        ("1996-12-19T16:39:57-08:00", 851042397.0),
        ("1996-12-20T00:39:57Z", 851042397.0),
        ("1937-01-01T12:00:27.87+00:20", -1041337172.13),
    ],
)
def test_rfc_3339_examples(text: str, unix_s: float) -> None:
    """RFC 3339 (2002), section 5.8; the second and third are one instant. Unix times worked out apart."""
    assert epoch(text) == pytest.approx(unix_s, abs=1e-6)


@pytest.mark.parametrize(
    ("leap", "after"), [("1990-12-31T23:59:60Z", 662688000), ("1990-12-31T15:59:60-08:00", 662688000)]
)
def test_leap_seconds_of_rfc_3339_fall_on_the_next_midnight(leap: str, after: int) -> None:
    """RFC 3339, section 5.8; Unix time has no leap second, 1991-01-01T00:00:00Z is 662688000."""
    assert epoch(leap) == after


@pytest.mark.parametrize(
    "wrong", ["1985-02-30T00:00:00Z", "1985-13-01T00:00:00Z", "1985-01-01T25:00:00Z", "soon"]
)
def test_what_is_no_date_is_no_stamp(wrong: str) -> None:
    """RFC 3339, section 5.7: the restrictions on day, month and hour."""
    stamps = parse_stamps(pl.Series([wrong]), name="time", decimal=".", unit="iso8601", long=False)

    assert not stamps.readable.any()


def cells_of(text: str) -> list[list[str]]:
    """The records of a text by the reader's sampler, and as a check of it their widths by its index."""
    lines = [(i, line.rstrip("\r")) for i, line in enumerate(text.split("\n"), start=1) if line]
    records = [cells for _, cells in split_lines(lines, ",")]
    assert find_records(text.encode(), ",").width.tolist() == [len(cells) for cells in records]
    return records


@pytest.mark.parametrize(
    ("text", "records"),
    [
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ("aaa,bbb,ccc\nzzz,yyy,xxx\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b\nbb","ccc"\nzzz,yyy,xxx', [["aaa", "b\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
    ],
)
def test_rfc_4180_examples(text: str, records: list[list[str]]) -> None:
    """RFC 4180, section 2, rules 1 to 7."""
    assert cells_of(text) == records


def test_rfc_4180_cells_in_a_log(tmp_path: Path) -> None:
    """RFC 4180, section 2: quotes doubled, line breaks and spaces kept, CRLF line ends."""
    path = tmp_path / "log.csv"
    path.write_bytes(
        b'"time_s","x_v","note"\r\n0,1.5,"b""bb"\r\n1,2.5,"b\r\nbb"\r\n2,3.5, b b \r\n3,4.5,"a,b"\r\n'
    )
    log = read_log(path)

    assert log.channels["note"].labels == ('b"bb', "b\r\nbb", " b b ", "a,b")
    assert (log.rows, log.repairs) == (4, ())


@pytest.mark.parametrize(
    ("mark", "encoding"),
    [(b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"), (b"", "utf-8")],
)
def test_byte_order_marks_are_no_part_of_the_header(mark: bytes, encoding: str, tmp_path: Path) -> None:
    """RFC 3629, section 6; Unicode Standard, section 23.8."""
    path = tmp_path / "log.csv"
    path.write_bytes(mark + "t,a\n0,1.5\n0.02,2.5\n0.04,3.5\n".encode(encoding))
    log = read_log(path)

    assert (log.dialect.time_column, log.dialect.encoding) == ("t", encoding)
    assert log.channels["a"].values.tolist() == [1.5, 2.5, 3.5]

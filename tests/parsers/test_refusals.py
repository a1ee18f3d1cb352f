"""Every way in which a file is no usable log: one line with file, what was wanted, found, and what to do."""

from __future__ import annotations

import gzip
import io
import os
import socket
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl
import pytest
import zstandard

from parsers import Limits, Told, find_logs, read_log
from telemetry.errors import LogError

SOUND = "time_s,x_v,beam\n" + "".join(f"{i / 50},{i}.5,{i // 3 % 2}\n" for i in range(60))
LONG = "time_s,channel,value\n" + "".join(f"{i / 50},{'xy'[i % 2]},{i}\n" for i in range(60))
UNORDERED = "time_s,x_v\n" + "".join(f"{i * 7919 % 1000 ** (i % 3)},{i}\n" for i in range(900))
DISAGREEING = "t,channel,value\n" + "".join(
    f"{i % 20},{name},{i}\n" for name, rows in (("a", 40), ("b", 20)) for i in range(rows)
)
TWO_UNITS = "t,channel,value,unit\n" + "".join(
    f"{i},{'xy'[i % 2]},{i},{'A' if i < 9 else 'mA'}\n" for i in range(20)
)


def parquet(frame: pl.DataFrame, **options: object) -> bytes:
    out = io.BytesIO()
    frame.write_parquet(out, **options)  # type: ignore[arg-type]
    return out.getvalue()


def wide_frame(columns: int, rows: int = 3) -> pl.DataFrame:
    return pl.DataFrame({"time_s": range(rows), **{f"c{i}": [0.5] * rows for i in range(columns)}})


def socket_at(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as end:
        end.bind(str(path))


@dataclass(frozen=True)
class Refused:
    """What lies at the path (or a function that makes it), how it is read, and words of the refusal."""

    content: str | bytes | Callable[[Path], object]
    found: str
    todo: str
    limits: Limits = field(default_factory=Limits)
    told: Told = field(default_factory=Told)

    def make(self, path: Path) -> None:
        if callable(self.content):
            self.content(path)
        else:
            path.write_bytes(self.content.encode() if isinstance(self.content, str) else self.content)


REFUSED = {
    "no file": Refused(lambda path: None, "cannot be opened", "check its name"),
    "a folder": Refused(Path.mkdir, "found a folder", "name a plain file"),
    "a pipe": Refused(os.mkfifo, "found a pipe", "name a plain file"),
    "a socket": Refused(socket_at, "cannot be opened", "check its name"),
    "a device": Refused(lambda path: path.symlink_to("/dev/zero"), "found a device", "name a plain file"),
    "a link to nothing": Refused(lambda path: path.symlink_to("none.csv"), "cannot be opened", "check"),
    "a link to itself": Refused(lambda path: path.symlink_to(path), "cannot be opened", "check"),
    "a link to a folder": Refused(lambda path: path.symlink_to("/"), "found a folder", "name a plain file"),
    "nothing in it": Refused(b"", "found an empty file", "copy it from the robot again"),
    "blanks": Refused("\n \n\r\n", "holds no text", "export the log"),
    "NULs": Refused(b"\0" * 5000, "holds no text", "export the log"),
    "a workbook": Refused(b"PK\x03\x04" + b"x" * 99, "a workbook", "export the log"),
    "a PDF": Refused(b"%PDF-1.7" + b"x" * 99, "it is a PDF", "export the log"),
    "a picture": Refused(b"\x89PNG\r\n" + b"x" * 99, "it is a picture", "export the log"),
    "binary": Refused(bytes(range(1, 32)) * 30, "it is binary", "export the log"),
    "a letter": Refused("hello\nworld\n", "found none", "export the log as CSV"),
    "prose with commas": Refused("Dear crew,\nall, as you know, is\nwell, Jay\n", "found none", "name it"),
    "a header alone": Refused(
        "time_s,x_v\n", "found a header of 2 names", "check that the logger was running"
    ),
    "words alone": Refused("a,b\nup,down\nleft,right\n", "found none among 2 columns", "[log] time"),
    "no column that rises": Refused(
        "a,b\n1,1\n2,3\n1,1\n2,2\n", "found none among 2 columns (a, b)", "[log] time"
    ),
    "a time that cannot be read": Refused(
        "time,x\n" + "".join(f"day {i} noon,{i}\n" for i in range(9)), "('day 0 noon')", "time_unit"
    ),
    "a time column alone": Refused(
        parquet(pl.DataFrame({"time_s": range(9)})), "found none", "export them too"
    ),
    "a header too narrow": Refused(
        "time_s,x\n0,1,5\n1,2,6\n2,3,7\n", "2 names over rows of 3", "one name a column"
    ),
    "a header too wide": Refused(
        "time_s,x,y,z\n0,1\n1,2\n2,3\n", "4 names over rows of 2", "one name a column"
    ),
    "other columns halfway": Refused(
        SOUND + "time_s,beam,x_v\n" + SOUND.split("\n", 1)[1],
        "other columns from line 62 on",
        "split the log there",
    ),
    "newest first": Refused(
        "time_s,x_v\n" + "".join(f"{9 - i / 50},{i}\n" for i in range(60)), "newest first", "oldest first"
    ),
    "newest first, long": Refused(
        "time_s,channel,value\n" + "".join(f"{9 - i / 50},{'xy'[i % 2]},{i}\n" for i in range(60)),
        "newest first",
        "oldest first",
    ),
    "times without order": Refused(UNORDERED, "steps back", "[log] time"),
    "channels that disagree": Refused(
        DISAGREEING,
        "steps back",
        "in which they were logged",
    ),
    "two units of one channel": Refused(
        TWO_UNITS,
        "found A and mA",
        "in one unit",
    ),
    "half a Parquet file": Refused(parquet(wide_frame(3, 999))[:2000], "found a damaged one", "copy it"),
    "no Parquet but its mark": Refused(b"PAR1" + b"x" * 300 + b"PAR1", "found a damaged one", "copy it"),
    "Parquet without rows": Refused(parquet(wide_frame(3, 0)), "without any", "export the log again"),
    "Parquet of lists": Refused(
        parquet(pl.DataFrame({"v": [[1.0], [2.0]]})), "found 1 columns without any", "export the log again"
    ),
    "Parquet with a huge footer": Refused(
        b"PAR1" + b"\0" * 40_000_000 + (35_000_000).to_bytes(4, "little") + b"PAR1",
        "bytes of footer",
        "raise",
    ),
    "no gzip but its mark": Refused(
        b"\x1f\x8b" + b"x" * 50, "nothing in it can be unpacked", "copy it again"
    ),
    "no zstandard but its mark": Refused(
        b"\x28\xb5\x2f\xfd" + b"x" * 50, "nothing in it can be", "copy it again"
    ),
    "a gzip bomb": Refused(
        gzip.compress(b"0" * 9_000_000),
        "at most 1,000,000 bytes",
        "unpack and split it",
        Limits(unpacked_bytes=10**6),
    ),
    "a zstandard bomb": Refused(
        zstandard.compress(b"0" * 9_000_000),
        "at most 1,000,000",
        "unpack and split it",
        Limits(unpacked_bytes=10**6),
    ),
    "a Parquet bomb": Refused(
        parquet(pl.DataFrame({"time_s": range(10**6), "x": ["y" * 50] * 10**6})),
        "at most 1,000,000 unpacked bytes",
        "raise the limit",
        Limits(unpacked_bytes=10**6),
    ),
    "too large a file": Refused(SOUND, "at most 500 bytes", "raise the limit", Limits(file_bytes=500)),
    "too many channels": Refused(
        ",".join(["time_s", *(f"c{i}" for i in range(2001))]) + "\n" + ",".join(["1"] * 2002) + "\n",
        "found 2,001",
        "raise the limit",
    ),
    "too many channels, long": Refused(
        "time_s,channel,value\n" + "".join(f"{i},c{i // 2},1\n" for i in range(4002)),
        "found 2,001",
        "raise the limit",
    ),
    "too many channels, Parquet": Refused(parquet(wide_frame(2004)), "2,003 channels", "raise the limit"),
    "too many samples": Refused(SOUND, "at most 100 samples", "split the log", Limits(samples=100)),
    "too many samples, Parquet": Refused(
        parquet(wide_frame(3, 99)), "at most 100 samples", "split the log", Limits(samples=100)
    ),
    "too long a line": Refused(
        SOUND + "9," + "x" * 2 * 2**20 + ",1\n" + SOUND, "at most 1,048,576 bytes, line 62", "raise the limit"
    ),
    "[log] time of no column": Refused(
        SOUND, "nearest name is 'time_s'", "correct it", told=Told(time="tme_s")
    ),
    "[log] time_unit of no unit": Refused(SOUND, "found 'hours'", "correct it", told=Told(time_unit="hours")),
    "[log] time_unit that is not so": Refused(
        SOUND, "no time in them", "time_unit", told=Told(time_unit="iso8601")
    ),
    "[log] channel without value": Refused(
        LONG, "found only one", "needs both", told=Told(channel="channel")
    ),
    "[log] value of no column": Refused(
        LONG, "nearest name is 'value'", "correct it", told=Told(channel="channel", value="valu")
    ),
    "[log] one column for two": Refused(
        LONG, "three columns", "name different ones", told=Told(channel="value", value="value")
    ),
    "[log] units of no unit": Refused(
        SOUND, "found 'furlongs'", "write it as", told=Told(units={"x_v": "furlongs"})
    ),
    "a wide log told to be long": Refused(
        SOUND, "found no column of channel", "[log] channel", told=Told(shape="long")
    ),
    "another delimiter told": Refused(SOUND, "found none", "export the log", told=Told(delimiter="|")),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_file_that_is_no_usable_log_is_refused_in_one_line(name: str, tmp_path: Path) -> None:
    refused, path = REFUSED[name], tmp_path / "match.csv"
    refused.make(path)

    with pytest.raises(LogError) as error:
        read_log(path, limits=refused.limits, told=refused.told)

    line = str(error.value)
    assert line.startswith("match.csv: looked for ")
    assert refused.found in line
    assert refused.todo in line.split(refused.found, 1)[1] or refused.todo in line.rsplit(";", 1)[1]
    assert line.isprintable()
    assert len(line) < 400


def test_a_name_with_a_nul_is_refused() -> None:
    with pytest.raises(LogError, match="cannot be opened"):
        read_log("a\0b.csv")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "match.csv"
    path.write_text(SOUND)
    path.chmod(0)

    with pytest.raises(LogError, match=r"cannot be opened \(Permission denied\); check"):
        read_log(path)


def test_a_folder_without_a_log_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LogError, match=r"looked for .* found none; name another folder"):
        find_logs([tmp_path])


@pytest.mark.parametrize("packed", [False, True])
def test_a_link_to_a_log_is_read(packed: bool, tmp_path: Path) -> None:
    text = SOUND.encode()
    (tmp_path / "match.csv").write_bytes(gzip.compress(text) if packed else text)
    (tmp_path / "link.csv").symlink_to("match.csv")

    assert read_log(tmp_path / "link.csv").rows == 60

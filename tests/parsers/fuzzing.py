"""Thousands of spoiled files through the door: a log, or the one documented exception, and no long wait.

Run as `python -m tests.parsers.fuzzing [FILES] [SEED]`; some hundreds run with the other tests.
"""

from __future__ import annotations

import faulthandler
import gzip
import io
import random
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import polars as pl
import zstandard

from parsers import Limits, read_log
from telemetry.errors import LogError
from telemetry.log import Log
from tests.parsers.spoiling import SPOILS, whole_log
from tests.parsers.writing import Style

__all__ = ["LONGEST_S", "fuzz", "fuzz_everywhere"]

LONGEST_S = 2.0
FILES_AT_ONCE = 250
LIMITS = Limits(unpacked_bytes=50_000_000)
STYLES = (
    Style(),
    Style(delimiter=";", decimal=",", line_end="\r\n"),
    Style(delimiter="\t", encoding="utf-16"),
    Style(quoted=True, trailing=True),
    Style(delimiter="|", preamble=("# written by the robot",)),
)
CELLS = (
    *(b"", b"nan", b"-", b"1e999", b"-0", b"9" * 40, b'"', b'""', b"\xff\xfe", b"\x00" * 9, b"=1+1", b"true"),
    *(
        b"2026-02-30T25:61:61Z",
        b"99:99:99",
        b"1,5",
        b"1.234.567,8",
        b"\xe2\x80\xae",
        b"__proto__",
        b"../../x",
    ),
    *(b"\r", b"\n", b"9223372036854775808", b"0x1p3", b"1_0"),
)
CLOCKS = (b"0", b"-1", b"1e18", b"-9e18", b"9223372036854775807", b"1700000000000000000", b"NaN", b"inf", b"")


def texts(rng: random.Random) -> bytes:
    """A sound log in text, wide or long, in one of several dialects."""
    return _text(rng.randrange(8), rng.choice(STYLES), rng.random() < 0.4, rng.choice([3, 20, 40]))


@cache
def _text(seed: int, style: Style, long: bool, rows: int) -> bytes:
    return whole_log(seed, style, long=long, rows=rows).encoded()


def spoiled_texts(rng: random.Random) -> bytes:
    """A log spoiled in two named ways."""
    log = whole_log(rng.randrange(10**6), rng.choice(STYLES), long=rng.random() < 0.4)
    for spoil in rng.sample(list(SPOILS.values()), 2):
        try:
            spoil(log)
        except (IndexError, ValueError):
            break
    return log.encoded()


def parquets(rng: random.Random) -> bytes:
    """A sound Parquet file, packed in one of several ways."""
    return _parquet(rng.choice([1, 30, 300]), rng.choice(["snappy", "gzip", "zstd", "uncompressed"]))


@cache
def _parquet(rows: int, compression: str) -> bytes:
    frame = pl.DataFrame(
        {
            "time_s": np.arange(rows) / 50,
            "current_a": np.sin(np.arange(rows)),
            "count": np.arange(rows) % 7,
            "mode": ["auto" if i % 9 else None for i in range(rows)],
            "beam": [i % 5 == 0 for i in range(rows)],
        }
    )
    out = io.BytesIO()
    frame.write_parquet(out, compression=compression, row_group_size=max(rows // 2, 1))  # type: ignore[arg-type]
    return out.getvalue()


def with_bytes_changed(data: bytes, rng: random.Random) -> bytes:
    """Some bytes set at random."""
    spoiled = bytearray(data)
    for _ in range(rng.choice([1, 2, 8, 64])):
        spoiled[rng.randrange(len(spoiled))] = rng.randrange(256)
    return bytes(spoiled)


def with_a_piece_moved(data: bytes, rng: random.Random) -> bytes:
    """A piece cut out, doubled, or set in elsewhere."""
    one, two = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    at = rng.randrange(len(data) + 1)
    piece = data[one:two]
    rest = data[:one] + data[two:]
    return rng.choice([rest, data[:at] + piece + data[at:], rest[:at] + piece + rest[at:], data[:one]])


def with_lines_moved(data: bytes, rng: random.Random) -> bytes:
    """Lines swapped, doubled, dropped or joined."""
    lines = data.split(b"\n")
    for _ in range(rng.choice([1, 3, 20])):
        one, two = rng.randrange(len(lines)), rng.randrange(len(lines))
        lines[one], lines[two] = rng.choice(
            [
                (lines[two], lines[one]),
                (lines[one], lines[one]),
                (b"", lines[two]),
                (lines[one] + lines[two], b""),
            ]
        )
    return b"\n".join(lines)


def _with_cells(data: bytes, rng: random.Random, words: tuple[bytes, ...], column: int | None) -> bytes:
    mark = max((b",", b";", b"\t", b"|"), key=data.count)
    lines = data.split(b"\n")
    for _ in range(rng.choice([1, 3, 30])):
        place = rng.randrange(len(lines))
        cells = lines[place].split(mark)
        cells[rng.randrange(len(cells)) if column is None else column] = rng.choice(words)
        lines[place] = mark.join(cells)
    return b"\n".join(lines)


def with_cells_changed(data: bytes, rng: random.Random) -> bytes:
    """Cells set to what is hard to read."""
    return _with_cells(data, rng, CELLS, None)


def with_clocks_changed(data: bytes, rng: random.Random) -> bytes:
    """Cells of the first column set to what is no time, or a far one."""
    return _with_cells(data, rng, CLOCKS, 0)


def packed(data: bytes, rng: random.Random) -> bytes:
    """Packed, and the packing spoiled."""
    whole = rng.choice([lambda d: gzip.compress(d, 1), zstandard.compress])(data)
    return rng.choice([whole[: rng.randrange(1, len(whole) + 1)], with_bytes_changed(whole, rng), whole])


Mutation = Callable[[bytes, random.Random], bytes]
SOURCES = (texts, texts, spoiled_texts, parquets)
OF_TEXT: tuple[Mutation, ...] = (
    with_bytes_changed, with_a_piece_moved, with_lines_moved, with_cells_changed, with_clocks_changed, packed,
)  # fmt: skip
OF_PARQUET: tuple[Mutation, ...] = (with_bytes_changed, with_a_piece_moved, packed)


def spoiled_file(rng: random.Random) -> bytes:
    """One file, spoiled once or twice."""
    source = rng.choice(SOURCES)
    data = source(rng)
    for _ in range(rng.choice([1, 1, 2])):
        data = rng.choice(OF_PARQUET if source is parquets else OF_TEXT)(data, rng) or b"\0"
    return data


def read_or_refuse(path: Path) -> str:
    """`read` or `refused`; raises what the door lets through beside LogError, or for a log out of order."""
    try:
        log = read_log(path, limits=LIMITS)
    except LogError as error:
        refusal = str(error)
    else:
        _check(log)
        return "read"
    assert refusal.isprintable()
    return "refused"


def _check(log: Log) -> None:
    assert (np.diff(log.t_s) >= 0).all()
    assert log.rows == len(log.t_s)
    for channel in log.channels.values():
        assert np.isfinite(channel.values).all()
        assert (np.diff(channel.t_s) >= 0).all()
    assert all(repair.text.isprintable() for repair in log.repairs)


def fuzz(files: int, seed: int) -> dict[str, int]:
    """Reads so many spoiled files; returns how many were read and refused.

    Raises AssertionError that names the seed of a file that broke the reader or held it up.
    """
    counts = {"read": 0, "refused": 0}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        for number in range(seed, seed + files):
            path.write_bytes(spoiled_file(random.Random(number)))  # noqa: S311 - made to be repeated
            start = time.perf_counter()
            try:
                counts[read_or_refuse(path)] += 1
            except BaseException as error:
                raise AssertionError(f"file {number}: {type(error).__name__}: {error}") from error
            taken = time.perf_counter() - start
            assert taken < LONGEST_S, f"file {number} took {taken:.1f} s"
    return counts


def fuzz_everywhere(files: int, seed: int) -> dict[str, int]:
    """The same on every processor; a file that kills or stops its process is an error too."""
    starts = range(seed, seed + files, FILES_AT_ONCE)
    sizes = [min(FILES_AT_ONCE, seed + files - start) for start in starts]
    counts = {"read": 0, "refused": 0}
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        for result in pool.map(_fuzz_under_watch, sizes, starts):
            counts = {what: counts[what] + result[what] for what in counts}
    return counts


def _fuzz_under_watch(files: int, seed: int) -> dict[str, int]:
    faulthandler.dump_traceback_later(files * LONGEST_S, exit=True)
    try:
        return fuzz(files, seed)
    finally:
        faulthandler.cancel_dump_traceback_later()


if __name__ == "__main__":
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    begun = time.perf_counter()
    outcome = fuzz_everywhere(total, first)
    sys.stdout.write(f"{total:,} files in {time.perf_counter() - begun:.0f} s: {outcome}\n")

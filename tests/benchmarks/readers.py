"""The readers against polars and pyarrow: `python -m tests.benchmarks.readers [--large]`.

`--large` adds a CSV of one gigabyte, whose reader runs in a process of its own so that its memory is its own.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from functools import partial
from pathlib import Path
from statistics import median

import numpy as np
import polars as pl
import pyarrow.parquet as pq

from parsers import Limits, read_log
from tests.benchmarks.ratio import Bar, measured, table

__all__ = ["main"]

ROWS, CHANNELS = 40_000, 40
GIGABYTE = 10**9
MOST_TIMES, MOST_BYTES = 4.0, 4 * 10**9
LARGE_LIMITS = Limits(samples=500_000_000)


def wide_frame(rows: int) -> pl.DataFrame:
    """Thirty numbers and ten switches at 50 Hz."""
    rng = np.random.default_rng(1)
    columns: dict[str, np.ndarray] = {"time_s": np.round(np.arange(rows) * 0.02, 3)}
    for channel in range(CHANNELS):
        switch = channel % 4 == 3
        cells = rng.integers(0, 2, rows) if switch else np.round(rng.normal(20, 5, rows), 3)
        columns[f"beam_{channel}" if switch else f"current_{channel}_a"] = cells
    return pl.DataFrame(columns)


def damage(lines: list[str]) -> None:
    """A hundred rows spoiled in four ways, all through the file."""
    rng = np.random.default_rng(2)
    header = lines[0]
    for number, place in enumerate(rng.choice(np.arange(50, len(lines) - 50), 100, replace=False).tolist()):
        line = lines[place]
        lines[place] = (line[: len(line) // 2], line + ",9", header, line.replace(",1", ",x\x071", 1))[
            number % 4
        ]


def small_bars(folder: Path) -> list[Bar]:
    """A clean and a damaged wide log, and Parquet, at the size of a long match."""
    clean, spoiled, parquet = folder / "clean.csv", folder / "damaged.csv", folder / "clean.parquet"
    frame = wide_frame(ROWS)
    frame.write_csv(clean)
    frame.write_parquet(parquet)
    lines = clean.read_text().splitlines()
    damage(lines)
    spoiled.write_text("\n".join(lines) + "\n")
    floor = partial(pl.read_csv, clean)
    return [
        Bar("clean CSV, 40,000 × 40, by polars.read_csv", partial(read_log, clean), floor, 3.0),
        Bar("damaged CSV, by polars.read_csv of the clean", partial(read_log, spoiled), floor, 6.0),
        Bar("Parquet, by pyarrow", partial(read_log, parquet), partial(pq.read_table, parquet), 3.0),
    ]


def write_large(path: Path) -> int:
    """A wide CSV of a gigabyte; returns its rows."""
    block = wide_frame(100_000)
    rows = 0
    with path.open("wb") as file:
        while file.tell() < GIGABYTE:
            shifted = block.with_columns((pl.col("time_s") + rows * 0.02).round(3))
            shifted.write_csv(file, include_header=rows == 0)
            rows += block.height
    return rows


def in_own_process(what: str, path: Path) -> dict[str, float]:
    """Seconds and peak bytes of one reading, by a fresh interpreter."""
    done = subprocess.run(  # noqa: S603 - our own module
        [sys.executable, "-m", "tests.benchmarks.readers", "--child", what, str(path)],
        check=True,
        capture_output=True,
        text=True,
    )
    told: dict[str, float] = json.loads(done.stdout)
    return told


def child(what: str, path: Path) -> None:
    """Reads once and prints what it took."""
    start = time.perf_counter()
    if what == "ours":
        read_log(path, limits=LARGE_LIMITS)
    else:
        pl.read_csv(path)
    taken = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    print(json.dumps({"s": taken, "bytes": peak}))


def large(folder: Path) -> str:
    """Time and memory of a gigabyte."""
    path = folder / "large.csv"
    rows = write_large(path)
    rounds = [(in_own_process("polars", path), in_own_process("ours", path)) for _ in range(3)]
    floor_s, ours_s = (median(run[i]["s"] for run in rounds) for i in (0, 1))
    peak = max(ours["bytes"] for _, ours in rounds)
    size = path.stat().st_size / 1e9
    return (
        f"{size:.2f} GB CSV, {rows:,} × {CHANNELS}: {ours_s:.1f} s, polars {floor_s:.1f} s, "
        f"ratio {ours_s / floor_s:.2f} (at most {MOST_TIMES:g}); memory {peak / 1e9:.2f} GB "
        f"(at most {MOST_BYTES / 1e9:g}; polars {max(run[0]['bytes'] for run in rounds) / 1e9:.2f})"
    )


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--large", action="store_true")
    parser.add_argument("--child", nargs=2)
    options = parser.parse_args()
    if options.child:
        child(options.child[0], Path(options.child[1]))
        return
    with tempfile.TemporaryDirectory() as place:
        print(table(measured(small_bars(Path(place)))))
        if options.large:
            print(large(Path(place)))


if __name__ == "__main__":
    main()

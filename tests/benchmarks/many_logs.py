"""Two hundred matches: two processes against one, and one process against reading alone, as ratios.

Run with `python -m tests.benchmarks.many_logs [MATCHES]`. Six matches are simulated and stand for many: each
is linked under as many names as it takes. Memory is the highest of one process, with few logs and with all.
The processors' time stands beside that of the clock: on a busy machine it alone tells work from waiting.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

SIMULATED = 6
FEW = 12

_READ = """
import sys
from pathlib import Path
from parsers import read_log
for path in sorted(Path(sys.argv[1]).glob("*.csv")):
    read_log(path)
"""


class Run(NamedTuple):
    """Seconds by the clock and of the processors, and the highest memory of any process so far."""

    s: float
    cpu_s: float
    most_mb: float

    @property
    def told(self) -> str:
        """Both times in words."""
        return f"{self.s:7.1f} s ({self.cpu_s:.1f} s of the processors)"


def main() -> None:
    """Print the seconds of each run, and their ratios."""
    matches = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(f"{matches} matches, {os.cpu_count()} cores", flush=True)
    with tempfile.TemporaryDirectory() as place:
        few, many = Path(place) / "few", Path(place) / "many"
        _logs(Path(place) / "drawn", few, FEW)
        _logs(Path(place) / "drawn", many, matches)
        first = _report(few, Path(place) / "out-few", 1)
        reading = _timed([sys.executable, "-c", _READ, str(many)])
        print(f"reading alone   {reading.told}", flush=True)
        one = _report(many, Path(place) / "out-one", 1)
        beside = (
            f"{one.s / reading.s:5.2f} x reading alone, {one.cpu_s / reading.cpu_s:.2f} x its processor time"
        )
        print(f"one process     {one.told}   {beside}", flush=True)
        print(f"memory          {first.most_mb:7.0f} MB with {FEW} logs, {one.most_mb:.0f} MB with {matches}")
        further_s = (one.cpu_s - first.cpu_s) / max(matches - FEW, 1)
        print(f"each further match {further_s:.3f} s of processor time", flush=True)
        two = _report(many, Path(place) / "out-two", 2)
    print(f"two processes   {two.told}   {two.s / one.s:5.2f} x one process")


def _logs(drawn: Path, folder: Path, matches: int) -> None:
    from telemetry.simulator import simulate_match, write_match

    folder.mkdir()
    for number in range(SIMULATED):
        name = f"match-{number + 1:02d}"
        if not (drawn / f"{name}.csv").exists():
            write_match(simulate_match(seed=900 + number, name=name), drawn)
    (folder / "robot.toml").write_bytes((drawn / "robot.toml").read_bytes())
    for number in range(matches):
        os.link(drawn / f"match-{number % SIMULATED + 1:02d}.csv", folder / f"match-{number + 1:03d}.csv")


def _report(folder: Path, out: Path, jobs: int) -> Run:
    words = ["report", str(folder), "--out", str(out), "--jobs", str(jobs)]
    return _timed([sys.executable, "-m", "telemetry", *words])


def _timed(words: list[str]) -> Run:
    began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL)  # noqa: S603 - our own interpreter
    took_s, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Run(took_s, cpu_s, after.ru_maxrss / 1024)


if __name__ == "__main__":
    main()

"""Two hundred matches: two processes against one, and one process against reading alone, as ratios.

Run with `python -m tests.benchmarks.many_logs [MATCHES]`. Six matches are simulated and stand for many: each
is linked under as many names as it takes. Memory is the highest of one process, with few logs and with all.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SIMULATED = 6
FEW = 12

_READ = """
import sys
from pathlib import Path
from parsers import read_log
for path in sorted(Path(sys.argv[1]).glob("*.csv")):
    read_log(path)
"""


def main() -> None:
    """Print the seconds of each run, and their ratios."""
    matches = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(f"{matches} matches, {os.cpu_count()} cores", flush=True)
    with tempfile.TemporaryDirectory() as place:
        few, many = Path(place) / "few", Path(place) / "many"
        _logs(Path(place) / "drawn", few, FEW)
        _logs(Path(place) / "drawn", many, matches)
        few_s, few_mb = _report(few, Path(place) / "out-few", 1)
        reading_s, _ = _timed([sys.executable, "-c", _READ, str(many)])
        print(f"reading alone   {reading_s:7.1f} s", flush=True)
        one_s, one_mb = _report(many, Path(place) / "out-one", 1)
        print(f"one process     {one_s:7.1f} s   {one_s / reading_s:5.2f} x reading alone", flush=True)
        print(f"memory          {few_mb:7.0f} MB with {FEW} logs, {one_mb:.0f} MB with {matches}")
        print(f"each further match {(one_s - few_s) / max(matches - FEW, 1):.3f} s", flush=True)
        two_s, _ = _report(many, Path(place) / "out-two", 2)
    print(f"two processes   {two_s:7.1f} s   {two_s / one_s:5.2f} x one process")


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


def _report(folder: Path, out: Path, jobs: int) -> tuple[float, float]:
    words = ["report", str(folder), "--out", str(out), "--jobs", str(jobs)]
    return _timed([sys.executable, "-m", "telemetry", *words])


def _timed(words: list[str]) -> tuple[float, float]:
    """Seconds, and the highest memory in MB of any process waited for so far."""
    began = time.perf_counter()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL)  # noqa: S603 - our own interpreter
    took_s = time.perf_counter() - began
    return took_s, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


if __name__ == "__main__":
    main()

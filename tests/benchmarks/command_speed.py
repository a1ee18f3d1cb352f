"""How long the command takes, as ratios to a floor: `python -m tests.benchmarks.command_speed [--long]`.

The floor is a fresh Python that imports numpy and polars and reads the log's file; that of `--help` one that
imports click. Every process is started anew and all take turns, so that only ratios are compared. Compiled
modules are kept in a folder of the run, as a user has them. `--long` adds a log of twelve minutes at 250 Hz.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.benchmarks.ratio import Bar, measured, table

__all__ = ["main"]

FURTHER = 2
"""With fewer than four matches there is no figure by matplotlib, which counts apart."""
LONG_TELEOP_S, LONG_RATE_HZ = 12 * 60 - 21.0, 250.0


def main() -> None:
    """Print a table of each command beside its floor."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--long", action="store_true", help="also a log of twelve minutes at 250 Hz")
    parser.add_argument("--rounds", type=int, default=7)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(Path(place) / "compiled")
        results = measured(usual_bars(Path(place)), asked.rounds)
        if asked.long:
            results += measured(long_bars(Path(place)), min(asked.rounds, 3))
    print(table(results))
    whole_s, (_, several_s, floor_s) = results[2][1], results[3]
    further = (several_s - whole_s) / FURTHER
    print(
        f"\nEach further match of a call: {further:.3f} s, {further / floor_s:.2f} x the floor (at most 0.5)"
    )


def usual_bars(place: Path) -> list[Bar]:
    """Help, channels, report of one match and of several, all of 50 Hz."""
    several, out = place / "several", str(place / "out")
    logs = [_log(several, number) for number in range(1, FURTHER + 2)]
    floor = _python(_reading(logs[0]))
    one = _command("report", str(logs[0]), "--robot", str(several / "robot.toml"), "--out", out)
    some = _command("report", str(several), "--out", out)
    return [
        Bar("`--help` beside `import click`", _command("--help"), _python("import click"), 1.5),
        Bar("`channels`", _command("channels", str(logs[0])), floor, 1.5),
        Bar("`report` of one match", one, floor, 2.5),
        Bar(f"`report` of {len(logs)} matches", some, floor, 2.5 + 0.5 * FURTHER),
    ]


def long_bars(place: Path) -> list[Bar]:
    """Report of one long log."""
    folder = place / "long"
    log = _log(folder, 1, rate_hz=LONG_RATE_HZ, teleop_s=LONG_TELEOP_S)
    words = ("report", str(log), "--robot", str(folder / "robot.toml"), "--out", str(place / "out"))
    return [Bar("`report` of 12 min at 250 Hz", _command(*words), _python(_reading(log)), 4.0)]


def _log(folder: Path, number: int, *, rate_hz: float = 50.0, teleop_s: float = 135.0) -> Path:
    from telemetry.simulator import LoggerSpec, MatchPlan, simulate_match, write_match

    plan, logger = MatchPlan(teleop_s=teleop_s), LoggerSpec(rate_hz=rate_hz)
    return write_match(
        simulate_match(seed=700 + number, name=f"match-{number:02d}", plan=plan, logger=logger), folder
    )


def _reading(log: Path) -> str:
    return f"import numpy, polars; polars.read_csv({str(log)!r}, ignore_errors=True)"


def _python(code: str) -> Callable[[], object]:
    return lambda: subprocess.run([sys.executable, "-c", code], check=True)  # noqa: S603 - our own interpreter


def _command(*words: str) -> Callable[[], object]:
    call = [sys.executable, "-c", "from telemetry.cli import main; main()", *words]
    return lambda: subprocess.run(call, check=True, stdout=subprocess.DEVNULL)  # noqa: S603 - our own interpreter


if __name__ == "__main__":
    main()

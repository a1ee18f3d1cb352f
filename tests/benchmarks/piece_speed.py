"""How long the story of the pieces takes, and what memory: `python -m tests.benchmarks.piece_speed`.

Robots with three, four and five beams play a match of 160 s, and the one with four beams another of twelve
minutes, each written down 50 times a second. The time is processor time of the story alone, the best of a few
runs; the bar is 50 ms for 160 s and four beams, and as much for each second of a longer log.
"""

from __future__ import annotations

import tempfile
import time
import tracemalloc
from pathlib import Path

import parsers
from telemetry.analysis import Analysis
from telemetry.estimators.pieces import estimate_pieces
from telemetry.judge import judge
from telemetry.robot_file import read_robot
from telemetry.simulator import LoggerSpec, MatchPlan, simulate_match, write_match
from tests.benchmarks.piece_population import piece_cases

__all__ = ["main"]

_ROUNDS, _MATCH_S, _LONG_S, _REST_S = 7, 160.0, 720.0, 21.0


def _known(robot: str, span_s: float, place: Path) -> Analysis:
    """All that is known of a sound match of one of the robots of the population."""
    spec = next(case.spec for case in piece_cases() if case.name == f"{robot}-healthy-0")
    plan = MatchPlan(teleop_s=span_s - _REST_S)
    match = simulate_match(spec, seed=4100, plan=plan, logger=LoggerSpec(rate_hz=50))
    log = parsers.read_log(write_match(match, place))
    (known, *_) = judge(log, read_robot(place / "robot.toml"), name="match-01")
    return known


def _measured(known: Analysis) -> tuple[float, float]:
    """Processor time of one story in milliseconds, and the most memory it held in MB."""
    taken_s = []
    for _ in range(_ROUNDS):
        began_s = time.thread_time()
        estimate_pieces(known)
        taken_s.append(time.thread_time() - began_s)
    tracemalloc.start()
    estimate_pieces(known)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return 1e3 * min(taken_s), most / 1e6


def main() -> int:
    """Print the table."""
    print("| robot | log | ms | ms a second of it | MB |\n| --- | --- | --- | --- | --- |")
    for robot, span_s in (
        ("three", _MATCH_S),
        ("close", _MATCH_S),
        ("four", _MATCH_S),
        ("five", _MATCH_S),
        ("four", _LONG_S),
    ):
        with tempfile.TemporaryDirectory() as scratch:
            taken_ms, most_mb = _measured(_known(robot, span_s, Path(scratch)))
        print(f"| {robot} | {span_s:g} s | {taken_ms:.0f} | {taken_ms / span_s:.2f} | {most_mb:.0f} |")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

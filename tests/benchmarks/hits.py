"""Hits told from the drive alone, on robots drawn at random: `python -m tests.benchmarks.hits`.

Mass, gearing, wheels, motors, current limit and grip differ from robot to robot; each match is logged at
three rates, with the motors' speed or without.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

import parsers
from telemetry.estimators.drive_contacts import find_drive_contacts
from telemetry.estimators.motors import trace_motors
from telemetry.estimators.phases import find_matches
from telemetry.robot_file import read_robot
from telemetry.simulator import LoggerSpec, MotorSpec, RobotSpec, relog, simulate_match, write_match
from tests.benchmarks.scoring import CONTACT_WITHIN_S

__all__ = ["main"]

_RATES_HZ = (25.0, 50.0, 60.0, 100.0, 250.0)
_WITHOUT_SPEED = 0.35


@dataclass(frozen=True)
class _Told:
    """Hits of one log: how many were found, missed and made up."""

    rate_hz: float
    by: str
    found: int
    missed: int
    false: int


def _robot(rng: np.random.Generator) -> RobotSpec:
    base = RobotSpec()
    sheet = {
        "reduction": float(rng.uniform(5.0, 9.0)),
        "stall_current_a": float(rng.uniform(130, 260)),
        "free_speed_rpm": float(rng.uniform(4800, 6500)),
        "current_limit_a": float(rng.uniform(50, 120)) if rng.random() < 0.85 else None,
    }

    def side(motor: MotorSpec) -> MotorSpec:
        return replace(motor, **sheet)  # type: ignore[arg-type]

    return replace(
        base,
        mass_kg=float(rng.uniform(25, 62)),
        grip_coefficient=float(rng.uniform(0.6, 1.15)),
        wheel_radius_m=float(rng.uniform(0.038, 0.06)),
        drive_left=side(base.drive_left),
        drive_right=side(base.drive_right),
    )


def _told(seed: int, folder: Path) -> Iterator[_Told]:
    rng = np.random.default_rng(seed)
    spec = _robot(rng)
    loggers = {}
    for rate_hz in rng.permutation(_RATES_HZ)[:3].tolist():
        bare = bool(rng.random() < _WITHOUT_SPEED)
        omit = ("accel", *(("drive_left.speed", "drive_right.speed") if bare else ()))
        loggers[f"{rate_hz:g}"] = (bare, LoggerSpec(rate_hz=rate_hz, omit=omit))
    if not folder.exists():
        match = simulate_match(spec, seed=seed)
        for name, (_, logger) in loggers.items():
            write_match(relog(match, logger), folder / name)
    for name, (bare, logger) in loggers.items():
        place = folder / name
        truth = json.loads((place / "match-01.truth.json").read_text(encoding="utf-8"))
        hits_s = [contact["t_s"] for contact in truth["contacts"]]
        robot = read_robot(place / "robot.toml")
        log = parsers.read_log(place / "match-01.csv", overrides=robot.log)
        part = log.between(*find_matches(log, robot, stem="hits")[0].window_s)
        told_s = [hit.t_s for hit in find_drive_contacts(part, robot, trace_motors(part, robot))]
        found = sum(_near(at_s, told_s) for at_s in hits_s)
        false = sum(not _near(at_s, hits_s) for at_s in told_s)
        yield _Told(logger.rate_hz, "back-EMF" if bare else "speed", found, len(hits_s) - found, false)


def _near(at_s: float, others_s: Sequence[float]) -> bool:
    return any(abs(at_s - other_s) < CONTACT_WITHIN_S for other_s in others_s)


def _report(logs: Sequence[_Told]) -> str:
    lines = [
        "| logs | found | missed | false | recall | precision |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    groups = {f"{rate_hz:g} Hz": [one for one in logs if one.rate_hz == rate_hz] for rate_hz in _RATES_HZ}
    groups |= {by: [one for one in logs if one.by == by] for by in ("speed", "back-EMF")}
    for name, group in {**groups, "all": list(logs)}.items():
        count = {key: sum(getattr(one, key) for one in group) for key in ("found", "missed", "false")}
        recall = count["found"] / max(count["found"] + count["missed"], 1)
        precision = count["found"] / max(count["found"] + count["false"], 1)
        lines.append(
            f"| {name} | {count['found']} | {count['missed']} | {count['false']} | {recall:.3f} | "
            f"{precision:.3f} |"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--robots", type=int, default=20)
    parser.add_argument("--seed", type=int, default=7000, help="of the first robot; another, other robots")
    parser.add_argument("--keep", type=Path, help="folder in which the simulated logs stay for the next run")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as scratch:
        logs = [
            one
            for seed in range(asked.seed, asked.seed + asked.robots)
            for one in _told(seed, (asked.keep or Path(scratch)) / str(seed))
        ]
    print(_report(logs))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

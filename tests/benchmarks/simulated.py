"""Simulated logs on disk: written once into a folder, read again from there."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import parsers
from telemetry.analysis import Analysis
from telemetry.judge import judge
from telemetry.robot_file import read_robot
from telemetry.simulator import relog, simulate_match, write_match
from tests.benchmarks.population import Case

__all__ = ["Judged", "judged"]

_ENDINGS = ("*.csv", "*.parquet")


@dataclass(frozen=True)
class Judged:
    """One log with its truth and what the analysis says of it."""

    case: Case
    logging: str
    truth: dict[str, Any]
    analysis: Analysis


def judged(case: Case, folder: Path) -> Iterator[Judged]:
    """The case's logs, simulated unless the folder holds them already."""
    _simulate(case, folder)
    for logging in case.loggings:
        place = _place(folder, case, logging.name)
        robot = read_robot(place / "robot.toml")
        path = next(found for ending in _ENDINGS for found in place.glob(ending))
        truth = json.loads((place / "match-01.truth.json").read_text(encoding="utf-8"))
        log = parsers.read_log(path, overrides=robot.log)
        (analysis, *_) = judge(log, robot, name="match-01")
        yield Judged(case, logging.name, truth, analysis)


def _simulate(case: Case, folder: Path) -> None:
    wanting = [one for one in case.loggings if not _place(folder, case, one.name).exists()]
    if not wanting:
        return
    match = simulate_match(case.spec, seed=case.seed, faults=case.faults, logger=wanting[0].logger)
    for logging in wanting:
        write_match(relog(match, logging.logger), _place(folder, case, logging.name), form=logging.form)


def _place(folder: Path, case: Case, logging: str) -> Path:
    return folder / case.name / logging.replace(" ", "_").replace(",", "")

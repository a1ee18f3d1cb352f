"""One simulated match: the robot plays it, the logger writes it down, the truth stands beside it."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from telemetry.simulator.contacts import Contact
from telemetry.simulator.faults import Fault
from telemetry.simulator.logger import LoggerSpec, LogTable, record
from telemetry.simulator.plan import MatchPlan
from telemetry.simulator.play import Play, play
from telemetry.simulator.robot_file import robot_toml
from telemetry.simulator.specification import RobotSpec
from telemetry.simulator.truth import tell_truth
from telemetry.simulator.writing import Form, put, write_log

__all__ = ["SimulatedMatch", "relog", "simulate_match", "write_match"]

_ENDINGS = {"wide": ".csv", "long": ".csv", "parquet": ".parquet"}


@dataclass(frozen=True, kw_only=True)
class SimulatedMatch(Play):
    """A match that never was, written down by a logger, with the truth beside it."""

    name: str
    logger: LoggerSpec
    table: LogTable
    truth: dict[str, Any]

    @property
    def robot_toml(self) -> str:
        """Text of the robot file that belongs to the log."""
        return robot_toml(self.spec, self.plan, self.logger)


def simulate_match(
    spec: RobotSpec | None = None,
    *,
    seed: int,
    name: str = "match-01",
    faults: Iterable[Fault] = (),
    plan: MatchPlan | None = None,
    logger: LoggerSpec | None = None,
    contacts: tuple[Contact, ...] | None = None,
) -> SimulatedMatch:
    """Play one match and write it down. The same arguments give the same match.

    ``contacts`` sets the hits by hand; otherwise they are drawn. Raises ValueError where a fault names a
    beam, limit or motor that the robot lacks.
    """
    played = play(spec or RobotSpec(), plan or MatchPlan(), tuple(faults), contacts, seed)
    logger = logger or LoggerSpec()
    table = record(played, logger)
    truth = tell_truth(played, logger, table)
    return SimulatedMatch(**vars(played), name=name, logger=logger, table=table, truth=truth)


def relog(match: SimulatedMatch, logger: LoggerSpec) -> SimulatedMatch:
    """The same match, as another logger would have written it down."""
    table = record(match, logger)
    return replace(match, logger=logger, table=table, truth=tell_truth(match, logger, table))


def write_match(
    match: SimulatedMatch, directory: Path, form: Form = "wide", *, compressed: bool = False
) -> Path:
    """Write the log, its truth and the robot file; return the path of the log."""
    directory.mkdir(parents=True, exist_ok=True)
    ending = _ENDINGS[form] + (".gz" if compressed and form != "parquet" else "")
    path = directory / f"{match.name}{ending}"
    write_log(match.table, match.logger, path, form)
    truth = json.dumps(match.truth, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    put(directory / f"{match.name}.truth.json", truth.encode())
    put(directory / "robot.toml", match.robot_toml.encode())
    return path

"""One simulated match: the robot plays it, the logger writes it down, the truth stands beside it."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from telemetry.simulator.contacts import Accelerations, Contact, draw_bumps, draw_contacts, feel
from telemetry.simulator.faults import Fault
from telemetry.simulator.inputs import Inputs, read_inputs
from telemetry.simulator.logger import LoggerSpec, LogTable, record
from telemetry.simulator.machine import STEP_S, Machine, Trace
from telemetry.simulator.plan import MatchPlan
from telemetry.simulator.robot_file import robot_toml
from telemetry.simulator.specification import RobotSpec
from telemetry.simulator.streams import stream
from telemetry.simulator.truth import tell_truth
from telemetry.simulator.writing import Form, write_log

__all__ = ["SimulatedMatch", "relog", "simulate_match", "write_match"]

_ENDINGS = {"wide": ".csv", "long": ".csv", "parquet": ".parquet"}


@dataclass(frozen=True)
class SimulatedMatch:
    """A match that never was: what made it, what the log holds, what really happened."""

    name: str
    seed: int
    spec: RobotSpec
    plan: MatchPlan
    logger: LoggerSpec
    faults: tuple[Fault, ...]
    bumps: tuple[Contact, ...]
    trace: Trace
    inputs: Inputs
    felt: Accelerations
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
    """Play one match. The same arguments give the same match.

    ``contacts`` sets the hits by hand; otherwise they are drawn. Raises ValueError where a fault names a
    beam or motor that the robot lacks.
    """
    spec, plan, logger, faults = (
        spec or RobotSpec(),
        plan or MatchPlan(),
        logger or LoggerSpec(),
        tuple(faults),
    )
    if contacts is None:
        contacts = draw_contacts(plan, stream(seed, "contacts"))
    bumps = draw_bumps(plan, stream(seed, "bumps"))
    trace = Machine(spec, plan, contacts, faults, seed).run()
    inputs = read_inputs(spec, trace, faults, seed)
    shakes = (*trace.contacts, *bumps)
    felt = feel(shakes, trace.ground_speed, trace.acceleration, STEP_S, stream(seed, "vibration"))
    table = record(spec, plan, logger, trace, inputs, felt, faults, seed)
    truth = tell_truth(spec, plan, logger, trace, inputs, bumps, faults, table, seed)
    return SimulatedMatch(name, seed, spec, plan, logger, faults, bumps, trace, inputs, felt, table, truth)


def relog(match: SimulatedMatch, logger: LoggerSpec) -> SimulatedMatch:
    """The same match, as another logger would have written it down."""
    spec, plan, faults, seed = match.spec, match.plan, match.faults, match.seed
    table = record(spec, plan, logger, match.trace, match.inputs, match.felt, faults, seed)
    truth = tell_truth(spec, plan, logger, match.trace, match.inputs, match.bumps, faults, table, seed)
    return replace(match, logger=logger, table=table, truth=truth)


def write_match(
    match: SimulatedMatch, directory: Path, form: Form = "wide", *, compressed: bool = False
) -> Path:
    """Write the log, its truth and the robot file; return the path of the log."""
    directory.mkdir(parents=True, exist_ok=True)
    ending = _ENDINGS[form] + (".gz" if compressed and form != "parquet" else "")
    path = directory / f"{match.name}{ending}"
    write_log(match.table, match.logger, path, form)
    truth = json.dumps(match.truth, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    (directory / f"{match.name}.truth.json").write_text(truth, encoding="utf-8", newline="\n")
    (directory / "robot.toml").write_text(match.robot_toml, encoding="utf-8", newline="\n")
    return path

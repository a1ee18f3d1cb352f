"""Simulated logs with motor and supply troubles: written into a folder once, read again from there."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from telemetry.simulator import (
    MatchPlan,
    MotorSpec,
    SimulatedMatch,
    relog,
    simulate_match,
    write_match,
)
from tests.benchmarks.motor_robots import OMITTED, Scenario, draw_logger, draw_robot, scenarios
from tests.benchmarks.motor_truth import Trouble, heat_levels, truth_of

__all__ = ["Case", "Heat", "cases"]

_LOGS = 2
_CLEAN = ("clean", "pair")


@dataclass(frozen=True)
class Heat:
    """A motor's true highest and last level, and what a log tells it from."""

    motor: str
    told: str
    peak: float
    end: float


@dataclass(frozen=True)
class Case:
    """One log on disk: what its match proved to hold, what may be told or not, and its true figures."""

    name: str
    log: str
    truth: tuple[Trouble, ...]
    excused: tuple[Trouble, ...]
    heat: tuple[Heat, ...]
    source_ohm: float

    @property
    def clean(self) -> bool:
        """Whether nothing was put into its match, and the play itself held no trouble."""
        return not self.truth and self.name.split(" ", 1)[1].startswith(_CLEAN)


def cases(seed: int, only: Sequence[str], folder: Path) -> Iterator[Case]:
    """The logs of one robot, simulated unless the folder holds them already."""
    rng = np.random.default_rng(seed)
    spec, plan = draw_robot(rng), MatchPlan(teleop_s=float(rng.uniform(70, 135)))
    for number, (name, faults, own) in enumerate(scenarios(spec, plan, rng)):
        if only and name not in only:
            continue
        place = folder / f"{seed}-{name.replace(' ', '-')}"
        if not (place / "cases.json").exists():
            _simulate(place, (name, faults, own), plan, seed=seed, number=number)
        for told in json.loads((place / "cases.json").read_text(encoding="utf-8")):
            yield _case(told)


def _simulate(place: Path, scenario: Scenario, plan: MatchPlan, *, seed: int, number: int) -> None:
    name, faults, own = scenario
    rng = np.random.default_rng([seed, number])
    match = simulate_match(own, seed=seed, faults=faults, plan=plan)
    truth, excused = truth_of(match)
    written = []
    for count, choice in enumerate(rng.permutation(len(OMITTED))[:_LOGS].tolist()):
        logger = draw_logger(own, OMITTED[choice], rng)
        again = relog(match, logger)
        form = "long" if rng.random() < 0.15 and logger.rate_hz <= 50 else "parquet"
        path = write_match(again, place / str(count), form)  # type: ignore[arg-type]
        without = ",".join(OMITTED[choice]) or "nothing"
        written.append(
            Case(
                name=f"{seed} {name} {logger.rate_hz:g} Hz without {without}",
                log=str(path.absolute()),
                truth=truth,
                excused=excused,
                heat=tuple(_heat(again, number, motor) for number, motor in enumerate(own.motors)),
                source_ohm=again.truth["supply"]["resistance_ohm"],
            )
        )
    text = json.dumps([asdict(case) for case in written], indent=1)
    (place / "cases.json").write_text(text, encoding="utf-8")


def _heat(match: SimulatedMatch, place: int, motor: MotorSpec) -> Heat:
    levels = heat_levels(match.trace.current_a[place], motor)
    return Heat(motor.name, _told(match, motor), float(levels.max()), float(levels[-1]))


def _told(match: SimulatedMatch, motor: MotorSpec) -> str:
    """What a motor's heat had to be worked out from."""
    if motor.current_side == "winding":
        return "winding current"
    omitted = {key.split(".")[-1] for key in match.logger.omit}
    return "supply current" + "".join(f", no {what}" for what in ("duty", "speed") if what in omitted)


def _case(told: dict[str, Any]) -> Case:
    return Case(
        **{
            **told,
            "truth": tuple(Trouble(**one) for one in told["truth"]),
            "excused": tuple(Trouble(**one) for one in told["excused"]),
            "heat": tuple(Heat(**one) for one in told["heat"]),
        }
    )

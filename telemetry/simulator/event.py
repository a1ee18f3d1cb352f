"""A small event of the demo scenario: several matches of Jay at the Oakmere Trial."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from telemetry.simulator.faults import (
    BeamDead,
    BeamDropouts,
    Chatter,
    Fault,
    FeedJam,
    LimitOverrun,
    LogGap,
    LooseLug,
)
from telemetry.simulator.match import simulate_match, write_match
from telemetry.simulator.plan import MatchPlan
from telemetry.simulator.specification import RobotSpec
from telemetry.simulator.streams import stream
from telemetry.simulator.writing import Form

__all__ = ["simulate_event"]

_FORMS: tuple[Form, ...] = ("wide", "long", "parquet")
_CHARGED_V = (12.55, 12.85)


def simulate_event(out: Path, *, matches: int, seed: int, plan: MatchPlan | None = None) -> list[Path]:
    """Write that many matches, the truth of each and one robot file into ``out``; return the logs' paths.

    The first match is clean, in the second a beam drops out after hits, in the third another chatters and
    the tower jams; the rest draw from more such troubles. Wide CSV, long CSV (compressed, being several
    times as large) and Parquet take turns. The same seed gives the same bytes. The sample event that comes
    with the sources, in ``sample_logs``, is six matches of seed 4.
    """
    plan = plan or MatchPlan()
    troubles = _all_troubles(matches, plan, stream(seed, "troubles"))
    paths: list[Path] = []
    for number, faults in enumerate(troubles, 1):
        own_seed = seed * 1000 + number
        charged_v = round(float(stream(own_seed, "battery").uniform(*_CHARGED_V)), 2)
        jay = RobotSpec()
        spec = replace(jay, battery=replace(jay.battery, open_circuit_v=charged_v))
        match = simulate_match(spec, seed=own_seed, name=f"match-{number:02d}", faults=faults, plan=plan)
        form = _FORMS[(number - 1) % len(_FORMS)]
        paths.append(write_match(match, out, form, compressed=form == "long"))
    return paths


def _all_troubles(matches: int, plan: MatchPlan, rng: np.random.Generator) -> list[tuple[Fault, ...]]:
    chosen: list[tuple[Fault, ...]] = [
        (),
        (BeamDropouts(beam="entry", probability=0.5),),
        (Chatter(beam="middle"), _jam(rng)),
    ]
    while len(chosen) < matches:
        pool = _more_troubles(plan, rng)
        chosen += [pool[place] for place in rng.permutation(len(pool))]
    return chosen[:matches]


def _more_troubles(plan: MatchPlan, rng: np.random.Generator) -> list[tuple[Fault, ...]]:
    teleop = plan.teleop

    def within() -> float:
        return round(float(rng.uniform(teleop.start_s, teleop.start_s + 0.7 * plan.teleop_s)), 2)

    return [
        (BeamDropouts(beam="entry", probability=0.4), _jam(rng)),
        (BeamDead(beam="middle", from_s=within()), Chatter(beam="gate", trigger="hits", probability=0.4)),
        (BeamDropouts(beam="entry", probability=0.3), LogGap(at_s=within())),
        (LooseLug(from_s=within()), LimitOverrun()),
    ]


def _jam(rng: np.random.Generator) -> FeedJam:
    return FeedJam(held_s=round(float(rng.uniform(1.2, 3.8)), 2))

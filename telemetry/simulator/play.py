"""A match as it was played, before anybody wrote it down."""

from dataclasses import dataclass

from telemetry.simulator.contacts import Accelerations, Contact, draw_bumps, draw_contacts, feel
from telemetry.simulator.faults import Fault
from telemetry.simulator.inputs import Inputs, read_inputs
from telemetry.simulator.machine import STEP_S, Machine, Trace
from telemetry.simulator.plan import MatchPlan
from telemetry.simulator.specification import RobotSpec
from telemetry.simulator.streams import stream

__all__ = ["Play", "play"]


@dataclass(frozen=True, kw_only=True)
class Play:
    """What made a match, and what happened in it; see ``Trace``, ``Inputs`` and ``Accelerations``."""

    seed: int
    spec: RobotSpec
    plan: MatchPlan
    faults: tuple[Fault, ...]
    bumps: tuple[Contact, ...]
    trace: Trace
    inputs: Inputs
    felt: Accelerations


def play(
    spec: RobotSpec,
    plan: MatchPlan,
    faults: tuple[Fault, ...],
    contacts: tuple[Contact, ...] | None,
    seed: int,
) -> Play:
    """Play a match; hits are drawn where ``contacts`` is None."""
    if contacts is None:
        contacts = draw_contacts(plan, stream(seed, "contacts"))
    bumps = draw_bumps(plan, stream(seed, "bumps"))
    trace = Machine(spec, plan, contacts, faults, seed).run()
    inputs = read_inputs(spec, trace, faults, seed)
    shakes = (*trace.contacts, *bumps)
    felt = feel(shakes, trace.ground_speed, trace.acceleration, STEP_S, stream(seed, "vibration"))
    return Play(
        seed=seed, spec=spec, plan=plan, faults=faults, bumps=bumps, trace=trace, inputs=inputs, felt=felt
    )

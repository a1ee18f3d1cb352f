"""Facts of matches written by hand, for tests that look at an event without any log."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from telemetry.estimators.light import LightCount
from telemetry.finding import Severity
from telemetry.match_facts import (
    Faults,
    MatchFacts,
    MatchSummary,
    MotorFacts,
    Occurrence,
    Running,
)

__all__ = ["match_facts", "motor_facts"]


def match_facts(
    name: str = "match-01",
    *,
    faults: Mapping[tuple[str, str], int] = MappingProxyType({}),
    role: str = "beam",
    active_s: float = 150.0,
    contacts: int = 10,
    after_hits: bool = False,
    suspected: int = 0,
    start_epoch_s: float | None = None,
    motors: Mapping[str, MotorFacts] = MappingProxyType({}),
    cycles: Sequence[tuple[float, bool]] = (),
    cycle_s: float | None = None,
    resistance_ohm: float | None = None,
    battery: str | None = None,
    light: LightCount | None = None,
    file: str | None = None,
) -> MatchFacts:
    """A match with so many faults of each kind and subject, 0 of what was clear; all after hits, or none.

    So many more of each are only suspected.
    """
    none = dict.fromkeys(Severity, 0)
    summary = MatchSummary(name, file or f"{name}.csv", "clear", none, none, 0, 10, 0, 0, None, None, cycle_s)
    return MatchFacts(
        summary=summary,
        robot="Jay",
        start_epoch_s=start_epoch_s,
        start_s=3.0,
        before_s=3.0,
        after_s=active_s + 3.0,
        active_s=active_s,
        contacts=contacts,
        faults=tuple(
            Faults(kind, subject, role, count, count if after_hits else 0, suspected)
            for (kind, subject), count in faults.items()
        ),
        motors=motors,
        battery=battery,
        resistance_ohm=resistance_ohm,
        lowest_v=None,
        cycles=tuple(cycles),
        light=light,
        findings=tuple(
            (kind, subject, role, Occurrence(name, number + 1, 10.0 * number, Severity.FIX, 0.9, "It broke."))
            for (kind, subject), count in faults.items()
            for number in range(count)
        ),
    )


def motor_facts(
    current_a: float | None = None, *, end_heat: Sequence[float] = (), cooling_s: float | None = 400.0
) -> MotorFacts:
    """A motor that ran at one duty with that current, and ended at these levels of heat."""
    running = () if current_a is None else (Running(5, current_a, 30.0),)
    return MotorFacts(running, tuple(end_heat), tuple(end_heat), cooling_s, 0.0, None)

"""What a crew, a driver and a mentor need of a match at the first glance: a line each."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from reports.cycle_chart import CycleChart
from reports.verdict import motors_to_rest
from reports.words import clock, counted, duration, number
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.finding import Finding, Severity

__all__ = ["Glance", "glance_of", "spare_work"]

_TOLD_STANDING_S = 1.0


@dataclass(frozen=True)
class Glance:
    """One line: whom or what it is about, the sentence, and the section that tells more."""

    about: str
    words: str
    section: str


def glance_of(analysis: Analysis, cycles: CycleChart | None) -> tuple[Glance, ...]:
    """The lines under the verdict; one without anything to tell is left out."""
    lines = (
        Glance("Motors", motors_to_rest(analysis) or "", "motors"),
        Glance("Battery", _battery(analysis), "motors"),
        Glance("Driver", " ".join(_driver(analysis)), "driving"),
        Glance("Cycles", cycles.summary if cycles else "", "driving"),
    )
    return tuple(line for line in lines if line.words)


def spare_work(analysis: Analysis) -> tuple[Finding, ...]:
    """Notes that advise some work which no job of the pit list has, the first of each advice."""
    told = " ".join(action.text for action in analysis.pit_list)
    notes: dict[str, Finding] = {}
    for finding in analysis.findings:
        if finding.severity is Severity.NOTE and finding.minutes > 0 and finding.advice not in told:
            notes.setdefault(finding.advice, finding)
    return tuple(notes.values())


def _battery(analysis: Analysis) -> str:
    supply = analysis.supply
    if supply is None or supply.lowest_v is None or not np.isfinite(supply.voltage_v).any():
        return ""
    when = clock(float(supply.t_s[np.nanargmin(supply.voltage_v)]), analysis.match.start_s)
    margin_v = supply.lowest_v - analysis.robot.supply.brownout_v
    side = "above" if margin_v >= 0 else "below"
    rest = f"{number(supply.open_circuit_v, 'V')} at rest; " if supply.open_circuit_v is not None else ""
    margin = f"{number(abs(margin_v), 'V', 2)} {side} brownout (where the controller cuts the motors)"
    return f"{rest}lowest {number(supply.lowest_v, 'V')} at {when}, {margin}."


def _driver(analysis: Analysis) -> Iterator[str]:
    hits = analysis.contacts
    if hits:
        told = f"Hit {counted(len(hits), 'time')}"
        known = [(hit.peak_g, hit.t_s) for hit in hits if hit.peak_g is not None]
        if known:
            peak_g, t_s = max(known)
            told += f", hardest {number(peak_g, 'g', 2)} at {clock(t_s, analysis.match.start_s)}"
        yield f"{told}."
    stood_s = sum(cycle.standing_s or 0.0 for cycle in analysis.cycles)
    if stood_s >= _TOLD_STANDING_S:
        yield f"The robot stood still {duration(stood_s)} in all."
    closed = [cycle.end_s - cycle.start_s for cycle in analysis.cycles if not cycle.open]
    if len(closed) > 2:
        beyond_s = max(closed) - float(np.median(closed))
        if beyond_s >= _TOLD_STANDING_S:
            yield f"The slowest cycle cost {duration(beyond_s)} more than the middle one."

"""Tables for mentors: where the energy went, by mechanism and phase, and how motors share their work."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from reports.tables import Cell, Table
from reports.words import fixed, percent
from telemetry.analysis import Analysis
from telemetry.estimators.load_share import LoadShare, mechanisms, share_load

__all__ = ["energy_table", "load_share_table"]


def energy_table(analysis: Analysis) -> Table | None:
    """Energy out of the battery in each phase, a row for each mechanism and one for the whole robot.

    None where it is told of nothing. A mechanism with a motor whose energy cannot be told is left out.
    """
    supply, phases = analysis.supply, tuple(dict.fromkeys(p.phase for p in analysis.match.phases))
    whole_wh = supply.energy_wh if supply else None
    ranked = sorted(_by_mechanism(analysis), key=lambda entry: -sum(entry[1].values()))
    rows = [_energy_row(name, wh, sum(wh.values()), whole_wh, phases) for name, wh in ranked]
    if supply and supply.energy_by_phase_wh and whole_wh is not None:
        rows += _rest_row(ranked, supply.energy_by_phase_wh, whole_wh, phases)
        rows.append(_energy_row("whole robot", supply.energy_by_phase_wh, whole_wh, whole_wh, phases))
    if not rows:
        return None
    caption = "Energy out of the battery in Wh, by phase; below 0 where motors fed back more than they took"
    return Table(caption, ("Mechanism", *map(str.capitalize, phases), "In all", "Share"), tuple(rows))


def _by_mechanism(analysis: Analysis) -> Iterator[tuple[str, Mapping[str, float]]]:
    """Each mechanism with the energy of its motors by phase; a motor without one stands alone."""
    together: dict[str, list[Mapping[str, float] | None]] = {}
    named: dict[str, list[str]] = {}
    for name, use in analysis.motor_use.items():
        motor = analysis.robot.motors.get(name)
        mechanism = (motor.mechanism if motor else None) or name
        together.setdefault(mechanism, []).append(use.energy_by_phase_wh)
        named.setdefault(mechanism, []).append(name)
    for mechanism, parts in together.items():
        known = [part for part in parts if part]
        if len(known) == len(parts):
            phases = dict.fromkeys(phase for part in known for phase in part)
            yield (
                _with_motors(mechanism, named[mechanism]),
                {phase: sum(part.get(phase, 0.0) for part in known) for phase in phases},
            )


def _with_motors(mechanism: str, names: list[str]) -> str:
    return mechanism if names == [mechanism] else f"{mechanism} ({', '.join(names)})"


def _rest_row(
    ranked: list[tuple[str, Mapping[str, float]]],
    by_phase_wh: Mapping[str, float],
    whole_wh: float,
    phases: tuple[str, ...],
) -> list[tuple[Cell, ...]]:
    """What no motor accounts for, so that the rows add up; nothing where the motors took more than all."""
    rest = {p: by_phase_wh.get(p, 0.0) - sum(wh.get(p, 0.0) for _, wh in ranked) for p in phases}
    rest_wh = whole_wh - sum(sum(wh.values()) for _, wh in ranked)
    if not ranked or rest_wh <= 0:
        return []
    return [_energy_row("everything else, and losses in the leads", rest, rest_wh, whole_wh, phases)]


def _energy_row(
    name: str,
    by_phase_wh: Mapping[str, float],
    total_wh: float,
    whole_wh: float | None,
    phases: tuple[str, ...],
) -> tuple[Cell, ...]:
    share = percent(total_wh / whole_wh) if whole_wh and total_wh >= 0 else "–"
    figures = [fixed(by_phase_wh.get(phase), 2) for phase in phases]
    return (
        Cell(name),
        *(Cell(text, number=True) for text in [*figures, fixed(total_wh, 2), share]),
    )


def load_share_table(analysis: Analysis) -> Table | None:
    """For each motor of a mechanism of several: its current beside that of the others while driven alike.

    The median over seconds so compared, with the range of the middle eight in ten. None where nothing shares.
    """
    rows = tuple(row for shared in _shared(analysis) for row in shared)
    caption = (
        "Current of each motor as a multiple of the mean of the others of its mechanism while all are driven "
        "alike under load; 1.00 is an even share"
    )
    columns = ("Mechanism", "Motor", "Times the others’ current", "Middle 80 %", "Compared over", "Findings")
    return Table(caption, columns, rows) if rows else None


def _shared(analysis: Analysis) -> Iterator[list[tuple[Cell, ...]]]:
    for mechanism, names in mechanisms(analysis.robot).items():
        if all(name in analysis.motors for name in names):
            shared = share_load(analysis.robot, analysis.motors, names)
            yield [_share_row(analysis, mechanism, name, shared) for name in names]


def _share_row(analysis: Analysis, mechanism: str, motor: str, shared: LoadShare | None) -> tuple[Cell, ...]:
    numbered = enumerate(analysis.findings, 1)
    found = tuple(n for n, f in numbered if f.kind == "load_share" and f.subject == mechanism)
    marks = Cell("" if found else "none", findings=found)
    if shared is None:
        told = Cell("never driven alike under load", number=True)
        return Cell(mechanism), Cell(motor), told, Cell("–"), Cell("–"), marks
    low, middle, high = np.quantile(shared.ratio[shared.motors.index(motor)], [0.1, 0.5, 0.9])
    return (
        Cell(mechanism), Cell(motor), Cell(f"{middle:.2f}", number=True),
        Cell(f"{low:.2f} to {high:.2f}", number=True), Cell(f"{len(shared.start_s)} s", number=True), marks,
    )  # fmt: skip

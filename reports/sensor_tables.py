"""The rows of the tables on limits and distance sensors: ways from end to end, levels and settings."""

from __future__ import annotations

from reports.tables import Cell, Table
from reports.words import clock, duration, number
from telemetry.analysis import Analysis
from telemetry.records.sensors import RangeUse

__all__ = ["range_table", "travel_table"]


def travel_table(analysis: Analysis) -> Table:
    """Every travel of a motor from one limit to the other: time taken, charge, highest current."""
    rows = tuple(
        (
            Cell(f"{travel.start_limit} to {travel.end_limit}"),
            Cell(travel.motor),
            Cell(clock(travel.start_s, analysis.match.start_s), t_s=travel.start_s),
            Cell(duration(travel.end_s - travel.start_s), number=True),
            Cell(number(travel.charge_as, "A·s"), number=True),
            Cell(number(travel.peak_a, "A"), number=True),
        )
        for travel in analysis.travels
    )
    columns = ("Way", "Motor", "From", "Took", "Charge", "Highest current")
    return Table("Travel from one limit to the other", columns, rows)


def range_table(analysis: Analysis) -> Table:
    """Every distance sensor: how it trembles, its levels, its threshold, and one that would have worked."""
    rows = tuple(_range_row(analysis, name, use) for name, use in analysis.range_use.items())
    columns = ("Sensor", "Trembles by", "Near and far", "Threshold", "Crossed", "Pieces", "Would have worked")
    return Table("Distance sensors: what they read and which setting fits", columns, rows)


def _range_row(analysis: Analysis, name: str, use: RangeUse) -> tuple[Cell, ...]:
    unit = analysis.part.channels[analysis.robot.ranges[name].signal].unit or ""
    levels = "one level only"
    if use.near_level is not None and use.far_level is not None:
        levels = f"{number(use.near_level)} and {number(use.far_level, unit)}"
    return (
        Cell(name),
        Cell(number(use.noise, unit, 2), number=True),
        Cell(levels),
        Cell(number(use.threshold, unit), number=True),
        Cell(str(use.crossings), number=True),
        Cell(str(use.pieces), number=True),
        Cell(_better(use, unit)),
    )


def _better(use: RangeUse, unit: str) -> str:
    if use.better_threshold is None:
        return "–"
    return f"{number(use.better_threshold, unit)}, hysteresis {number(use.better_hysteresis, unit, 2)}"

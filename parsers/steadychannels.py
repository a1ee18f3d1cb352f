"""The unit of a long log's clock that nothing names, told by the channels that tick evenly."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from parsers.cadence import repeats
from parsers.channels import group_rows
from parsers.clock import steady_tick
from parsers.overrides import Told
from parsers.roles import LongColumns
from parsers.stamps import PER_SECOND, Stamps
from parsers.table import Table
from parsers.timecolumn import column_stamps
from telemetry.units import unit_from_name

__all__ = ["with_steady_channels"]

# Our choice: a channel that ticks evenly through so many rows is sampled, and every two seconds at least,
# or in numbers that look like dates once a minute.
_FEWEST_TICKS = 8
_SLOWEST_S = 2.0
_SLOWEST_DATED_S = 60.0
_ROUNDING = 1e-3


def with_steady_channels(table: Table, clock: int, stamps: Stamps, long: LongColumns, told: Told) -> Stamps:
    """The stamps in a unit in which some channel that ticks evenly does so every two seconds at least.

    Events may be seconds apart, so that the spacing of a long log's rows tells little about the unit of
    whole numbers. Where the robot file or the column tells it, and where none ticks, all stays; what looks
    like Unix time may come once a minute.
    """
    if told.time_unit is not None or _says_unit(table, clock) or not _are_whole(stamps):
        return stamps
    slowest_s = _SLOWEST_S if stamps.base_epoch_s is None else _SLOWEST_DATED_S
    fastest_s = min(_ticks_s(table, stamps, long), default=0.0)
    units = list(PER_SECOND)
    if fastest_s <= slowest_s:
        return stamps
    while stamps.unit in units[:-1] and fastest_s > _SLOWEST_S:
        stamps = column_stamps(table, clock, units[units.index(stamps.unit) + 1], long=True)
        fastest_s /= 1_000
    return stamps


def _ticks_s(table: Table, stamps: Stamps, long: LongColumns) -> list[float]:
    """The steps of the channels that tick evenly, but for switches that change in every row."""
    groups = group_rows(table, long)
    steps_s = []
    for first, past in pairwise(groups.bounds.tolist()):
        rows = groups.rows[first:past]
        t_s = stamps.t_s[rows]
        tick_s = steady_tick(t_s[np.isfinite(t_s)]) if len(rows) > _FEWEST_TICKS else 0.0
        if tick_s > 0:
            cells = table.columns[long.value].take(rows).typed(has_unit=False)
            if repeats(cells.kind, cells.values):
                steps_s.append(tick_s)
    return steps_s


def _says_unit(table: Table, clock: int) -> bool:
    named = unit_from_name(table.names[clock])
    return table.units[clock] is not None or (named is not None and named.quantity == "time")


def _are_whole(stamps: Stamps) -> bool:
    if stamps.unit not in PER_SECOND:
        return False
    ticks = stamps.t_s[stamps.readable] * PER_SECOND[stamps.unit]
    return bool(np.all(np.abs(ticks - np.round(ticks)) < _ROUNDING))

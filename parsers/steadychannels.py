"""The unit of a long log's clock that nothing names, told by the channels that tick evenly."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from parsers.channels import group_rows
from parsers.clock import steady_tick
from parsers.overrides import Told
from parsers.roles import LongColumns
from parsers.stamps import PER_SECOND, Stamps
from parsers.table import Table
from parsers.timecolumn import column_stamps
from telemetry.units import unit_from_name

__all__ = ["with_steady_channels"]

# Our choice: a channel that ticks evenly through so many rows is sampled, and at least once a second.
_FEWEST_TICKS = 8
_SLOWEST_S = 1.0
_ROUNDING = 1e-3


def with_steady_channels(table: Table, clock: int, stamps: Stamps, long: LongColumns, told: Told) -> Stamps:
    """The stamps in a unit in which some channel that ticks evenly does so at least once a second.

    Events may be seconds apart, so that the spacing of a long log's rows tells little about the unit of
    whole numbers. Where the robot file, the column or a date tells it, and where none ticks, all stays.
    """
    if told.time_unit is not None or stamps.base_epoch_s is not None or _says_unit(table, clock):
        return stamps
    if not _are_whole(stamps):
        return stamps
    groups = group_rows(table, long)
    of_channels = [stamps.t_s[groups.rows[first:past]] for first, past in pairwise(groups.bounds.tolist())]
    ticks_s = [steady_tick(t_s[np.isfinite(t_s)]) for t_s in of_channels if len(t_s) > _FEWEST_TICKS]
    fastest_s = min((tick_s for tick_s in ticks_s if tick_s > 0), default=0.0)
    units = list(PER_SECOND)
    while stamps.unit in units[:-1] and fastest_s > _SLOWEST_S:
        stamps = column_stamps(table, clock, units[units.index(stamps.unit) + 1], long=True)
        fastest_s /= 1_000
    return stamps


def _says_unit(table: Table, clock: int) -> bool:
    named = unit_from_name(table.names[clock])
    return table.units[clock] is not None or (named is not None and named.quantity == "time")


def _are_whole(stamps: Stamps) -> bool:
    if stamps.unit not in PER_SECOND:
        return False
    ticks = stamps.t_s[stamps.readable] * PER_SECOND[stamps.unit]
    return bool(np.all(np.abs(ticks - np.round(ticks)) < _ROUNDING))

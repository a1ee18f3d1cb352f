"""Dates as spreadsheets write them: `31/01/2026 14:05:06`, `1/31/26 2:05:06 PM`, `31.01.2026 14:05:06,5`."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from parsers.records import IntArray
from telemetry.log import BoolArray

if TYPE_CHECKING:
    import polars as pl

__all__ = ["CLOCK_12", "SHEET_DATE", "SHEET_DATE_PATTERN", "sheet_dates"]

CLOCK_12 = r"(?:\s*(AM|PM))?"
SHEET_DATE = (
    r"^(\d{1,2})[./-](\d{1,2})[./-](\d{4})[T ,]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9})\d*)?)?"
    + CLOCK_12
    + r"$"
)
SHEET_DATE_PATTERN = re.compile(SHEET_DATE, re.IGNORECASE)
_DAY_NS = 86_400 * 10**9


def sheet_dates(parts: pl.DataFrame) -> tuple[IntArray, BoolArray, bool]:
    """Nanoseconds of Unix time (UTC), which cells are dates, and whether day and month could be told apart.

    `parts` are the groups of `SHEET_DATE`. Day or month comes first as some date of the column shows, which
    has no other reading; where none does, as the shorter log has it.
    """
    one, two, year, hour, minute, second = (_whole(parts.to_series(i)) for i in range(6))
    half = parts.to_series(7).str.to_uppercase()
    afternoon, morning = (half == "PM").fill_null(value=False), (half == "AM").fill_null(value=False)
    hour = np.where(afternoon.to_numpy(), hour % 12 + 12, np.where(morning.to_numpy(), hour % 12, hour))
    fraction = _whole(parts.to_series(6).fill_null("0").str.pad_end(9, "0"))
    of_day = (hour * 3600 + minute * 60 + second) * 10**9 + fraction
    readable = parts.to_series(0).is_not_null().to_numpy() & (hour <= 24) & (minute <= 59) & (second <= 60)
    by_day, by_month = _days(year, two, one, readable), _days(year, one, two, readable)
    certain = bool(by_day[1].sum() != by_month[1].sum())
    if certain:
        days, good = max((by_day, by_month), key=lambda reading: reading[1].sum())
    else:
        days, good = min((by_day, by_month), key=lambda reading: _span(*reading))
    return days * _DAY_NS + of_day, good, certain


def _days(year: IntArray, month: IntArray, day: IntArray, readable: BoolArray) -> tuple[IntArray, BoolArray]:
    """Days since 1970, and which of the dates exist."""
    good = readable & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    dates = months.astype("datetime64[D]") + np.where(good, day - 1, 0)
    good &= dates.astype("datetime64[M]") == months
    return dates.astype(np.int64), good


def _span(days: IntArray, good: BoolArray) -> int:
    return int(np.ptp(days[good])) if good.any() else 0


def _whole(part: pl.Series) -> IntArray:
    import polars as pl

    return part.cast(pl.Int64, strict=False).fill_null(0).to_numpy().astype(np.int64)

"""A column of time stamps to seconds: numbers in any unit, Unix time, ISO 8601, a clock of the day."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from parsers.clockcolumn import parted
from parsers.numbers import floats_of
from parsers.records import IntArray
from parsers.sheetdates import CLOCK_12, SHEET_DATE, SHEET_DATE_PATTERN, sheet_dates
from telemetry.dataclass import dataclass
from telemetry.log import BoolArray, FloatArray
from telemetry.units import unit_from_name

if TYPE_CHECKING:
    import polars as pl

__all__ = ["PER_SECOND", "Stamps", "number_stamps", "parse_stamps", "rough_stamp", "timestamp_stamps"]

PER_SECOND = MappingProxyType({"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000})

# RFC 3339, section 5.6, with the liberties of ISO 8601 that loggers take.
_ISO = (
    r"^(\d{4})[-/]?(\d{2})[-/]?(\d{2})(?:[T ](\d{2}):?(\d{2})(?::?(\d{2})(?:[.,](\d{1,9})\d*)?)?"
    r"\s*(Z|UTC|GMT|[+-]\d{2}(?::?\d{2})?)?)?$"
)
_CLOCK = r"^(\d{1,3}):([0-5]\d):([0-5]\d|60)(?:[.,](\d{1,9})\d*)?" + CLOCK_12 + "$"
_ISO_PATTERN = re.compile(_ISO, re.IGNORECASE)
_CLOCK_PATTERN = re.compile(_CLOCK, re.IGNORECASE)
_SWAPPED = str.maketrans(",.", ".,")
_DAY_S = 86_400
_LONGEST_S, _QUICKEST_S = 3 * 3_600, 0.0005
_MOSTLY = 0.5
# Unix time of 2001-09-09 and of 2096-10-02, in seconds: between them a number without a unit is a date.
_EPOCH_FROM_S, _EPOCH_TO_S = 1e9, 4e9
# Our choice: so many dates, or the last readings, show Unix time, the others are of a clock not yet set.
_DATED_SHARE, _LAST_READINGS = 0.05, 5
# A log in Unix time comes every ten minutes at least, for a year at most: microseconds since the start of a
# robot that is on for half an hour look like Unix time in seconds that comes far more seldom.
_SLOWEST_S, _LONGEST_DATED_S = 600.0, 366 * _DAY_S
_MOST_LEAPS, _MANY_STEPS = 3, 20
# Beyond Unix time in nanoseconds of the year 2096 a number is no time, and differences would overflow.
_MOST_TICKS = 4_000_000_000_000_000_000


@dataclass(frozen=True, eq=False)
class Stamps:
    """Time stamps as seconds from the first readable one.

    Attributes:
        t_s: shape (n,), float64; NaN where the cell is no time.
        unit: `s`, `ms`, `us`, `ns`, `iso8601` or `clock`.
        base_epoch_s: Unix time of `t_s` = 0 where the file tells it (a date without a zone is taken
            as UTC), else None.
    """

    t_s: FloatArray
    unit: str
    base_epoch_s: float | None

    @property
    def readable(self) -> BoolArray:
        """Shape (n,), True where the cell is a time."""
        return np.isfinite(self.t_s)


def rough_stamp(cell: str, decimal: str) -> float | None:
    """One cell as a number that rises with time, or None: enough to tell whether a column is a clock."""
    text = cell.strip()
    number = text.translate(_SWAPPED) if decimal == "," else text
    try:
        value = float(number)
    except ValueError:
        return _rough_date(text)
    return value if math.isfinite(value) and "_" not in number else None


def _rough_date(text: str) -> float | None:
    iso = _ISO_PATTERN.match(text)
    if iso:
        year, month, day, hour, minute = (int(part) for part in iso.groups(default="0")[:5])
        second, fraction, zone = iso.group(6) or "0", iso.group(7) or "0", (iso.group(8) or "").upper()
        days = ((year * 12 + month) * 31) + day
        return days * 86400.0 + hour * 3600 + minute * 60 + float(f"{second}.{fraction}") - _zone_s(zone)
    clock = _CLOCK_PATTERN.match(text)
    if clock:
        hours, minutes, seconds, fraction = clock.groups(default="0")[:4]
        return _hours(int(hours), clock.group(5)) * 3600 + int(minutes) * 60 + float(f"{seconds}.{fraction}")
    sheet = SHEET_DATE_PATTERN.match(text)
    if sheet:
        date, rest = sheet.groups(default="0")[:3], sheet.groups(default="0")[3:7]
        days = int(date[2]) * 12 * 31 + int(date[0]) + int(date[1])
        clock_s = _hours(int(rest[0]), sheet.group(8)) * 3600 + int(rest[1]) * 60
        return days * 86400.0 + clock_s + float(f"{rest[2]}.{rest[3]}")
    return None


def _hours(hour: int, half: str | None) -> int:
    return hour if half is None else hour % 12 + (12 if half.upper() == "PM" else 0)


def _zone_s(zone: str) -> float:
    if zone[:1] not in {"+", "-"}:
        return 0.0
    digits = zone[1:].replace(":", "").ljust(4, "0")
    offset = int(digits[:2]) * 3600 + int(digits[2:]) * 60
    return float(-offset if zone[0] == "-" else offset)


def parse_stamps(cells: pl.Series, *, name: str, decimal: str, unit: str | None, long: bool) -> Stamps:
    """The stamps in a column of text.

    `unit` overrides what the column's name and values tell; `long` says that rows come at events, so
    that their spacing tells nothing about the unit.
    """
    import polars as pl

    clean = unit != "iso8601" and decimal != ","
    quick = cells.cast(pl.Float64, strict=False) if clean else cells
    if clean and quick.null_count() == 0 and bool(quick.is_finite().all()):
        return _stamps_of_numbers(cells, quick, name=name, unit=unit, long=long)
    text = cells.fill_null("").str.strip_chars()
    plain = text.str.replace(",", ".", literal=True) if decimal == "," else text
    numbers = floats_of(text, decimal)
    if unit != "iso8601" and _enough(numbers.is_finite().fill_null(value=False)):
        return _stamps_of_numbers(plain, numbers, name=name, unit=unit, long=long)
    if unit in (None, "iso8601"):
        parts = text.str.extract_groups("(?i)" + _ISO).struct.unnest()
        if unit == "iso8601" or _enough(parts.to_series(0).is_not_null()):
            return _stamps_of_dates(parts)
        clock = text.str.extract_groups("(?i)" + _CLOCK).struct.unnest()
        if _enough(clock.to_series(0).is_not_null()):
            return _stamps_of_clock(clock)
        sheet = text.str.extract_groups("(?i)" + SHEET_DATE).struct.unnest()
        if _enough(sheet.to_series(0).is_not_null()):
            ns, readable, certain = sheet_dates(sheet)
            stamps = timestamp_stamps(ns, readable)
            return stamps if certain else replace(stamps, base_epoch_s=None)
    return Stamps(np.full(len(cells), np.nan), unit or "s", None)


def _enough(readable: pl.Series) -> bool:
    return int(readable.sum()) > _MOSTLY * len(readable)


def _stamps_of_numbers(
    plain: pl.Series, numbers: pl.Series, *, name: str, unit: str | None, long: bool
) -> Stamps:
    import polars as pl

    whole = plain.cast(pl.Int64, strict=False)
    if whole.null_count() == numbers.null_count():
        readable = whole.is_not_null().to_numpy()
        return number_stamps(whole.fill_null(0).to_numpy(), readable, name=name, unit=unit, long=long)
    values = numbers.fill_null(float("nan")).to_numpy()
    return number_stamps(values, np.isfinite(values), name=name, unit=unit, long=long)


def number_stamps(
    values: FloatArray | IntArray, readable: BoolArray, *, name: str, unit: str | None, long: bool
) -> Stamps:
    """Stamps that are numbers; whole ones stay whole until the first is taken off, so no digit is lost."""
    readable = readable & (values < _MOST_TICKS) & (values > -_MOST_TICKS)
    if unit is None and "date" in name.lower() and _are_dates(values[readable]):
        return timestamp_stamps(_days_of(np.where(readable, values, 19700101)) * _DAY_S * 10**9, readable)
    if not readable.any():
        return Stamps(np.full(len(values), np.nan), unit or "s", None)
    base = values[np.argmax(readable)]
    chosen = unit if unit is not None and unit in PER_SECOND else _unit_of(values[readable], name, long=long)
    ticks_a_second = PER_SECOND[chosen]
    elapsed = (np.where(readable, values, base) - base).astype(np.float64) / ticks_a_second
    t_s = np.where(readable, np.round(elapsed, 9), np.nan)
    base_s = float(base) / ticks_a_second
    return Stamps(t_s, chosen, base_s if _EPOCH_FROM_S <= base_s < _EPOCH_TO_S else None)


def _are_dates(values: FloatArray | IntArray) -> bool:
    """Whether numbers are calendar dates without marks, as 20260301 (ISO 8601, 5.2.1.1)."""
    if not len(values) or np.any(values % 1 != 0) or np.any((values < 19000101) | (values > 21001231)):
        return False
    month, day = values // 100 % 100, values % 100
    return bool(np.all((month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)))


def _days_of(values: FloatArray | IntArray) -> IntArray:
    whole = values.astype(np.int64)
    months = (whole // 10_000 - 1970) * 12 + whole // 100 % 100 - 1
    return months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64) + whole % 100 - 1


def _unit_of(values: FloatArray | IntArray, name: str, *, long: bool) -> str:
    named = unit_from_name(name) or unit_from_name(parted(name))
    if named is not None and named.quantity == "time":
        return named.symbol
    rises = np.diff(np.sort(values)).astype(np.float64)
    rises = np.sort(rises[rises > 0])
    typical = float(rises[len(rises) // 2]) if len(rises) else 0.0
    span = float(rises[:-_MOST_LEAPS].sum() if len(rises) > _MANY_STEPS else rises.sum())
    for unit, ticks in PER_SECOND.items():
        dated = (values >= _EPOCH_FROM_S * ticks) & (values < _EPOCH_TO_S * ticks)
        shown = np.mean(dated) >= _DATED_SHARE or bool(dated[-_LAST_READINGS:].all())
        if shown and typical <= _SLOWEST_S * ticks and span <= _LONGEST_DATED_S * ticks:
            return unit
    return _unit_of_steps(values, typical, span, long=long) if len(rises) else "s"


def _unit_of_steps(values: FloatArray | IntArray, typical: float, span: float, *, long: bool) -> str:
    """Our choice: whole numbers come at least once a second (at events: once in ten) for three hours at most.

    Numbers with a fraction are taken for seconds unless they would last longer than a day. The three
    greatest of many steps do not count: a clock that was set, or started over, leaps by years. A robot that
    would have been on for a day is taken to count in the next finer unit, if that is no quicker than 2 kHz.
    """
    fractional = bool(np.any(np.asarray(values) % 1 != 0))
    for unit, ticks in PER_SECOND.items():
        often = fractional or typical <= ticks * (10 if long else 1)
        since_days = not fractional and values[0] > _DAY_S * ticks and typical >= _QUICKEST_S * 1_000 * ticks
        if often and not since_days and span <= ticks * (_DAY_S if fractional else _LONGEST_S):
            return unit
    return "ns"


def timestamp_stamps(ns: IntArray, readable: BoolArray) -> Stamps:
    """Stamps that are nanoseconds of Unix time."""
    if not readable.any():
        return Stamps(np.full(len(ns), np.nan), "iso8601", None)
    base = int(ns[np.argmax(readable)])
    t_s = np.where(readable, np.round((ns - base) / 1e9, 9), np.nan)
    return Stamps(t_s, "iso8601", base / 1e9)


def _stamps_of_dates(parts: pl.DataFrame) -> Stamps:
    year, month, day, hour, minute, second = (_whole(parts.to_series(i)) for i in range(6))
    zone = parts.to_series(7).str.to_uppercase()
    zoned = zone.is_not_null().to_numpy()
    readable = parts.to_series(0).is_not_null().to_numpy() & (year > 1677) & (year < 2262)
    readable &= (month >= 1) & (month <= 12) & (hour <= 24) & (minute <= 59) & (second <= 60)
    readable &= zoned == (2 * zoned[readable].sum() > readable.sum())
    months = np.where(readable, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    dates = months.astype("datetime64[D]") + (day - 1)
    readable &= (day >= 1) & (dates.astype("datetime64[M]") == months)
    seconds = dates.astype(np.int64) * _DAY_S + hour * 3600 + minute * 60 + second - _zone_offsets(zone)
    return timestamp_stamps(seconds * 1_000_000_000 + _nanoseconds(parts.to_series(6)), readable)


def _stamps_of_clock(parts: pl.DataFrame) -> Stamps:
    hour, minute, second = (_whole(parts.to_series(i)) for i in range(3))
    readable = parts.to_series(0).is_not_null().to_numpy()
    half = parts.to_series(4).str.to_uppercase().fill_null("").to_numpy()
    hour = np.where(half == "", hour, hour % 12 + np.where(half == "PM", 12, 0))
    ns = (hour * 3600 + minute * 60 + second) * 1_000_000_000 + _nanoseconds(parts.to_series(3))
    kept = ns[readable]
    steps = np.diff(kept, prepend=kept[:1])
    half_day = _DAY_S * 500_000_000
    late_back = np.cumsum(steps < -half_day) > np.cumsum(steps > half_day)
    days = np.cumsum((steps < -half_day).astype(np.int64) - ((steps > half_day) & _was(late_back)))
    ns[readable] = kept + days * _DAY_S * 1_000_000_000
    return Stamps(timestamp_stamps(ns, readable).t_s, "clock", None)


def _was(mask: BoolArray) -> BoolArray:
    """The same one row later."""
    return np.concatenate((mask[:1], mask[:-1]))


def _whole(part: pl.Series) -> IntArray:
    import polars as pl

    return part.cast(pl.Int64, strict=False).fill_null(0).to_numpy().astype(np.int64)


def _nanoseconds(fraction: pl.Series) -> IntArray:
    return _whole(fraction.fill_null("0").str.pad_end(9, "0"))


def _zone_offsets(zone: pl.Series) -> IntArray:
    digits = zone.str.replace_all(":", "").fill_null("")
    offset = _whole(digits.str.slice(1, 2)) * 3600 + _whole(digits.str.slice(3, 2)) * 60
    signed = digits.str.starts_with("-").to_numpy()
    return np.where(digits.str.contains(r"^[+-]").to_numpy(), np.where(signed, -offset, offset), 0)

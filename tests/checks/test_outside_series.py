"""Series measured by others, as PyPI packages carry them, read through the ordinary door.

The packages are for the tests alone; nothing of them is imported or copied. Numbers: `values.json`, ds-01 to
ds-09, computed without our code.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from parsers import read_log
from telemetry.log import Log
from tests.checks.published import approx, published

Values = NDArray[np.float64]


def series(identifier: str) -> Log:
    """The log of a published series; the test is skipped where its package is not installed."""
    place = Path(published(identifier)["inputs"]["file"])
    package = find_spec(place.parts[0])
    if package is None or package.origin is None:
        pytest.skip(f"{place.parts[0]} is not installed")
    return read_log(Path(package.origin).parent.joinpath(*place.parts[1:]))


def switched(values: Values, on: float, off: float) -> tuple[list[int], list[int]]:
    """Rows at which a level with hysteresis goes on and off."""
    state, rises, falls = bool(values[0] > on), [], []
    for row, value in enumerate(values.tolist()):
        if not state and value > on:
            state = True
            rises.append(row)
        elif state and value < off:
            state = False
            falls.append(row)
    return rises, falls


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Start and length of each run of True."""
    edges = np.diff(np.concatenate(([0], mask.astype(int), [0])))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return list(zip(starts.tolist(), (ends - starts).tolist(), strict=True))


def test_a_light_switches_on_and_off_at_the_published_rows() -> None:
    """Candanedo & Feldheim, Energy and Buildings 112 (2016): occupancy of an office, light in lux."""
    entry, log = published("ds-01"), series("ds-01")
    light = log.channels["V3"]

    assert log.repairs == ()
    assert (log.rows, log.dialect.time_unit) == (509, "iso8601")
    assert list(switched(light.values, entry["inputs"]["on"], entry["inputs"]["off"])) == entry["expected"]
    threshold = published("ds-02")["inputs"]["threshold"]
    steps = np.diff((light.values > threshold).astype(int))
    assert [int(np.sum(steps == 1)), int(np.sum(steps == -1))] == published("ds-02")["expected"]


def test_a_flow_meter_keeps_its_gaps_and_no_clock_change_makes_another() -> None:
    """Hourly flow in times with their offset, across the change to summer time (river's WaterFlow)."""
    log = series("ds-03")
    flow = log.channels["Water flow [l/s]"]
    hours = np.diff(log.t_s) / 3600
    gaps = hours[hours > 1]

    assert log.repairs == ()
    found = [log.rows, len(gaps), int(np.sum(gaps - 1)), int(np.sum(flow.values < 90))]
    assert found == published("ds-03")["expected"]
    assert log.start_epoch_s == 1647770400  # 2022-03-20T11:00:00+01:00


def test_a_pulse_sensor_drops_out_once() -> None:
    """117 Hz in milliseconds, with one long run of zeros (heartpy's second example)."""
    entry, log = published("ds-05"), series("ds-05")
    pulse = log.channels["hr"]
    longest = max(runs(pulse.values == 0), key=lambda run: run[1])

    assert log.repairs == ()
    assert (log.dialect.time_unit, log.rows) == ("ms", 15000)
    assert [*longest, (log.rows - 1) / log.span_s] == approx(entry)


def test_stamps_that_repeat_are_told_and_are_no_gaps() -> None:
    """A logger whose clock ticks 64 times a second, at 100 rows a second (heartpy's third example)."""
    log = series("ds-06")
    rows, unique, repeats, rate_hz, _ = published("ds-06")["expected"]

    assert [(repair.kind, repair.count, repair.cells) for repair in log.repairs] == [
        ("duplicate_time", repeats, repeats)
    ]
    assert (log.rows, len(log.channels["hr"].values)) == (rows, unique)
    assert (log.rows - 1) / log.span_s == approx(published("ds-06"), rate_hz)


def test_weeks_without_a_value_are_missing_and_no_rows_are_lost() -> None:
    """Weekly carbon dioxide by date, Keeling & Whorf (statsmodels' co2)."""
    log = series("ds-09")
    gas = log.channels["co2"]
    assert gas.rows is not None
    empty = np.ones(log.rows, dtype=bool)
    empty[gas.rows] = False
    lengths = [length for _, length in runs(empty)]

    assert log.repairs == ()
    assert [log.rows, gas.missing, len(lengths), max(lengths)] == published("ds-09")["expected"]
    assert set(np.diff(log.t_s)) == {7 * 86400.0}

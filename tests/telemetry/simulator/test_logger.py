"""What reaches the log of a known trace: rates, units, polarity, noise, losses."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.simulator import LoggerSpec, LogTable, SimulatedMatch, relog
from telemetry.simulator.machine import STEP_S


def log(match: SimulatedMatch, **settings: Any) -> LogTable:
    """The match as a logger of these settings writes it down."""
    return relog(match, LoggerSpec(**settings)).table


@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 60.0, 250.0])
def test_packets_come_at_the_rate_asked_for(clean: SimulatedMatch, rate_hz: float) -> None:
    table = log(clean, rate_hz=rate_hz, lost_fraction=0.0)
    span_s = (table.steps[-1] - table.steps[0]) * STEP_S
    assert (len(table.steps) - 1) / span_s == pytest.approx(rate_hz, rel=0.01)
    assert np.all(np.diff(table.steps) > 0)


def test_jitter_and_losses_are_what_was_asked_for(clean: SimulatedMatch) -> None:
    steady = np.diff(log(clean, jitter_s=0.0, lost_fraction=0.0).steps)
    assert np.all(steady == 20)
    shaken = np.diff(log(clean, jitter_s=0.002, lost_fraction=0.0).steps)
    assert np.std(shaken) * STEP_S == pytest.approx(0.002 * 2**0.5, rel=0.15)
    lossy = log(clean, jitter_s=0.0, lost_fraction=0.1).steps
    assert len(lossy) == pytest.approx(0.9 * (len(steady) + 1), rel=0.05)


def test_switches_may_be_polled_faster_than_numbers(clean: SimulatedMatch) -> None:
    table = log(clean, rate_hz=20.0, switch_rate_hz=200.0)
    assert len(table.column("beam.entry").values) == len(table.switch_steps) > 9 * len(table.steps)
    assert len(table.column("feed.current").values) == len(table.steps)


@pytest.mark.parametrize(("broken", "clear"), [(0, 1), (1, 0), (True, False), (False, True), ("cut", "open")])
def test_polarity_is_that_of_the_beam(clean: SimulatedMatch, broken: Any, clear: Any) -> None:
    entry, *others = clean.spec.tower.beams
    beams = (replace(entry, broken=broken, clear=clear), *others)
    spec = replace(clean.spec, tower=replace(clean.spec.tower, beams=beams))
    match = relog(replace(clean, spec=spec), clean.logger)
    values = match.table.column("beam.entry").values
    said = match.inputs.beams[0][match.table.switch_steps]
    assert said.any()
    assert all(value == (broken if yes else clear) for value, yes in zip(values, said, strict=True))


def test_units_are_told_by_the_names_and_kept_by_the_values(clean: SimulatedMatch) -> None:
    plain = log(clean, noise=0.0)
    other = log(
        clean, noise=0.0, current_unit="mA", voltage_unit="mV", speed_unit="rad_s", acceleration_unit="m_s2"
    )
    factors = {"feed.current": 1000, "battery.voltage": 1000, "feed.speed": np.pi / 30, "accel.x": 9.80665}
    for key, factor in factors.items():
        scale = np.abs(plain.column(key).values).max()
        assert (
            np.abs(other.column(key).values - plain.column(key).values * factor).max() < 0.02 * scale * factor
        )
    names = [other.column(key).name for key in factors]
    assert names == ["feed_current_ma", "battery_mv", "feed_rad_s", "accel_x_m_s2"]


def test_noise_is_about_as_large_as_said_and_differs_between_channels(clean: SimulatedMatch) -> None:
    table = log(clean)
    still = table.steps * STEP_S < 2.9
    left, right = (table.column(f"drive_{side}.current").values[still] for side in ("left", "right"))
    assert np.std(left) == pytest.approx(0.25, rel=0.3)
    assert abs(np.corrcoef(left, right)[0, 1]) < 0.3


def test_supply_side_current_is_winding_current_times_duty(clean: SimulatedMatch) -> None:
    feed = replace(clean.spec.feed, current_side="supply")
    winding = log(clean, noise=0.0)
    supply = log(replace(clean, spec=replace(clean.spec, feed=feed)), noise=0.0)
    duty = np.abs(winding.column("feed.duty").values)
    expected = winding.column("feed.current").values * duty
    assert np.abs(supply.column("feed.current").values - expected).max() < 0.11
    assert expected.max() > 10


def test_channels_can_be_left_out_and_renamed(clean: SimulatedMatch) -> None:
    table = log(clean, omit=("accel", "feed.speed"), names={"feed.current": "belt amps"})
    keys = [column.key for column in table.columns]
    assert not any(key.startswith("accel") for key in keys)
    assert "feed.speed" not in keys
    assert table.column("feed.current").name == "belt amps"


def test_a_rate_beyond_the_trace_is_refused() -> None:
    with pytest.raises(ValueError, match="1 to 1000 Hz, not 2000"):
        LoggerSpec(rate_hz=2000)

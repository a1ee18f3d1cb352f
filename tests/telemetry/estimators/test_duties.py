"""Commands in volts, per cent and as a duty: one and the same drive."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.estimators.duties import duty_of
from telemetry.estimators.motors import trace_motors
from tests.telemetry.building import robot_of
from tests.telemetry.logs import log_of, numbers

DUTY = np.array([0.0, 0.5, 1.0, -0.8])
BATTERY_V = np.array([12.5, 12.0, 11.0, 11.5])


@pytest.mark.parametrize(
    ("logged", "unit", "said"),
    [
        (DUTY, None, ""),
        (100 * DUTY, None, "taken for per cent: it goes to 100"),
        (DUTY * BATTERY_V, None, "taken for volts"),
        (DUTY * BATTERY_V, "V", "taken for volts"),
        (0.05 * DUTY * BATTERY_V, "V", "taken for volts"),
    ],
)
def test_a_command_is_a_duty_in_whatever_scale(logged: np.ndarray, unit: str | None, said: str) -> None:
    scale = 0.05 if unit == "V" and logged.max() < 1 else 1.0
    duty, notes = duty_of("feed", logged, unit, BATTERY_V)
    assert duty == pytest.approx(DUTY * scale)
    assert [said in note for note in notes] == ([True] if said else [])


def test_what_goes_far_beyond_is_no_command() -> None:
    duty, notes = duty_of("feed", 1023 * DUTY, None, BATTERY_V)
    assert np.isnan(duty).all()
    assert "goes to 1023, which is no duty" in notes[0]


def test_an_empty_command_stays_empty() -> None:
    duty, notes = duty_of("feed", np.full(4, np.nan), None, BATTERY_V)
    assert (np.isnan(duty).all(), notes) == (True, ())


@pytest.mark.parametrize(("name", "factor"), [("duty", 1.0), ("feed_out", 100.0), ("feed_out [%]", 100.0)])
def test_a_motor_is_driven_alike_by_each(name: str, factor: float) -> None:
    robot = robot_of(
        f'[motors.feed]\ncurrent = "feed_a"\ncommand = "{name}"\n[supply]\nvoltage = "battery_v"\n'
    )
    log = log_of(
        numbers("feed_a", [0.0, 20.0, 40.0, 30.0]),
        numbers(name, (factor * DUTY).tolist()),
        numbers("battery_v", BATTERY_V.tolist()),
    )
    trace = trace_motors(log, robot)["feed"]
    assert trace.command == pytest.approx(DUTY)
    assert trace.applied_v == pytest.approx(np.abs(DUTY) * BATTERY_V)

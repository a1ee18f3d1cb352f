"""Sensor faults against measured ones: the bounce of real switches, and a pulse sensor that fell silent."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from parsers import read_log
from telemetry.estimators.bursts import find_limit_bursts
from telemetry.estimators.lapses import find_lapses
from telemetry.match import Match, Phase
from telemetry.records.sensors import Switching
from tests.checks.published import approx, published
from tests.telemetry.building import robot_of


def _bouncing(settles_s: float, pressed_at_s: list[float]) -> Switching:
    """A switch that opens and closes eight times as it settles, each time it is pressed, logged on change."""
    edges_s = [0.0]
    for at_s in pressed_at_s:
        edges_s += (at_s + np.linspace(0.0, settles_s, 17)).tolist()
        edges_s.append(at_s + 2.0)
    return Switching(np.array(edges_s), np.arange(len(edges_s)) % 2 == 1, 60.0, 0.0)


@pytest.mark.parametrize("which", [0, 1, 3])
def test_the_bounce_of_real_switches_is_no_fault(which: int) -> None:
    """J. Ganssle, A Guide to Debouncing, part 1: bounce of real switches, mean, longest, one closing late."""
    settles_s = published("bo-01")["expected"][which] * 1e-6
    assert find_limit_bursts(_bouncing(settles_s, [5.0, 15.0, 25.0]), 0.06) == ()


def test_the_one_switch_that_never_settled_is() -> None:
    """The same guide: the longest of all, which its author threw away, bounced for 157 ms."""
    settles_s = published("bo-01")["expected"][2] * 1e-6
    assert len(find_limit_bursts(_bouncing(settles_s, [5.0, 15.0, 25.0]), 0.06)) == 3


def test_a_pulse_sensor_that_froze_is_found_where_it_did() -> None:
    """The heartpy package, release 1.2.7, data2.csv: 836 readings of zero, the next longest standstill 8."""
    check = published("ds-05")
    place = Path(check["inputs"]["file"])
    package = find_spec(place.parts[0])
    if package is None or package.origin is None:
        pytest.skip(f"{place.parts[0]} is not installed")
    log = read_log(Path(package.origin).parent.joinpath(*place.parts[1:]))
    end_s = float(log.t_s[-1])
    match = Match("pulse", 0.0, end_s, (0.0, end_s), (Phase("teleop", 0.0, end_s),), "whole log")
    robot = robot_of('[ranges.pulse]\nsignal = "hr"\n')
    ((lapse,),) = find_lapses(log, robot, match, np.empty((0, 2))).values()
    first, last = np.searchsorted(log.t_s, (lapse.start_s, lapse.end_s))
    assert lapse.kind == "frozen"
    assert [first, last - first] == approx(check, check["expected"][:2])

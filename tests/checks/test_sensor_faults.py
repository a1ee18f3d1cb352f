"""Sensor faults against published ones: bounce of switches, stuck values, spikes, shaken ground."""

from __future__ import annotations

import gzip
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from parsers import read_log
from telemetry.estimators.bursts import find_limit_bursts, without_short
from telemetry.estimators.contacts import find_contacts
from telemetry.estimators.lapses import find_lapses
from telemetry.estimators.ranges import find_range_use
from telemetry.log import FloatArray
from telemetry.match import Match, Phase
from telemetry.records.sensors import Switching
from telemetry.signals import runs, sta_lta, steps, trigger
from tests.checks.published import approx, published
from tests.telemetry.building import robot_of
from tests.telemetry.logs import log_of, numbers


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


def _read(levels: list[int]) -> Switching:
    """A switch read once a second, on where it reads 1."""
    t_s, on = steps(np.arange(len(levels), dtype=float), np.array(levels) == 1)
    return Switching(t_s, on, float(len(levels)), 1.0)


def _without(signal: Switching, least_s: float) -> Switching:
    return without_short(signal, least_s, np.ones(len(signal.t_s), dtype=bool))


def test_bo_03_a_counter_takes_a_level_that_it_has_read_so_often() -> None:
    """By definition; it answers with the last of the readings, our debounce with the first."""
    check = published("bo-03")
    count = check["inputs"]["n"]
    clean = _without(_read(check["inputs"]["x"]), count)
    answers = np.flatnonzero(np.diff(check["expected"])) + 1
    assert (clean.t_s[1:] + count - 1).tolist() == answers.tolist()


def test_bo_02_a_shift_register_reports_a_press_eleven_readings_later() -> None:
    """J. Ganssle, A Guide to Debouncing, part 2: twelve closed readings after one open report a press.

    Opened for three readings it counts again, so the debounce beside it is one of three.
    """
    check = published("bo-02")
    clean = _without(_read([1 - bit for bit in check["inputs"]["open_bits"]]), 3)
    assert (clean.t_s[clean.on] + 11).tolist() == check["expected"]


def test_qc_04_stuck_values() -> None:
    """U.S. IOOS, QARTOD manual for temperature and salinity, flat line test, by runs of equal readings."""
    check = published("qc-04")
    read = np.array(check["inputs"]["x"])
    repeated = np.zeros(len(read), dtype=int)
    for start, stop in zip(*runs(np.abs(np.diff(read)) <= check["inputs"]["eps"]), strict=True):
        repeated[start : stop + 1] = np.arange(stop - start + 1)
    flags = np.where(
        repeated >= check["inputs"]["fail"], 4, np.where(repeated >= check["inputs"]["suspect"], 3, 1)
    )
    assert flags.tolist() == check["expected"]


@pytest.mark.parametrize("apart_s", [0.02, 0.04])
def test_qc_02_the_spike_is_a_jump_and_the_step_is_none(apart_s: float) -> None:
    """The same manual, spike test: it fails reading 3, and suspects both sides of the step at 14 and 15.

    A jump of ours must also come back. The last reading, whose outcome is open, is none; their test fails its
    neighbour.
    """
    check = published("qc-02")
    read = check["inputs"]["x"]
    log = log_of(numbers("range", read, (np.arange(len(read)) * apart_s).tolist()))
    use = find_range_use(log, robot_of('[ranges.hopper]\nsignal = "range"\nnear = 3\n'))["hopper"]
    jumps = np.round(use.jumps_s / apart_s).astype(int).tolist()
    assert jumps == [3]
    assert [check["expected"][number] for number in (3, 14, 15)] == [4, 3, 3]


def _packaged(identifier: str) -> Path:
    place = Path(published(identifier)["inputs"]["file"])
    package = find_spec(place.parts[0])
    if package is None or package.origin is None:
        pytest.skip(f"{place.parts[0]} is not installed")
    return Path(package.origin).parent.joinpath(*place.parts[1:])


def test_ds_07_shaken_ground_triggers_where_it_should() -> None:
    """The obspy package, release 1.5.1, its example stream: ratio of 5 s to 10 s at 100 readings a second."""
    check = published("ds-07")
    with np.load(_packaged("ds-07"), allow_pickle=False) as stream:
        ratio = sta_lta(stream[check["inputs"]["key"]].astype(float), 500, 1000)
    found = [float(ratio.max()), int(ratio.argmax()), *trigger(ratio, 1.5, 0.5).ravel().tolist()]
    assert found == approx(check)


def _axis(place: Path, axis: str) -> FloatArray:
    text = gzip.decompress(place.with_name(place.name.replace("SHZ", axis)).read_bytes()).decode("ascii")
    return np.array(text.split("\n", 1)[1].split(), dtype=float)


def test_ds_08_each_of_three_tremors_is_a_contact() -> None:
    """The obspy package, release 1.5.1: one of four stations that saw the same three events, 50 Hz.

    Their trigger sees the first, upright waves; sideways the ground follows within two seconds. Twelve times
    the noise of a reading stands in for the floor in g. One tremor more, which only this station saw,
    is allowed.
    """
    check, place = published("ds-08"), _packaged("ds-08")
    east, north = _axis(place, "SHE"), _axis(place, "SHN")
    noise = 1.4826 * float(np.median(np.abs(np.diff(east))))
    t_s = (np.arange(len(east)) / 50).tolist()
    log = log_of(numbers("x_g", (east / noise).tolist(), t_s), numbers("y_g", (north / noise).tolist(), t_s))
    robot = robot_of('[contact]\naccelerometer = ["x_g", "y_g"]\nthreshold_g = 12.0\n')
    at = np.array([contact.t_s for contact in find_contacts(log, robot)]) * 50
    since = at[:, None] - np.array(check["expected"])
    assert ((since >= 0) & (since <= 100)).any(axis=0).all()
    assert ((since < 0) | (since > 500)).all(axis=1).sum() <= 1


def test_a_pulse_sensor_that_froze_is_found_where_it_did() -> None:
    """The heartpy package, release 1.2.7, data2.csv: 836 readings of zero, the next longest standstill 8."""
    check = published("ds-05")
    log = read_log(_packaged("ds-05"))
    end_s = float(log.t_s[-1])
    match = Match("pulse", 0.0, end_s, (0.0, end_s), (Phase("teleop", 0.0, end_s),), "whole log")
    robot = robot_of('[ranges.pulse]\nsignal = "hr"\n')
    ((lapse,),) = find_lapses(log, robot, match, np.empty((0, 2))).values()
    first, last = np.searchsorted(log.t_s, (lapse.start_s, lapse.end_s))
    assert lapse.kind == "frozen"
    assert [first, last - first] == approx(check, check["expected"][:2])

"""The judge: every step and detector runs, whatever breaks, and whatever little there is."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from telemetry import judge as judging
from telemetry.analysis import Analysis
from telemetry.detectors import DETECTORS, Detector
from telemetry.finding import KINDS, Check, Verdict
from telemetry.judge import judge
from telemetry.log import Log
from telemetry.robot import Robot
from tests.telemetry.building import change_logged, clock, held, passing, robot_of, sampled_switch
from tests.telemetry.logs import log_of, numbers, switch, words

ROBOT = robot_of("""
[robot]
capacity = 3
[match]
phase = "mode"
[motors.feed]
current = "feed_a"
command = "duty"
speed = "feed_rpm"
free_speed_rpm = 5300
free_current_a = 1.8
stall_current_a = 130
stall_torque_nm = 2.4
continuous_current_a = 32
heating_time_constant_s = 90
[beams.entry]
signal = "entry"
station = 1
unplugged = "clear"
[beams.gate]
signal = "gate"
station = 2
[limits.low]
signal = "low"
[launcher]
motor = "feed"
[contact]
accelerometer = ["ax_g", "ay_g"]
[supply]
voltage = "battery_v"
""")


def _still(t_s: list[float]) -> Log:
    """Every channel of the robot, nothing happening."""
    n = len(t_s)
    levels = {"feed_a": 1.0, "duty": 0.5, "feed_rpm": 2500.0, "ax_g": 0.0, "ay_g": 0.0, "battery_v": 12.0}
    return log_of(
        words("mode", ["teleop"] * n, t_s),
        *(numbers(name, [level] * n, t_s) for name, level in levels.items()),
        *(switch(name, [0] * n, t_s) for name in ("entry", "gate", "low")),
    )


def _eventful() -> Log:
    """A jam, a dip, and a limit that bounces, in a match of 50 s."""
    t_s = clock(60)
    mode = np.where((t_s >= 5) & (t_s < 55), 1, 0)
    return log_of(
        words("mode", [("disabled", "teleop")[on] for on in mode.tolist()], t_s.tolist()),
        held("feed_a", t_s, {(20, 22): 65.0}, rest=1.0),
        held("duty", t_s, {(20, 22): 0.5}),
        held("feed_rpm", t_s, {}),
        held("battery_v", t_s, {(30, 31.5): 8.0}, rest=12.0),
        sampled_switch("low", t_s, [(40 + 0.08 * k, 40.04 + 0.08 * k) for k in range(8)]),
        *(sampled_switch(name, t_s, passing([10.0, 15.0])) for name in ("entry", "gate")),
    )


def _one(log: Log, robot: Robot = ROBOT) -> Analysis:
    (analysis,) = judge(log, robot, name="match-01")
    return analysis


def _check(analysis: Analysis, kind: str, subject: str) -> Check:
    return next(check for check in analysis.checks if (check.kind, check.subject) == (kind, subject))


@pytest.fixture(scope="module")
def usual() -> Analysis:
    return _one(_eventful())


def _breaks(*_: Any, **__: Any) -> Any:
    raise ZeroDivisionError("made to break")


# Whole


def test_an_eventful_match(usual: Analysis) -> None:
    assert usual.failures == ()
    assert [(f.kind, f.subject) for f in usual.findings] == [
        ("stall", "feed"), ("voltage_dip", "supply"), ("limit_bounce", "low"),
    ]  # fmt: skip
    assert [action.subject for action in usual.pit_list] == ["feed", "supply", "low"]
    assert usual.sensors["low"].transitions == 16


def test_each_check_says_what_its_detector_found(usual: Analysis) -> None:
    found = {(f.kind, f.subject) for f in usual.findings}
    for check in usual.checks:
        assert (check.verdict is Verdict.FOUND) == ((check.kind, check.subject) in found)
        assert (check.verdict is Verdict.NOT_EVALUATED) == (check.reason is not None)


def test_there_is_a_check_for_every_detector_and_subject(usual: Analysis) -> None:
    expected = [(detector.kind, subject) for detector in DETECTORS for subject in detector.subjects(ROBOT)]
    assert [(check.kind, check.subject) for check in usual.checks] == expected
    assert {detector.kind for detector in DETECTORS} <= set(KINDS)
    assert len(set(expected)) == len(expected)


def test_judging_twice_is_the_same_and_changes_nothing() -> None:
    log = _eventful()
    before = {name: channel.values.tolist() for name, channel in log.channels.items()}
    first, second = _one(log), _one(log)
    assert first.findings == second.findings
    assert (first.pieces, first.cycles, first.pit_list) == (second.pieces, second.cycles, second.pit_list)
    assert {name: channel.values.tolist() for name, channel in log.channels.items()} == before


def test_it_is_noted_where_the_drive_tells_no_hits_either() -> None:
    robot = robot_of('[motors.left]\ncurrent = "left_a"\n[contact]\ndrive = ["left"]\n')
    notes = " ".join(_one(log_of(numbers("left_a", [1.0] * 50)), robot).notes)
    assert "hits cannot be told from the drive motors either" in notes


def test_what_cannot_be_looked_at_is_noted() -> None:
    notes = " ".join(_one(log_of(numbers("load_a", [1] * 50)), robot_of("")).notes)
    assert "No accelerometer" in notes
    assert "No beam" in notes
    assert "never enabled" in notes


@pytest.mark.parametrize(("enabled_s", "said"), [(0.0, "never enabled"), (12.0, "enabled for 12.0 s only")])
def test_how_long_it_was_enabled_is_told_where_that_is_no_match(enabled_s: float, said: str) -> None:
    t_s = clock(60)
    mode = [("disabled", "teleop")[bool(5 <= at < 5 + enabled_s)] for at in t_s.tolist()]
    notes = " ".join(_one(log_of(words("mode", mode, t_s.tolist()))).notes)
    assert f"The robot was {said} in this log: it is judged whole, as one match." in notes


# Hardly anything


@pytest.mark.parametrize(
    "t_s", [[], [0.0], [0.0, 0.02], [0.0, 0.0], [0.0] * 5, [0.0, 90.0], [0.02 * k for k in range(12)]]
)
def test_a_log_of_a_few_rows_breaks_nothing(t_s: list[float]) -> None:
    for analysis in judge(_still(t_s), ROBOT, name="match-01"):
        assert analysis.failures == ()
        assert analysis.findings == ()


@pytest.mark.parametrize("robot", [Robot(), ROBOT])
def test_a_log_without_channels_breaks_nothing(robot: Robot) -> None:
    assert _one(log_of(), robot).failures == ()


def test_channels_without_a_value_break_nothing() -> None:
    empty = [numbers(name, []) for name in ("feed_a", "duty", "feed_rpm", "ax_g", "ay_g", "battery_v")]
    switches = [switch(name, []) for name in ("entry", "gate", "low")]
    log = log_of(numbers("load_a", [0.0] * 100), words("mode", []), *empty, *switches)
    assert _one(log).failures == ()


def test_a_log_of_changes_breaks_nothing() -> None:
    log = log_of(*(change_logged(name, passing([10.0, 20.0])) for name in ("entry", "gate", "low")))
    analysis = _one(log)
    assert analysis.failures == ()
    assert _check(analysis, "log_gap", "log").verdict is Verdict.NOT_EVALUATED


def test_a_motor_at_rest_throughout_is_told_as_never_driven() -> None:
    t_s = clock(40)
    log = log_of(held("feed_a", t_s, {}, rest=0.1), held("duty", t_s, {}), held("feed_rpm", t_s, {}))
    assert _check(_one(log), "stall", "feed").reason == "it was never driven"


HOSTILE = [
    "<script>alert(1)</script>",
    "=HYPERLINK(0)",
    "../../etc",
    "a\nb",
    "\x1b[31m",
    "{0}{x}%s",
    "  ",
    "☃" * 150,
]


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_break_nothing(name: str) -> None:
    roles = ROBOT.model_dump()
    roles["motors"] = {name: roles["motors"]["feed"]}
    roles["launcher"] = {"motor": name}
    roles["limits"] = {f"{name} limit": roles["limits"]["low"]}
    roles["beams"] = {f"{name} beam": roles["beams"]["entry"]}
    analysis = _one(_eventful(), Robot.model_validate(roles))
    assert analysis.failures == ()
    assert {(f.kind, f.subject) for f in analysis.findings} == {
        ("stall", name), ("voltage_dip", "supply"), ("limit_bounce", f"{name} limit"),
    }  # fmt: skip


# What breaks

LIMIT_KINDS = {"limit_overrun", "limit_conflict", "limit_missed", "limit_stray"}


def test_a_detector_that_breaks_is_told_and_the_others_run(monkeypatch: pytest.MonkeyPatch) -> None:
    broken = Detector("dropout", "Broken", lambda _robot: ("entry",), _breaks)
    monkeypatch.setattr(judging, "DETECTORS", (broken, *DETECTORS[1:]))
    analysis = _one(_eventful())
    assert analysis.failures == ("dropout of entry: ZeroDivisionError: made to break",)
    check = _check(analysis, "dropout", "entry")
    assert check.verdict is Verdict.NOT_EVALUATED
    assert check.reason == "this check broke (ZeroDivisionError: made to break)"
    assert {f.kind for f in analysis.findings} == {"stall", "voltage_dip", "limit_bounce"}


@pytest.mark.parametrize(
    ("function", "step", "kinds"),
    [
        ("find_gaps", "gaps", {"log_gap"}),
        ("read_limits", "switches", {"dropout", "chatter", "limit_bounce", *LIMIT_KINDS}),
        ("find_limit_bursts", "bursts", {"dropout", "chatter", "limit_bounce"}),
        (
            "find_stalls",
            "motor_states",
            {"stall", "near_stall", "no_draw", "breaker_cycling", "limit_missed"},
        ),
        ("find_travels", "limits", LIMIT_KINDS),
        ("judge_supply", "supply", {"voltage_dip", "brownout", "source_resistance"}),
        ("estimate_pieces", "pieces", {"dropout"}),
    ],
)
def test_what_rests_on_a_step_that_breaks_is_not_judged_and_the_rest_is(
    monkeypatch: pytest.MonkeyPatch, usual: Analysis, function: str, step: str, kinds: set[str]
) -> None:
    before = {(check.kind, check.subject): check for check in usual.checks}
    monkeypatch.setattr(judging, function, _breaks)
    analysis = _one(_eventful())
    assert f"{step}: ZeroDivisionError: made to break" in analysis.failures
    for check in analysis.checks:
        if check.kind in kinds:
            assert check.verdict is Verdict.NOT_EVALUATED
        else:
            assert check == before[check.kind, check.subject]


@pytest.mark.parametrize("function", ["find_contacts", "find_cycles", "sum_up_sensors"])
def test_a_step_that_no_detector_rests_on_costs_none(
    monkeypatch: pytest.MonkeyPatch, usual: Analysis, function: str
) -> None:
    monkeypatch.setattr(judging, function, _breaks)
    analysis = _one(_eventful())
    assert len(analysis.failures) == 1
    assert "made to break" in analysis.failures[0]
    assert analysis.checks == usual.checks

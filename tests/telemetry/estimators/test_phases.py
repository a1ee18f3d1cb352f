"""Matches and phases: from the phase channel, from what the motors did, or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from telemetry.estimators.phases import find_matches
from telemetry.log import Log
from telemetry.match import Match
from tests.telemetry.building import RATES_HZ, clock, held, inside, robot_of
from tests.telemetry.logs import log_of, numbers, words

BY_CHANNEL = robot_of('[match]\nphase = "mode"\n')
BY_MOTOR = robot_of('[motors.feed]\ncommand = "duty"\ncurrent = "feed_a"\n')

Told = Sequence[tuple[float, str]]


def _told(told: Told, length_s: float, *, rate_hz: float = 50.0, jitter: float = 0.0) -> Log:
    """A log whose mode channel reads a word from each instant on."""
    t_s = clock(length_s, rate_hz, jitter=jitter)
    index = np.searchsorted([at for at, _ in told], t_s, side="right") - 1
    return log_of(words("mode", [told[max(i, 0)][1] for i in index.tolist()], t_s.tolist()))


def _named(match: Match) -> list[str]:
    return [phase.phase for phase in match.phases]


def _starts(match: Match) -> list[float]:
    return [phase.start_s for phase in match.phases]


def _covers_its_window(match: Match) -> bool:
    meets = all(left.end_s == right.start_s for left, right in pairwise(match.phases))
    return meets and (match.phases[0].start_s, match.phases[-1].end_s) == match.window_s


# From the channel


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("jitter", [0.0, 0.3])
def test_a_match_at_any_rate(rate_hz: float, jitter: float) -> None:
    told = [(0, "disabled"), (3, "auto"), (18, "teleop"), (153, "disabled")]
    (match,) = find_matches(_told(told, 160, rate_hz=rate_hz, jitter=jitter), BY_CHANNEL, stem="m")
    assert (match.name, match.source) == ("m", "channel")
    assert _named(match) == ["disabled", "autonomous", "teleop", "endgame", "disabled"]
    within = (1 + 2 * jitter) / rate_hz
    assert _starts(match) == pytest.approx([0, 3, 18, 123, 153], abs=within)
    assert (match.start_s, match.end_s) == pytest.approx((3, 153), abs=within)
    assert _covers_its_window(match)


def test_an_endgame_told_by_the_channel_is_taken_as_it_is() -> None:
    told = [(0, "auto"), (15, "teleop"), (100, "endgame"), (150, "disabled")]
    robot = robot_of('[match]\nphase = "mode"\nendgame_s = 0\n')
    (match,) = find_matches(_told(told, 160), robot, stem="m")
    assert _named(match) == ["autonomous", "teleop", "endgame", "disabled"]
    assert _starts(match) == pytest.approx([0, 15, 100, 150])


def test_the_endgame_is_the_last_part_of_teleop_though_a_pause_comes_before() -> None:
    told = [(0, "auto"), (15, "disabled"), (18, "teleop"), (153, "disabled")]
    (match,) = find_matches(_told(told, 160), BY_CHANNEL, stem="m")
    endgame = next(phase for phase in match.phases if phase.phase == "endgame")
    assert (endgame.start_s, endgame.end_s) == pytest.approx((123, 153))


def test_a_reboot_in_the_endgame_is_followed_by_endgame() -> None:
    told = [(0, "auto"), (15, "teleop"), (130, "disabled"), (133, "teleop"), (150, "disabled")]
    (match,) = find_matches(_told(told, 160), BY_CHANNEL, stem="m")
    assert _named(match) == ["autonomous", "teleop", "endgame", "disabled", "endgame", "disabled"]


@pytest.mark.parametrize(
    ("word", "phase"), [("AUTO", "autonomous"), ("Teleop", "teleop"), ("driver", "teleop")]
)
def test_usual_words_are_known(word: str, phase: str) -> None:
    (match,) = find_matches(_told([(0, word)], 30), BY_CHANNEL, stem="m")
    assert _named(match)[0] == phase


def test_the_robot_file_names_its_own_values() -> None:
    robot = robot_of('[match]\nphase = "mode"\n[match.values]\nautonomous = [1]\nteleop = [2, 7]\n')
    mode = numbers("mode", [0] * 5 + [1] * 15 + [2] * 30 + [7] * 30 + [0] * 10)
    (match,) = find_matches(log_of(mode), robot, stem="m")
    assert [(p.phase, p.start_s) for p in match.enabled()] == [("autonomous", 5), ("teleop", 20)]
    assert (match.start_s, match.end_s) == (5, 80)


def test_a_change_logged_phase_lasts_until_the_next() -> None:
    mode = replace(words("mode", ["disabled", "auto", "teleop", "disabled"], [0, 3, 18, 153]), sampled=False)
    (match,) = find_matches(log_of(mode, numbers("load_a", range(161))), BY_CHANNEL, stem="m")
    assert _starts(match) == pytest.approx([0, 3, 18, 123, 153])


# Several matches, or none


@pytest.mark.parametrize(("pause_s", "number"), [(9.9, 1), (10.1, 2)])
def test_less_than_ten_seconds_apart_is_one_match(pause_s: float, number: int) -> None:
    told = [(0, "teleop"), (30, "disabled"), (30 + pause_s, "teleop"), (80, "disabled")]
    assert len(find_matches(_told(told, 90), BY_CHANNEL, stem="m")) == number


@pytest.mark.parametrize(("lasting_s", "source"), [(19.9, "whole log"), (20.1, "channel")])
def test_a_match_has_twenty_seconds_at_least(lasting_s: float, source: str) -> None:
    told = [(0, "disabled"), (5, "teleop"), (5 + lasting_s, "disabled")]
    (match,) = find_matches(_told(told, 60), BY_CHANNEL, stem="m")
    assert match.source == source


def test_two_matches_share_out_the_log() -> None:
    told = [(0, "disabled"), (5, "teleop"), (45, "disabled"), (85, "teleop"), (125, "disabled")]
    first, second = find_matches(_told(told, 130), BY_CHANNEL, stem="practice")
    assert (first.name, second.name) == ("practice", "practice-2")
    assert first.window_s == pytest.approx((0, 65))
    assert second.window_s[0] == first.window_s[1]
    assert second.window_s[1] > 129.98
    assert _covers_its_window(first)
    assert _covers_its_window(second)


def test_a_short_enabling_between_two_matches_is_neither() -> None:
    told = [(0, "teleop"), (40, "disabled"), (60, "teleop"), (65, "disabled"), (90, "teleop"), (130, "off")]
    matches = find_matches(_told(told, 140), BY_CHANNEL, stem="m")
    assert [match.start_s for match in matches] == pytest.approx([0, 90])


def test_nothing_enabled_is_the_whole_log_as_one() -> None:
    (match,) = find_matches(_told([(0, "disabled")], 60), BY_CHANNEL, stem="m")
    assert match.source == "whole log"
    assert match.window_s[0] == 0.0
    assert match.window_s[1] > 59.98
    assert match.enabled_s == 0


def test_a_log_of_nothing_is_one_match() -> None:
    (match,) = find_matches(log_of(), BY_CHANNEL, stem="m")
    assert (match.source, match.start_s, match.end_s) == ("whole log", 0.0, 0.0)


# From what the motors did


def test_phases_are_inferred_from_commands() -> None:
    t_s = clock(170)
    (match,) = find_matches(log_of(held("duty", t_s, {(5, 155): 0.4})), BY_MOTOR, stem="m")
    assert match.source == "activity"
    assert [(p.phase, round(p.start_s, 2)) for p in match.enabled()] == [
        ("autonomous", 5.0), ("teleop", 20.0), ("endgame", 125.0),
    ]  # fmt: skip
    assert match.end_s == pytest.approx(155, abs=0.02)
    assert _covers_its_window(match)


@pytest.mark.parametrize(("command", "source"), [(0.04, "whole log"), (0.06, "activity")])
def test_a_command_of_five_percent_moves(command: float, source: str) -> None:
    t_s = clock(60)
    (match,) = find_matches(log_of(held("duty", t_s, {(5, 45): -command})), BY_MOTOR, stem="m")
    assert match.source == source


def test_phases_are_inferred_from_currents() -> None:
    t_s = clock(60)
    (match,) = find_matches(log_of(held("feed_a", t_s, {(5, 45): 8.0}, rest=0.5)), BY_MOTOR, stem="m")
    assert (match.start_s, match.end_s) == pytest.approx((5, 45), abs=0.02)


@pytest.mark.parametrize(("pause_s", "number"), [(9.9, 1), (10.1, 2)])
def test_motors_at_rest_for_ten_seconds_part_two_matches(pause_s: float, number: int) -> None:
    t_s = clock(90)
    log = log_of(held("duty", t_s, {(0, 30): 0.5, (30 + pause_s, 80): 0.5}))
    assert len(find_matches(log, BY_MOTOR, stem="m")) == number


def test_a_command_logged_when_it_changes_holds_until_then() -> None:
    duty = replace(numbers("duty", [0, 0.5, 0.6, 0], [0, 5, 6, 100]), sampled=False)
    log = log_of(duty, numbers("battery_v", [12] * 121))
    (match,) = find_matches(log, BY_MOTOR, stem="m")
    assert (match.start_s, match.end_s) == pytest.approx((5, 100))


# Phase at an instant


def test_the_phase_at_an_instant_is_half_open() -> None:
    told = [(0, "disabled"), (3, "auto"), (18, "teleop"), (153, "disabled")]
    (match,) = find_matches(_told(told, 160), BY_CHANNEL, stem="m")
    at = [match.phase_at(t) for t in (-1.0, 2.99, 3.0, 17.99, 18.0, 152.99, 153.0, 500.0)]
    assert at == [
        "disabled", "disabled", "autonomous", "autonomous", "teleop", "endgame", "disabled", "disabled",
    ]  # fmt: skip


def test_a_gap_while_enabled_is_one_match() -> None:
    t_s = clock(60)
    t_s = t_s[~inside(t_s, [(20, 24)])]
    log = log_of(words("mode", ["teleop"] * len(t_s), t_s.tolist()))
    (match,) = find_matches(log, BY_CHANNEL, stem="m")
    assert match.end_s > 59.9
    assert match.enabled_s == pytest.approx(56, abs=0.1)

"""The match again, tick by tick."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from reports.replay import HEADING, event_line, state_json, state_line, states_of
from reports.terminal import KEYS, Pace, play
from telemetry.analysis import Analysis
from tests.reports.synthetic_match import bare_analysis, hostile_analysis, synthetic_analysis


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return synthetic_analysis()


def test_a_state_for_every_second_of_the_match(analysis: Analysis) -> None:
    states = list(states_of(analysis))

    assert [state.match_s for state in states] == pytest.approx(range(151))
    assert {state.phase for state in states} == {"autonomous", "teleop", "endgame", "disabled"}


def test_from_and_to_and_any_tick(analysis: Analysis) -> None:
    states = list(states_of(analysis, from_s=58.0, to_s=59.0, tick_s=0.25))

    assert [state.match_s for state in states] == pytest.approx([58.0, 58.25, 58.5, 58.75, 59.0])


def test_a_tick_of_nothing_is_refused(analysis: Analysis) -> None:
    with pytest.raises(ValueError, match="longer than nothing"):
        next(states_of(analysis, tick_s=0.0))


def test_the_state_is_that_of_the_instant(analysis: Analysis) -> None:
    [state] = states_of(analysis, from_s=59.0, to_s=59.0)
    limit = analysis.limits["arm_low"]

    assert state.phase == "teleop"
    assert state.limits["arm_low"] == bool(limit.on[limit.t_s <= state.t_s][-1])
    heats = {name: float(trace.heat[trace.t_s <= state.t_s][-1]) for name, trace in analysis.motors.items()}
    assert state.hottest == max(heats, key=heats.__getitem__)
    assert state.heat == pytest.approx(heats[state.hottest])


def test_every_event_from_the_start_comes_once_and_not_before_its_time(analysis: Analysis) -> None:
    states = list(states_of(analysis, tick_s=0.5))
    events = [(event.t_s, state.t_s) for state in states for event in state.events]
    told = [event.words for state in states for event in state.events]

    assert all(tick_s - 0.5 - 1e-6 < t_s <= tick_s + 1e-6 for t_s, tick_s in events)
    assert sum(words.startswith("hit") for words in told) == len(analysis.contacts)
    assert any(words.startswith("finding 3 begins: feed: stalled") for words in told)


def test_a_line_tells_the_state_without_colour_in_columns(analysis: Analysis) -> None:
    [state] = states_of(analysis, from_s=59.0, to_s=59.0)

    line = state_line(state)

    assert line.startswith("0:59.0   teleop")
    assert line[HEADING.index("hottest") :].startswith(state.hottest)
    assert "\x1b" not in line
    assert len(line) <= 110


def test_names_of_a_hostile_log_cannot_steer_the_terminal() -> None:
    lines = []
    analysis = hostile_analysis()
    for state in states_of(analysis, tick_s=5.0):
        lines += [state_line(state), *(event_line(event, analysis.match.start_s) for event in state.events)]

    assert any("<img src=x" in line for line in lines)
    assert all(line.isprintable() for line in lines)


def test_what_is_not_known_is_a_dash_and_null() -> None:
    analysis = bare_analysis()
    [state] = states_of(analysis, from_s=10.0, to_s=10.0)

    assert state_line(state).split() == ["0:10.0", "disabled", "–", "–", "–", "–", "–"]
    told = json.loads(json.dumps(state_json(state, "m"), allow_nan=False))
    assert (told["aboard"], told["voltage_v"], told["hottest"]["motor"]) == (None, None, None)


def test_inside_a_gap_nothing_is_known(analysis: Analysis) -> None:
    feed = analysis.motors["feed"]
    early = feed.t_s < 20.0
    cut = replace(feed, **{name: getattr(feed, name)[early] for name in ("t_s", "current_a", "heat")})

    [state] = states_of(replace(analysis, motors={"feed": cut}), from_s=60.0, to_s=60.0)

    assert (state.hottest, state.heat) == (None, None)


class Clock:
    """Time that passes only while a key is waited for; keys come after so many seconds."""

    def __init__(self, keys: list[tuple[float, str]]) -> None:
        self.now_s = 0.0
        self.keys = keys

    def listen(self, most_s: float) -> str:
        if self.keys and self.keys[0][0] <= self.now_s + most_s:
            at_s, key = self.keys.pop(0)
            self.now_s = max(at_s, self.now_s)
            return key
        self.now_s += most_s
        return ""


def played(keys: list[tuple[float, str]], ticks: int = 5, speed: float = 1.0) -> list[tuple[float, str]]:
    clock, told = Clock(keys), []
    play(
        ([f"tick {n}"] for n in range(ticks)),
        Pace(speed),
        tick_s=1.0,
        listen=clock.listen,
        show=lambda line: told.append((round(clock.now_s, 3), line)),
        now=lambda: clock.now_s,
    )
    return told


def test_it_runs_at_its_own_pace() -> None:
    assert played([], ticks=3) == [(0.0, "tick 0"), (1.0, "tick 1"), (2.0, "tick 2")]
    assert played([], ticks=3, speed=4.0)[-1] == (0.5, "tick 2")


def test_pause_step_go() -> None:
    told = played([(0.5, "g"), (10.0, "n"), (20.0, "n"), (30.0, "g")])

    assert told[1] == (0.5, f"paused: {KEYS}")
    assert [at_s for at_s, line in told if line.startswith("tick ")] == [0.0, 10.0, 20.0, 30.0, 31.0]


def test_faster_slower_and_quit() -> None:
    told = played([(0.2, "f"), (0.3, "f"), (0.4, "s"), (1.9, "q")], ticks=100)

    assert [line for _, line in told if line.startswith("speed")] == ["speed ×2", "speed ×4", "speed ×2"]
    assert [entry for entry in told if entry[1].startswith("tick")][:3] == [
        (0.0, "tick 0"), (0.3, "tick 1"), (0.8, "tick 2"),
    ]  # fmt: skip
    assert told[-1][0] < 1.9

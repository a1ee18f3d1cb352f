"""The story of the pieces on logs written by hand: counts, times, and beams that lie."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest

from telemetry.log import Log
from telemetry.records.pieces import BeamHealth, Pieces
from telemetry.robot import Robot
from tests.telemetry.building import (
    change_logged,
    clock,
    inside,
    passing,
    robot_of,
    sampled_switch,
)
from tests.telemetry.logs import log_of, words
from tests.telemetry.piece_stories import story_of

PATH = ("entry", "middle", "gate")
LENGTH_S = 90.0
STARTS_S, ENDS_S = 3.0, 85.0

Broken = Mapping[str, Sequence[tuple[float, float]]]

IN_S = (10.0, 12.0, 14.0, 40.0, 42.0, 44.0)
OUT_S = (20.0, 21.0, 22.0, 60.0, 61.0, 62.0)


def _robot(*, preload: int = 0, broken: int = 1, path: Sequence[str] = PATH, capacity: int = 3) -> Robot:
    beams = "".join(
        f'[beams."{name}"]\nsignal = "{name}"\nbroken = {broken}\nstation = {station}\nunplugged = "clear"\n'
        for station, name in enumerate(path, start=1)
    )
    return robot_of(f'[robot]\ncapacity = {capacity}\npreload = {preload}\n[match]\nphase = "mode"\n{beams}')


def _passes(in_s: Sequence[float] = IN_S, out_s: Sequence[float] = OUT_S, shift_s: float = 0.0) -> Broken:
    """Each piece passes the entry, half a second later the middle, and rests until it leaves by the gate."""
    return {
        "entry": passing([at + shift_s for at in in_s]),
        "middle": passing([at + 0.5 + shift_s for at in in_s]),
        "gate": passing([at + shift_s for at in out_s]),
    }


def _log(
    beams: Broken,
    *,
    rate_hz: float = 50.0,
    jitter: float = 0.0,
    on_value: int = 1,
    shift_s: float = 0.0,
    without: Sequence[tuple[float, float]] = (),
    changes_only: bool = False,
) -> Log:
    t_s = clock(LENGTH_S + shift_s, rate_hz, jitter=jitter)
    t_s = t_s[~inside(t_s, without)]
    enabled = inside(t_s, [(STARTS_S + shift_s, ENDS_S + shift_s)])
    mode = words("mode", [("disabled", "teleop")[int(on)] for on in enabled], t_s.tolist())
    signals = [
        change_logged(name, on, on_value=on_value)
        if changes_only
        else sampled_switch(name, t_s, on, on_value=on_value)
        for name, on in beams.items()
    ]
    return log_of(mode, *signals)


def _told(log: Log, robot: Robot | None = None) -> Pieces:
    story = story_of(log, robot or _robot())
    assert story is not None
    return story


def _aboard_at(story: Pieces, t_s: float) -> int:
    return [step.aboard for step in story.timeline if step.start_s <= t_s][-1]


def _sick(story: Pieces, beam: str) -> tuple[BeamHealth, ...]:
    return story.beam_health[beam]


# Sound beams


@pytest.fixture(scope="module")
def sound() -> Pieces:
    return _told(_log(_passes()))


@pytest.mark.parametrize(("rate_hz", "jitter"), [(10, 0), (10, 0.3), (25, 0.3), (50, 0), (250, 0.3)])
def test_six_pieces_in_and_out_at_any_rate(rate_hz: float, jitter: float) -> None:
    story = _told(_log(_passes(), rate_hz=rate_hz, jitter=jitter))
    within = (1 + 2 * jitter) / rate_hz + 1e-9
    assert (story.collected.estimate, story.released.estimate) == (6, 6)
    assert story.entries_s == pytest.approx(IN_S, abs=within)
    assert story.releases_s == pytest.approx(OUT_S, abs=0.25 + within)
    assert not any(story.beam_health.values())


def test_the_count_aboard_at_each_moment(sound: Pieces) -> None:
    asked = (5, 11, 13, 15, 20.6, 21.6, 25, 41, 43, 50, 60.6, 61.6, 80)
    assert [_aboard_at(sound, t_s) for t_s in asked] == [0, 1, 2, 3, 2, 1, 0, 1, 2, 3, 2, 1, 0]


def test_the_count_is_sure_and_its_band_holds_it(sound: Pieces) -> None:
    for step in sound.timeline:
        assert step.low <= step.aboard <= step.high
        assert 0 < step.probability <= 1
    assert max(step.probability for step in sound.timeline) > 0.95


def test_the_timeline_begins_with_the_match(sound: Pieces) -> None:
    assert sound.timeline[0].start_s == pytest.approx(STARTS_S)


def test_mirrored_polarity_tells_the_samestory_of(sound: Pieces) -> None:
    mirrored = _told(_log(_passes(), on_value=0), _robot(broken=0))
    assert mirrored.entries_s == sound.entries_s
    assert mirrored.releases_s == sound.releases_s
    assert mirrored.timeline == sound.timeline


def test_a_match_later_on_the_clock_tells_the_samestory_of(sound: Pieces) -> None:
    later = _told(_log(_passes(shift_s=100.0), shift_s=100.0))
    assert [at - 100 for at in later.entries_s] == pytest.approx(sound.entries_s)
    assert [at - 100 for at in later.releases_s] == pytest.approx(sound.releases_s, abs=0.26)
    assert (later.collected.estimate, later.released.estimate) == (6, 6)


def test_a_log_of_changes_tells_the_samestory_of() -> None:
    story = _told(_log(_passes(), changes_only=True))
    assert story.entries_s == pytest.approx(IN_S)
    assert (story.collected.estimate, story.released.estimate) == (6, 6)


@pytest.mark.parametrize("preload", [1, 3])
def test_the_preload_is_released_and_not_collected(preload: int) -> None:
    out_s = [8.0 + number for number in range(preload)]
    story = _told(_log(_passes((40.0,), [*out_s, 50.0])), _robot(preload=preload))
    assert (story.collected.estimate, story.released.estimate) == (1, preload + 1)
    assert _aboard_at(story, 5.0) == preload


def test_no_more_pieces_are_aboard_than_it_carries() -> None:
    beams = _passes((10.0, 12.0, 14.0, 16.0), (20.0, 21.0, 22.0, 23.0))
    for capacity in (3, 4):
        assert max(step.high for step in _told(_log(beams), _robot(capacity=capacity)).timeline) <= capacity
    assert _told(_log(beams), _robot(capacity=4)).collected.estimate == 4


def test_a_quiet_match_has_no_piece_and_no_sick_beam() -> None:
    story = _told(_log({name: [] for name in PATH}))
    assert (story.collected.estimate, story.released.estimate) == (0, 0)
    assert not any(story.beam_health.values())


# Beams that lie


def test_a_middle_beam_dead_throughout_costs_no_piece() -> None:
    story = _told(_log({**_passes(), "middle": []}))
    assert (story.collected.estimate, story.released.estimate) == (6, 6)
    assert story.entries_s == pytest.approx(IN_S)
    assert {stretch.state for stretch in _sick(story, "middle")} == {"stuck_clear"}
    assert sum(len(stretch.contradictions_s) for stretch in _sick(story, "middle")) == 6
    assert not _sick(story, "entry")
    assert not _sick(story, "gate")


def test_a_middle_beam_stuck_broken_throughout_costs_no_piece() -> None:
    story = _told(_log({**_passes(), "middle": [(0.0, LENGTH_S)]}))
    assert (story.collected.estimate, story.released.estimate) == (6, 6)
    (stretch,) = _sick(story, "middle")
    assert stretch.state == "stuck_broken"
    assert stretch.contradictions_s


def test_an_entry_beam_dead_throughout_is_told_by_the_others() -> None:
    story = _told(_log({**_passes(), "entry": []}))
    assert story.released.estimate == 6
    assert story.collected.low <= 6 <= story.collected.high
    assert {stretch.state for stretch in _sick(story, "entry")} == {"stuck_clear"}


def test_an_entry_beam_that_dies_is_dated_between_what_it_last_saw_and_first_missed() -> None:
    beams = _passes()
    story = _told(_log({**beams, "entry": beams["entry"][:3]}))
    (stretch,) = _sick(story, "entry")
    assert stretch.state == "stuck_clear"
    assert 14.1 < stretch.start_s < 40.6
    assert story.released.estimate == 6


def test_an_entry_beam_that_comes_back_is_sound_again() -> None:
    beams = _passes()
    story = _told(_log({**beams, "entry": [beams["entry"][0], beams["entry"][5]]}))
    (stretch,) = _sick(story, "entry")
    assert stretch.start_s < 14.6 < stretch.end_s < 44.5
    assert story.released.estimate == 6


# What can be followed


def test_a_story_says_how_many_pieces_it_can_hold(sound: Pieces) -> None:
    assert sound.most_aboard == 3
    four = {**_passes(), "last": passing([at + 0.5 for at in OUT_S])}
    held_down = _told(_log(four), _robot(path=(*PATH, "last"), capacity=20))
    assert held_down.most_aboard is not None
    assert 3 < held_down.most_aboard < 20


# How sure each event is


def test_a_piece_that_stands_at_two_beams_gainsays_one_that_is_stuck_clear_as_it_reaches_it() -> None:
    in_s = (10.0, 12.0, 14.0, 40.0, 42.0, 44.0)
    beams = {
        "entry": passing(in_s, 0.4),
        "middle": passing([at + 0.2 for at in in_s[:3]], 0.4),
        "gate": passing(OUT_S),
    }
    (stretch,) = _sick(_told(_log(beams)), "middle")
    first = next(at for at in stretch.contradictions_s if at >= in_s[3])
    assert in_s[3] <= first < in_s[3] + 0.4  # while the piece still breaks the entry


def test_each_entry_and_release_has_its_chance(sound: Pieces) -> None:
    assert len(sound.entry_chances) == len(sound.entries_s)
    assert len(sound.release_chances) == len(sound.releases_s)
    assert min(sound.entry_chances) > 0.95
    assert min(sound.release_chances) > 0.85  # no launcher tells when one past the gate is gone


def test_an_entry_that_no_beam_saw_is_less_sure_than_one_that_was_seen() -> None:
    beams = _passes()
    story = _told(_log({**beams, "entry": beams["entry"][:3]}))
    seen, unseen = story.entry_chances[:3], story.entry_chances[3:]
    assert unseen
    assert max(unseen) < min(seen)


# Little to go by


def test_one_beam_counts_what_passes_it() -> None:
    story = _told(_log({"entry": passing(IN_S)}), _robot(path=("entry",)))
    assert story.collected.estimate == 6
    assert story.entries_s == pytest.approx(IN_S)


def test_no_beam_nostory_of() -> None:
    assert story_of(_log({}), _robot(path=())) is None


def test_a_beam_that_the_log_lacks_is_left_out() -> None:
    story = _told(_log({name: on for name, on in _passes().items() if name != "middle"}))
    assert set(story.beam_health) == {"entry", "gate"}
    assert (story.collected.estimate, story.released.estimate) == (6, 6)


def test_of_more_beams_than_can_be_computed_those_in_the_middle_are_left_out() -> None:
    path = [f"beam {number}" for number in range(40)]
    first, last = _passes()["entry"], _passes()["gate"]
    beams: Broken = {name: [] for name in path} | {path[0]: first, path[-1]: last}
    story = _told(_log(beams), _robot(path=path))
    assert 2 <= len(story.beam_health) < 40
    assert {path[0], path[-1]} <= set(story.beam_health)


@pytest.mark.parametrize("gap", [(30.0, 38.0), (50.0, 58.0)])
def test_a_gap_in_which_nothing_moved_changes_nothing(gap: tuple[float, float]) -> None:
    story = _told(_log(_passes(), without=[gap]))
    assert story.entries_s == pytest.approx(IN_S)
    assert (story.collected.estimate, story.released.estimate) == (6, 6)


def test_pieces_that_came_in_during_a_gap_are_found_aboard_after_it() -> None:
    story = _told(_log(_passes(), without=[(39.0, 45.0)]))
    assert story.released.estimate == 6
    assert story.collected.low <= 6 <= story.collected.high
    assert _aboard_at(story, 65.0) == 0


def test_hostile_names_are_names() -> None:
    path = ("<script>", "'; --", "=1+1")
    beams = dict(zip(path, _passes().values(), strict=True))
    story = _told(_log(beams), _robot(path=path))
    assert list(story.beam_health) == list(path)
    assert story.collected.estimate == 6

"""Which files of a folder are complete."""

from __future__ import annotations

from telemetry.watching import Watch, look, unreported

OLD, GROWN = (100, 1), (200, 2)


def _looks(*seen: tuple[float, dict[str, tuple[int, int]] | None]) -> list[tuple[str, ...]]:
    watch, told = Watch(), []
    for now_s, found in seen:
        watch, ready = look(watch, found, now_s, rest_s=3.0)
        told.append(ready)
    return told


def test_a_file_is_reported_once_when_it_has_stood_still() -> None:
    assert _looks((0, {"a": OLD}), (2, {"a": OLD}), (3, {"a": OLD}), (9, {"a": OLD})) == [(), (), ("a",), ()]


def test_a_file_that_grows_waits() -> None:
    assert _looks((0, {"a": OLD}), (2, {"a": GROWN}), (4, {"a": GROWN}), (5, {"a": GROWN})) == [
        (), (), (), ("a",),
    ]  # fmt: skip


def test_a_file_that_changes_after_its_report_is_reported_anew() -> None:
    assert _looks((0, {"a": OLD}), (3, {"a": OLD}), (4, {"a": GROWN}), (7, {"a": GROWN}))[-1] == ("a",)


def test_an_empty_file_is_no_log_yet() -> None:
    assert _looks((0, {"a": (0, 1)}), (9, {"a": (0, 1)})) == [(), ()]


def test_a_file_that_stays_empty_is_told_in_the_end() -> None:
    empty = {"a": (0, 1)}
    assert _looks((0, empty), (29.9, empty), (30, empty), (40, empty)) == [(), (), ("a",), ()]


def test_a_pulled_stick_forgets_nothing_and_starts_the_rest_anew() -> None:
    told = _looks(
        (0, {"a": OLD, "b": OLD}), (3, {"a": OLD, "b": OLD}), (4, None),
        (5, {"a": OLD, "c": OLD}), (7, {"a": OLD, "c": OLD}), (8, {"a": OLD, "c": OLD}),
    )  # fmt: skip
    assert told == [(), ("a", "b"), (), (), (), ("c",)]


def test_what_went_away_while_it_was_read_is_ready_again_when_it_is_back() -> None:
    watch, ready = look(Watch(), {"a": OLD, "b": OLD}, 0, rest_s=0)
    assert ready == ("a", "b")
    watch, _ = look(unreported(watch, "a"), None, 1, rest_s=0)
    assert look(watch, {"a": OLD, "b": OLD}, 2, rest_s=0)[1] == ("a",)


def test_a_file_that_grows_is_said_to_grow_until_it_stands_still() -> None:
    watch, told = Watch(), []
    for now_s, stamp in enumerate([OLD, OLD, GROWN, (300, 3), (300, 3), (300, 3), (300, 3)]):
        watch, _ = look(watch, {"a": stamp}, now_s, rest_s=3.0)
        told.append(bool(watch.growing))
    assert told == [False, False, True, True, True, True, False]


def test_what_went_away_while_it_was_copied_grows_no_more() -> None:
    watch, _ = look(Watch(), {"a": OLD, "b": OLD}, 0, rest_s=3.0)
    watch, _ = look(watch, {"a": GROWN, "b": GROWN}, 1, rest_s=3.0)
    assert look(watch, {"b": GROWN}, 2, rest_s=3.0)[0].growing == {"b"}
    assert look(watch, None, 2, rest_s=3.0)[0].growing == frozenset()

"""Is it gone: what the matches after the last with a trouble show, on facts written by hand."""

from __future__ import annotations

import pytest

from telemetry.clean_since import CleanSince, clean_since
from telemetry.event import event_from
from telemetry.forecast import forecast_dropouts
from telemetry.match_facts import MatchFacts
from telemetry.statistics import clusters_in, compare_rates
from tests.telemetry.facts import match_facts

ENTRY = ("dropout", "entry")


def _matches(*counts: int | None, suspected: tuple[int, ...] = ()) -> list[MatchFacts]:
    return [
        match_facts(
            f"m{n}",
            faults={} if count is None else {ENTRY: count},
            suspected=suspected[n] if suspected else 0,
        )
        for n, count in enumerate(counts)
    ]


def _only(*counts: int | None) -> CleanSince:
    (found,) = clean_since(_matches(*counts))
    return found


def test_what_is_met_in_the_latest_match_is_still_there_or_new() -> None:
    assert _only(2, 0, 1).text == "Still there in m2, the latest match."
    assert _only(0, 0, 1).text == "New in m2, the latest match."


def test_a_log_in_which_the_robot_was_never_enabled_tells_of_no_trouble() -> None:
    idle = match_facts("m0", faults={ENTRY: 1}, active_s=0.0)
    assert clean_since([idle]) == ()
    assert [since.matches for since in clean_since([idle, *_matches(1, 1)])] == [2]


def test_a_few_clean_matches_are_no_proof_and_the_number_that_would_be_is_told() -> None:
    since = _only(1, 1, 1, 0)
    assert (since.since, since.clean, since.gone) == ("m3", 1, False)
    needed = since.needed
    assert needed is not None
    p_values = [compare_rates(0, (1 + more) * 150.0, 3, 450.0).p for more in (needed - 1, needed)]
    assert p_values[0] > 0.05 >= p_values[1]
    assert f"{needed} more in a row would prove it gone" in since.text


def test_clean_matches_enough_are_proof() -> None:
    since = _only(3, 2, 3, 3, 0, 0, 0)
    assert since.gone
    assert since.text == "Gone since m4: 11 in 4 matches up to m3, 3 clean matches since."


def test_one_bad_match_proves_nothing_however_many_faults_it_had() -> None:
    since = _only(0, 0, 10, 0, 0, 0, 0, 0)
    assert (since.matches_with, since.needed, since.gone) == (1, None, False)
    assert since.text == "In m2 alone (10 times); 5 clean matches since."


def test_faults_in_clusters_ask_for_more_clean_matches_than_faults_one_by_one() -> None:
    even, clustered = _only(2, 2, 2, 2, 0).needed, _only(0, 7, 0, 1, 0).needed
    assert even is not None
    assert clustered is not None
    assert clustered > even


def test_matches_that_could_not_tell_are_not_clean() -> None:
    since = _only(1, 2, None, 0, None)
    assert (since.clean, since.not_judged, since.since) == (1, 2, "m3")
    assert "(2 more could not tell)" in since.text
    assert (
        _only(1, 2, None).text == "Still there in m1, the last match that could tell (1 more could not tell)."
    )


def test_a_match_with_suspected_ones_only_is_not_clean() -> None:
    (since,) = clean_since(_matches(2, 1, 0, 0, suspected=(0, 1, 2, 0)))
    assert (since.faults, since.suspected, since.last, since.clean) == (6, 3, "m2", 1)
    assert dict(since.suspected_in) == {"m1": 1, "m2": 2}


@pytest.mark.parametrize(
    ("counts", "clusters"), [((), 0), ((0, 0), 0), ((2, 1, 2, 1), 6), ((8, 0, 0, 0, 0, 0), 2), ((10,), 10)]
)
def test_clusters(counts: tuple[int, ...], clusters: int) -> None:
    assert clusters_in(counts) == clusters


def test_the_next_match_reckons_with_the_clean_ones_alone_once_it_is_gone() -> None:
    mended = _matches(3, 2, 3, 3, 0, 0, 0, 0)
    (gone,) = forecast_dropouts(mended, (), clean_since(mended))
    (blind,) = forecast_dropouts(mended, ())
    assert gone.probability is not None
    assert blind.probability is not None
    assert gone.probability < 0.15 < blind.probability
    assert "the last 4 matches (0 dropouts)" in gone.text


def test_the_next_match_is_never_told_to_be_sure() -> None:
    (told,) = forecast_dropouts(_matches(6, 7, 6, 7), ())
    assert told.text.startswith("entry: over 99 % chance")


def test_the_next_match_tells_of_clean_ones_that_are_no_proof_yet() -> None:
    one, more = _matches(1, 2, 1, 0), _matches(1, 0, 1, 0, 0)
    assert (
        "none in m3: less, if what was done after m2" in forecast_dropouts(one, (), clean_since(one))[0].text
    )
    told = forecast_dropouts(more, (), clean_since(more))[0].text
    assert "none in the last 2: less, if what was done after m2 has mended it" in told


def test_an_event_tells_it_of_each_trouble() -> None:
    event = event_from(_matches(2, 1, 0))
    (trouble,) = event.troubles
    since = event.since_of(trouble)
    assert since is not None
    assert since.last == "m1"

"""Before against after: the verdict in words, and how many clean matches are still needed."""

from __future__ import annotations

import pytest

from telemetry.clean_since import clean_since
from telemetry.comparison import Side, clean_matches_needed, compare_matches
from telemetry.match_facts import MatchFacts
from telemetry.statistics import compare_rates
from tests.telemetry.facts import match_facts

ENTRY = ("dropout", "entry")


def _matches(*counts: int) -> list[MatchFacts]:
    return [match_facts(f"m{number}", faults={ENTRY: count}) for number, count in enumerate(counts)]


def test_many_before_and_none_after_is_improved() -> None:
    (found,) = compare_matches(_matches(3, 2, 4), _matches(0, 0, 0)).subjects
    assert found.verdict == "improved"
    assert found.rates.rate_ratio == 0
    assert found.clean_matches_needed == 0
    assert "it got better" in found.text


def test_faults_are_counted_in_words() -> None:
    before = [match_facts(f"m{n}", faults={("source_resistance", "supply"): 1}) for n in range(2)]
    after = [match_facts("n", faults={("source_resistance", "supply"): 0})]
    assert "supply: 2 steps in resistance in 2 matches" in compare_matches(before, after).subjects[0].text
    assert "entry: 1 dropout in 1 match" in compare_matches(_matches(1), _matches(0)).subjects[0].text


def test_more_after_is_worse() -> None:
    (found,) = compare_matches(_matches(0, 0, 0), _matches(3, 2, 4)).subjects
    assert found.verdict == "worse"
    assert found.clean_matches_needed is None


def test_one_before_and_none_after_proves_nothing_yet() -> None:
    (found,) = compare_matches(_matches(1, 0), _matches(0)).subjects
    assert found.verdict == "undecided"
    assert found.clean_matches_needed is not None
    assert f"{found.clean_matches_needed} more clean matches would do" in found.text


@pytest.mark.parametrize(("faults", "matches", "after"), [(2, 3, 1), (3, 4, 2), (5, 4, 1), (9, 3, 0)])
def test_the_clean_matches_needed_are_the_fewest_that_prove_it(faults: int, matches: int, after: int) -> None:
    before_side = Side(faults, 150.0 * matches, min(faults, matches), matches)
    after_side = Side(0, 150.0 * after, 0, after)
    needed = clean_matches_needed(before_side, after_side)
    assert needed is not None

    def p(clean: int) -> float:
        return compare_rates(0, 150.0 * (after + clean), faults, 150.0 * matches).p

    assert p(needed) <= 0.05
    assert needed == 0 or after + needed == 1 or p(needed - 1) > 0.05


def test_nothing_found_on_either_side_is_nothing_to_compare() -> None:
    assert compare_matches(_matches(0, 0), _matches(0)).subjects == ()


def test_what_one_side_could_not_judge_is_named_and_not_counted_as_clean() -> None:
    found = compare_matches(_matches(2, 3), [match_facts("later")])
    assert found.subjects == ()
    assert found.not_judged == ("dropout of entry could not be judged after the fix",)


def test_the_exposure_is_the_time_enabled_not_the_number_of_matches() -> None:
    short = [match_facts("s", faults={ENTRY: 0}, active_s=5.0)]
    (found,) = compare_matches(_matches(3, 2, 4), short).subjects
    assert found.after.exposure_s == 5.0
    assert found.verdict == "undecided"


def test_the_totals_count_matches_time_and_hits() -> None:
    found = compare_matches(_matches(1, 1), _matches(0))
    assert (found.before.matches, found.before.active_s, found.before.contacts) == (("m0", "m1"), 300.0, 20)


def test_what_is_only_suspected_counts_and_is_said_where_any_was_found() -> None:
    before = [match_facts(f"m{n}", faults={ENTRY: n % 2}, suspected=2) for n in range(4)]
    (found,) = compare_matches(before, _matches(0, 0, 0, 0)).subjects
    assert (found.before.faults, found.before.suspected, found.after.suspected) == (10, 8, 0)
    assert found.verdict == "improved"
    assert "entry: 10 dropouts (8 of them only suspected) in 4 matches before the fix" in found.text
    never = [match_facts(f"m{n}", faults={ENTRY: 0}, suspected=2) for n in range(4)]
    assert compare_matches(never, _matches(0, 0, 0, 0)).subjects == ()


def test_one_bad_match_among_others_proves_no_fix() -> None:
    (bad,) = compare_matches(_matches(0, 9, 0), _matches(0, 0, 0)).subjects
    assert bad.rates.p <= 0.05 < bad.p_of_clusters
    assert (bad.verdict, bad.before.apart) == ("undecided", 2)
    assert "they came in clusters" in bad.text
    assert bad.clean_matches_needed is not None
    (even,) = compare_matches(_matches(3, 4, 3), _matches(0, 0, 0)).subjects
    assert (even.verdict, even.before.apart, even.p_of_clusters) == ("improved", 10, even.rates.p)


def test_the_event_asks_for_as_many_clean_matches_as_the_comparison() -> None:
    before, after = _matches(0, 5, 0, 5, 2), _matches(0)
    (compared,) = compare_matches(before, after).subjects
    (since,) = clean_since([*before, *after])
    assert since.needed == compared.clean_matches_needed

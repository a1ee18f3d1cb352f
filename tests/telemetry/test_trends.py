"""Trends, forecasts and heat from match to match, on facts written by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from telemetry.carried_heat import heat_through, pauses_s
from telemetry.event import event_from
from telemetry.finding import Severity
from telemetry.forecast import forecast_dropouts, forecast_heat
from telemetry.match_facts import MatchFacts, MotorFacts, Running
from telemetry.trends import Trend, find_trends
from tests.telemetry.facts import match_facts, motor_facts

ENTRY = ("dropout", "entry")


def _dropouts(*counts: int) -> list[MatchFacts]:
    return [match_facts(f"m{n}", faults={ENTRY: count}) for n, count in enumerate(counts)]


def _running(*amps: float) -> list[MatchFacts]:
    return [match_facts(f"m{n}", motors={"feed": motor_facts(a)}) for n, a in enumerate(amps)]


def _only(facts: list[MatchFacts]) -> Trend:
    (trend,) = find_trends(facts)
    return trend


def test_dropouts_that_become_more_are_rising() -> None:
    trend = _only(_dropouts(0, 0, 1, 1, 2, 3, 3, 4))
    assert (trend.direction, trend.worse) == ("rising", True)
    assert trend.slope_per_match == pytest.approx(4 / 7, abs=0.1)
    assert trend.low is not None
    assert trend.low > 0


def test_dropouts_are_judged_as_counts_beside_the_test_by_ranks() -> None:
    trend = _only(_dropouts(0, 1, 0, 1, 0, 2, 1, 4))
    assert trend.p > 0.02
    assert (trend.direction, trend.judging_p) == ("rising", trend.count_p)
    assert "by the counts" in trend.text


def _shaken(counts: tuple[int, ...], hits: tuple[int, ...], *, after_hits: bool) -> list[MatchFacts]:
    return [
        match_facts(f"m{n}", faults={ENTRY: count}, contacts=hits[n], after_hits=after_hits)
        for n, count in enumerate(counts)
    ]


def test_a_lead_that_hits_shake_loose_is_judged_by_the_hits_it_took() -> None:
    counts, more_hits = (1, 1, 2, 3, 3, 5, 6, 7), (4, 4, 8, 12, 12, 20, 24, 28)
    by_time = _only(_shaken(counts, more_hits, after_hits=False))
    by_hits = _only(_shaken(counts, more_hits, after_hits=True))
    assert (by_time.direction, by_hits.direction) == ("rising", "none shown")
    fewer = _only(_shaken((1, 1, 2, 2, 3, 2, 4, 3), (12, 11, 12, 9, 9, 6, 7, 5), after_hits=True))
    assert fewer.direction == "rising"
    assert "by the counts for the hits taken" in fewer.text


def test_without_hits_in_some_match_faults_are_judged_by_time() -> None:
    (trend,) = find_trends(_shaken((0, 0, 1, 1, 2, 3, 3, 4), (0, 9, 9, 9, 9, 9, 9, 9), after_hits=True))
    assert not trend.series.by_hits


def test_dropouts_that_are_only_suspected_count_where_one_was_found() -> None:
    found, suspected = (0, 0, 0, 0, 1, 0, 1, 1), (0, 0, 1, 1, 1, 3, 2, 3)
    facts = [
        match_facts(f"m{n}", faults={ENTRY: count}, suspected=suspected[n]) for n, count in enumerate(found)
    ]
    trend = _only(facts)
    assert trend.series.counts == (0, 0, 1, 1, 2, 3, 3, 4)
    assert trend.direction == "rising"
    assert "11 in all only suspected" in trend.text
    assert [one.count("dropout", "entry") for one in facts] == list(found)
    never = [match_facts(f"m{n}", faults={ENTRY: 0}, suspected=suspected[n]) for n in range(8)]
    assert find_trends(never) == ()


def test_a_seldom_fault_takes_little_of_the_level_from_one_met_often() -> None:
    counts, seldom = (1, 1, 0, 2, 3, 2, 3, 3), (0, 2, 0, 1, 0, 2, 1, 0)
    facts = [
        match_facts(f"m{n}", faults={ENTRY: count, ("chatter", "gate"): seldom[n]})
        for n, count in enumerate(counts)
    ]
    entry = next(trend for trend in find_trends(facts) if trend.series.subject == "entry")
    assert entry.adjusted_p == pytest.approx(entry.judging_p * (15 + 6) / 15)


def test_many_steady_motors_do_not_hide_a_loose_lead() -> None:
    counts, rng = (0, 0, 1, 1, 2, 1, 3, 4), np.random.default_rng(4)
    facts = [
        match_facts(
            f"m{n}", faults={ENTRY: count},
            motors={f"motor_{m}": motor_facts(float(rng.uniform(4, 6))) for m in range(20)},
        )
        for n, count in enumerate(counts)
    ]  # fmt: skip
    assert [trend.series.subject for trend in find_trends(facts) if trend.found] == ["entry"]


def test_the_same_in_another_order_shows_no_trend() -> None:
    assert _only(_dropouts(1, 4, 0, 3, 2, 0, 3, 1)).direction == "none shown"


def test_friction_is_found_at_a_like_command() -> None:
    facts = _running(5.0, 5.2, 5.5, 5.9, 6.1, 6.6)
    trend = _only(facts)
    assert (trend.series.kind, trend.direction) == ("friction_trend", "rising")
    assert trend.share == pytest.approx((6.35 - 5.1) / 5.7, abs=0.01)
    (trouble,) = event_from(facts).troubles
    assert (trouble.kind, trouble.subject, trouble.severity) == ("friction_trend", "feed", Severity.WATCH)


def test_a_rise_too_small_to_matter_is_no_trend_however_regular() -> None:
    assert not _only(_running(5.00, 5.01, 5.02, 5.03, 5.04, 5.05)).found


def test_a_current_that_varies_with_its_driver_is_no_measure_of_friction() -> None:
    wild = [MotorFacts((Running(5, 5.0 + n, 30.0, 2.5),), (), (), None, None, None) for n in range(8)]
    facts = [match_facts(f"m{n}", motors={"drive": motor}) for n, motor in enumerate(wild)]
    assert find_trends(facts) == ()


def test_fewer_than_four_matches_say_nothing() -> None:
    assert find_trends(_dropouts(0, 3, 6)) == ()


def test_what_could_not_be_judged_is_left_out_not_taken_as_clear() -> None:
    facts = _dropouts(0, 0, 1, 2, 3, 4)
    facts.insert(3, match_facts("dark"))
    assert _only(facts).series.values[3] is None


def test_each_battery_is_followed_by_itself() -> None:
    ohms = [0.016, 0.030, 0.018, 0.030, 0.020, 0.030, 0.022, 0.030, 0.024, 0.030]
    facts = [match_facts(f"m{n}", resistance_ohm=r, battery="AB"[n % 2]) for n, r in enumerate(ohms)]
    found = {t.series.subject: t.direction for t in find_trends(facts)}
    assert found == {"A": "rising", "B": "none shown"}


def test_steady_events_show_a_trend_no_oftener_than_promised() -> None:
    rng = np.random.default_rng(8)
    found = 0
    for _ in range(200):
        facts = [
            match_facts(
                f"m{n}", faults={ENTRY: int(rng.poisson(2)), ("chatter", "gate"): int(rng.poisson(1))},
                motors={
                    name: motor_facts(5 * rng.lognormal(0, 0.15)) for name in ("feed", "arm")
                },
                cycle_s=float(15 * rng.lognormal(0, 0.2)),
            )
            for n in range(8)
        ]  # fmt: skip
        found += any(trend.found for trend in find_trends(facts))
    assert found / 200 <= 0.08


def test_the_chance_of_a_dropout_follows_the_later_half_where_they_become_more() -> None:
    steady = _dropouts(2, 1, 2, 1, 2, 1, 2, 1)
    rising = _dropouts(0, 0, 0, 1, 2, 3, 3, 4)
    (calm,) = forecast_dropouts(steady, find_trends(steady))
    (worse,) = forecast_dropouts(rising, find_trends(rising))
    assert calm.probability == pytest.approx(1 - math.exp(-1.5), abs=0.05)
    assert worse.probability is not None
    assert worse.probability > 0.9
    assert "the last 4 matches" in worse.text


def test_dropouts_in_one_match_alone_do_not_foretell_one_in_every_match() -> None:
    (found,) = forecast_dropouts(_dropouts(8, 0, 0, 0, 0, 0), ())
    assert found.probability is not None
    assert found.probability < 0.45


def test_heat_is_carried_over_the_pause_by_its_cooling() -> None:
    hot = motor_facts(end_heat=(0.6, 0.9, 1.2, 1.5))
    facts = [match_facts("a", motors={"arm": hot}), match_facts("b", motors={"arm": hot})]
    first, second = heat_through(facts, [None, 400.0])
    assert (first["arm"].start, first["arm"].end) == (0.0, 0.6)
    assert second["arm"].start == pytest.approx(0.6 / math.e)
    assert second["arm"].end == pytest.approx(0.6 + 0.6 * 0.6 / math.e)


def test_without_a_known_pause_the_start_is_not_known() -> None:
    hot = motor_facts(end_heat=(0.6, 0.9, 1.2, 1.5))
    facts = [match_facts("a", motors={"arm": hot}), match_facts("b", motors={"arm": hot})]
    assert heat_through(facts, [None, None])[1]["arm"].start is None


def test_a_pause_is_what_lies_between_two_logs() -> None:
    facts = [match_facts("a"), match_facts("b"), match_facts("c")]
    assert pauses_s(facts, [0.0, 1000.0, 900.0]) == [None, 1000.0 - 3.0 - 153.0, None]


def test_the_next_start_lies_between_those_after_the_longest_and_shortest_pause() -> None:
    hot = motor_facts(end_heat=(0.6, 0.9, 1.2, 1.5))
    facts = [match_facts("a", motors={"arm": hot})]
    (found,) = forecast_heat(facts, heat_through(facts, [None]), [None])
    assert found.level == pytest.approx(0.6 * math.exp(-1200 / 400))
    assert found.low < found.level < found.high
    assert "no pause is known" in found.text


def test_matches_of_one_log_are_told_apart_by_its_own_clock() -> None:
    facts = [
        replace(match_facts(name, file="practice.csv", active_s=150.0), start_s=start_s)
        for name, start_s in (("practice", 10.0), ("practice-2", 460.0))
    ]
    assert pauses_s(facts, [None, None]) == [None, pytest.approx(460.0 - 3.0 - 10.0 - 153.0)]


def test_what_is_only_suspected_counts_for_the_next_match_where_any_was_found() -> None:
    entry = ("dropout", "entry")
    found = [match_facts(f"m{n}", faults={entry: n % 2}, suspected=1) for n in range(4)]
    told = [match_facts(f"m{n}", faults={entry: n % 2 + 1}) for n in range(4)]
    assert forecast_dropouts(found, ())[0].probability == forecast_dropouts(told, ())[0].probability
    assert "(6 dropouts, 4 of them only suspected)" in forecast_dropouts(found, ())[0].text
    never = [match_facts(f"m{n}", faults={entry: 0}, suspected=1) for n in range(4)]
    clear = [match_facts(f"m{n}", faults={entry: 0}) for n in range(4)]
    assert forecast_dropouts(never, ())[0].probability == forecast_dropouts(clear, ())[0].probability


def _cycles(*seconds: float) -> Trend:
    return _only([match_facts(f"m{n}", cycle_s=cycle_s) for n, cycle_s in enumerate(seconds)])


def test_rises_in_a_row_are_said_though_they_are_no_proof() -> None:
    trend = _cycles(13.6, 14.6, 15.6, 16.9, 18.2, 16.4)
    assert not trend.found
    told = "Cycle time rose 4 times in a row, from 13.6 s in m0 to 18.2 s in m4, then 16.4 s in m5"
    assert trend.hint == f"{told}: not yet proof of a trend (p = {trend.p:.2g})."


@pytest.mark.parametrize(
    "seconds",
    [
        (13.6, 14.6, 15.6, 16.9, 16.4, 18.2),
        (13.6, 14.6, 15.6, 16.9, 18.2, 13.0, 14.0),
        (15.0, 15.1, 15.2, 15.3, 15.4, 15.0),
        (18.2, 16.9, 15.6, 14.6, 13.6, 14.0),
    ],
    ids=["a fall between", "long ago", "too little to matter", "falling"],
)
def test_nothing_is_said_of_a_shorter_older_or_smaller_rise(seconds: tuple[float, ...]) -> None:
    assert _cycles(*seconds).hint == ""


def test_what_is_shown_needs_no_hint() -> None:
    trend = _cycles(10.0, 11.5, 13.0, 14.5, 16.0, 17.5, 19.0)
    assert (trend.direction, trend.hint) == ("rising", "")

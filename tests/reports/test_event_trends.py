"""The event page past one match: trends as small charts with their table, forecasts, groups, heat."""

from __future__ import annotations

import re

import pytest

from reports.event import event_page, start_words
from reports.event_records import event_json
from reports.json_values import json_text
from reports.trend_figures import trend_figure
from telemetry.estimators.light import LightCount
from telemetry.event import Event, event_from
from telemetry.match_sheet import MatchSheet, SheetRow
from tests.reports.pages import read_page
from tests.telemetry.facts import match_facts, motor_facts

HOSTILE = "<img src=x onerror=alert(1)> $\\frac{1}{2}$ \x1b[31m"


def _event(beam: str = "entry") -> Event:
    hot = (0.6, 0.9, 1.2, 1.5)
    facts = [
        match_facts(
            f"m{n}", faults={("dropout", beam): max(0, n - 2)}, cycles=[(12.0 + n, False)] * 3,
            motors={"feed": motor_facts(5.0 + 0.5 * n, end_heat=hot)}, cycle_s=15.0,
            light=LightCount(6, 60.0, 2, 90.0),
        )
        for n in range(8)
    ]  # fmt: skip
    rows = tuple(
        SheetRow(f"m{n}.csv", driver=HOSTILE if n % 2 else "Ari", note=HOSTILE, start_s=36_000.0 + 900 * n)
        for n in range(8)
    )
    return event_from(facts, sheet=MatchSheet(rows))


@pytest.fixture(scope="module")
def page() -> str:
    return event_page(_event())


def test_what_gets_worse_stands_first_with_its_figures(page: str) -> None:
    words = read_page(page).words
    assert words.index("Getting worse") < words.index("The next match") < words.index("In the order of")
    assert "feed: drags more" in words
    assert "Running current of feed rises: from 5 A to 8.5 A over 8 matches" in words
    assert "chance of at least one dropout in the next match" in words


def test_the_charts_have_a_sentence_and_a_table_behind_a_disclosure(page: str) -> None:
    read = read_page(page)
    (drag,) = [
        c["aria-label"] for c in read.all("svg") if str(c.get("aria-label")).startswith("feed: running")
    ]
    assert drag.startswith("feed: running current, A, by match: m0 5.00, m1 5.50, m2 6.00")
    assert "gets worse" in read.words
    assert read.all("img") == []
    assert "The same as a table" in read.words


def test_hits_in_the_light_are_told_with_what_is_the_teams_to_decide(page: str) -> None:
    words = read_page(page).words.replace("\u00a0", " ")
    assert "48 hits in 480 s with the light lit, 16 in 720 s with it dark" in words
    assert "the team's own decision" in words


def test_heat_is_shown_with_the_pause_before_each_match(page: str) -> None:
    words = read_page(page).words.replace("\u00a0", " ")
    assert "Heat carried from match to match" in words
    assert "12 min" in words


def test_nothing_out_of_a_sheet_or_a_robot_file_runs() -> None:
    page = event_page(_event(HOSTILE))
    assert "<img src=x" not in page
    assert "\x1b" not in page


def test_the_same_event_gives_the_same_bytes(page: str) -> None:
    assert event_page(_event()) == page


def test_a_battery_that_stepped_up_is_said_and_reckoned_with_in_the_next_match() -> None:
    event = event_from(
        [match_facts(f"m{n}", resistance_ohm=r, battery="B<3>") for n, r in enumerate([0.017] * 4 + [0.035])]
    )
    words = read_page(event_page(event)).words.replace("\u00a0", " ")
    assert words.index("35 mΩ in m4 against 17 mΩ") < words.index("B<3>: reckon with 35 mΩ (33 to 37)")
    assert "1 figure getting worse" in words
    assert "B<3> shows a step of resistance" in words
    (told,) = event_json(event)["next_supply"]
    assert (told["subject"], told["match"], told["resistance_ohm"]) == ("B<3>", "m4", 0.035)


def test_a_chart_starts_at_zero_and_names_each_point() -> None:
    figure = trend_figure(_event().trends, [f"m{n}" for n in range(8)])
    assert figure is not None
    drag = next(chart for chart in figure.charts if chart.name.startswith("feed: running"))
    heights = [float(y) for y in re.findall(r'cy="([\d.]+)"', drag.drawing)]
    assert heights == pytest.approx([22 + 84 * (1 - (5 + 0.5 * n) / 8.5) for n in range(8)], abs=0.1)
    assert ">8.50<" in drag.drawing
    assert ">8<" in drag.drawing


def test_what_is_gone_is_said_on_top_and_in_its_row() -> None:
    counts = (3, 2, 3, 3, 0, 0, 0)
    event = event_from([match_facts(f"m{n}", faults={("dropout", "e"): c}) for n, c in enumerate(counts)])
    words = read_page(event_page(event)).words.replace("\u00a0", " ")
    assert "7 matches; 1 trouble found in more than one, 1 gone since" in words
    assert "Gone since m4: 11 in 4 matches up to m3, 3 clean matches since." in words
    (told,) = event_json(event)["findings"]
    assert (told["since"]["last_match"], told["since"]["gone"]) == ("m3", True)


def test_a_chart_tells_suspected_faults_from_found_ones() -> None:
    facts = [match_facts(f"m{n}", faults={("dropout", "e"): n % 2}, suspected=n % 3) for n in range(6)]
    figure = trend_figure(event_from(facts).trends, [f"m{n}" for n in range(6)])
    assert figure is not None
    (chart,) = figure.charts
    assert "m1 1+1, m2 0+2, m3 1, m4 0+1, m5 1+2" in chart.summary
    assert chart.unit == "a match; + only suspected"


def test_no_series_is_no_figure() -> None:
    assert trend_figure((), ["m1"]) is None


def test_the_document_holds_trends_and_forecasts_by_contract() -> None:
    told = event_json(_event())
    json_text(told)
    trend = told["trends"][0]
    assert {"kind", "subject", "slope_per_match", "low", "high", "p", "text"} <= trend.keys()
    assert {one["kind"] for one in told["forecasts"]} == {"dropout"}
    assert [one["subject"] for one in told["starting_heat"]] == ["feed"]
    for one in told["forecasts"]:
        assert {"kind", "subject", "probability", "low", "high"} <= one.keys()
    assert "friction_trend" in {one["kind"] for one in told["findings"]}


@pytest.mark.parametrize(
    ("start_s", "words"), [(None, "–"), (50_700.0, "14:05"), (1e9, "2001-09-09 01:46 UTC"), (1e300, "–")]
)
def test_a_start_in_words(start_s: float | None, words: str) -> None:
    assert start_words(start_s) == words

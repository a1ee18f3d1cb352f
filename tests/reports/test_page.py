"""The page of a match: whole without a script, safe, small, the same bytes for the same match."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from reports.page import match_page
from reports.policy import source_hash
from telemetry.analysis import Analysis
from telemetry.finding import Verdict
from telemetry.wording import HANDS_IN
from tests.reports.pages import Page, read_page
from tests.reports.synthetic_match import bare_analysis, hostile_analysis, synthetic_analysis

SECTIONS = ["pit", "strip", "findings", "sensors", "driving", "motors", "log", "made"]


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return synthetic_analysis()


@pytest.fixture(scope="module")
def html(analysis: Analysis) -> str:
    return match_page(analysis)


@pytest.fixture(scope="module")
def page(html: str) -> Page:
    return read_page(html)


def test_the_sections_stand_in_order(page: Page) -> None:
    assert [section["id"] for section in page.all("section")] == SECTIONS


def test_the_verdict_comes_first(page: Page) -> None:
    before_the_pit_list = page.words.partition("Pit list Match strip")[0]

    assert "3 parts to fix before the next match" in before_the_pit_list
    assert "4\u00a0of 30 checks" in before_the_pit_list or "4 of 30 checks" in before_the_pit_list
    assert "4 repairs, 1 gap" in before_the_pit_list


def test_the_policy_comes_first_and_lets_nothing_load(html: str, page: Page) -> None:
    tag, attributes = next(element for element in page.elements if element[0] not in ("html", "head"))
    policy = dict(directive.split(" ", 1) for directive in str(attributes["content"]).split("; "))

    assert (tag, attributes["http-equiv"]) == ("meta", "Content-Security-Policy")
    assert policy["default-src"] == policy["base-uri"] == policy["form-action"] == "'none'"
    assert policy["img-src"] == "data:"
    assert policy["media-src"] == "'self' blob:"
    assert policy["require-trusted-types-for"] == "'script'"


def test_exactly_our_own_script_and_style_are_allowed(page: Page) -> None:
    policy = str(page.all("meta")[0]["content"])
    kinds = [attributes.get("type") for attributes in page.all("script")]
    running = [text for text, kind in zip(page.raw["script"], kinds, strict=True) if kind is None]

    assert f"script-src {' '.join(map(source_hash, running))};" in policy
    assert f"style-src {' '.join(map(source_hash, page.raw['style']))};" in policy
    assert kinds.count("application/json") == 1


def test_nothing_is_asked_from_outside(page: Page) -> None:
    named = [
        value
        for _, attributes in page.elements
        for key, value in attributes.items()
        if key in ("src", "href")
    ]

    assert all(str(value).startswith(("#", "data:,")) for value in named)
    assert not any("style" in attributes for _, attributes in page.elements)
    assert not any(key.startswith("on") for _, attributes in page.elements for key in attributes)
    assert "innerHTML" not in "".join(page.raw["script"])
    assert not re.search(r"url\((?!#)", "".join(page.raw["style"]))


def test_every_link_within_the_page_arrives(page: Page) -> None:
    places = {attributes["id"] for _, attributes in page.elements if "id" in attributes}
    wanted = {str(link["href"])[1:] for link in page.all("a") if str(link["href"]).startswith("#")}

    assert wanted <= places
    assert {"finding-1", "finding-8", "cycle-1", "cycle-8"} <= wanted


def test_every_identifier_stands_once(page: Page) -> None:
    names = [attributes["id"] for _, attributes in page.elements if "id" in attributes]

    assert len(names) == len(set(names))


def test_every_lane_has_a_name_and_a_sentence(page: Page) -> None:
    lanes = [attributes for attributes in page.all("svg") if attributes.get("class") == "plot"]

    assert len(lanes) == (5 + 3 + 2 + 5 + 1) + 8 + 5 + 1 + 3
    assert all(str(lane["aria-label"]).endswith(".") and lane["role"] in ("img", "group") for lane in lanes)


def test_every_trouble_is_marked_by_hatch_and_label(page: Page) -> None:
    classes = [str(attributes.get("class")) for attributes in page.all("rect")]

    assert sum(kind.startswith("h h-") for kind in classes) >= 2 * 8
    for label in (
        "2 dropped out",
        "3 stalled",
        "6 chattered",
        "7 too hot",
        "8 driven past its limit",
        "4 brownout",
    ):
        assert label in page.text


def test_the_pit_list_tells_what_why_when_how_long_and_the_caution(page: Page) -> None:
    job = page.words.partition("Turn the tower by hand; look")[2].partition("Let the arm motor")[0]

    for part in ("The feed motor stood still for", "Caution: hot motor", "at 0:58.4", "about 4", "feed"):
        assert part in job


def test_no_more_than_twelve_actions_and_the_rest_is_told(analysis: Analysis) -> None:
    many = replace(analysis, pit_list=analysis.pit_list * 3)

    page = read_page(match_page(many))

    assert sum(attributes.get("class") == "job" for attributes in page.all("li")) == 12
    assert "6 more actions left out" in page.words


def test_the_same_trouble_again_is_told_shortly_and_counts_as_one_part(analysis: Analysis) -> None:
    dropout = analysis.findings[1]
    again = tuple(
        replace(dropout, start_s=dropout.start_s + 20 * n, end_s=dropout.end_s + 20 * n) for n in range(3)
    )

    page = read_page(match_page(replace(analysis, findings=again)))

    assert "1 part to fix before the next match" in page.words
    assert "1 part, 3 findings" in page.words
    assert page.words.count("Do: Push the entry beam's receiver plug home") == 1
    assert page.words.count("What to do: as for finding 1.") == 2


def test_what_is_alike_stands_together_and_its_times_are_counted(analysis: Analysis) -> None:
    first, other = analysis.findings[1], analysis.findings[4]
    mixed = (first, other, replace(first, start_s=first.start_s + 60, end_s=first.end_s + 60))

    page = read_page(match_page(replace(analysis, findings=mixed)))

    assert [article["id"] for article in page.all("article")] == ["finding-1", "finding-3", "finding-2"]
    assert "dropped out, 2 times" in page.words
    assert "The same 1 more time; each opens" in page.words


def test_a_caution_of_every_job_is_not_repeated_in_each(analysis: Analysis) -> None:
    action = replace(analysis.pit_list[0], cautions=(HANDS_IN, "Hot."))

    page = read_page(match_page(replace(analysis, pit_list=(action, action))))

    assert HANDS_IN not in page.words.partition("Findings All")[0]
    assert page.words.count("Caution: Hot.") == 2


def test_the_general_cautions_stand_once(page: Page) -> None:
    assert page.words.count("main breaker off") == 1
    assert page.words.count("Eye protection on. Event rules, local codes and your mentors") == 1


def test_what_could_not_be_judged_is_never_shown_as_fine() -> None:
    page = read_page(match_page(bare_analysis()))

    assert "Nothing could be judged" in page.words
    assert "Nothing was ever enabled in this log" in page.words
    assert "no channel tells it" in page.words
    assert "Nothing must be fixed" not in page.words


def test_no_hit_is_not_claimed_where_nothing_could_have_told_one() -> None:
    page = read_page(match_page(bare_analysis()))

    assert "lane-contacts" not in [attributes.get("id") for _, attributes in page.elements]
    assert "no hit" not in page.words


def test_a_clear_match_is_only_clear_as_far_as_it_was_judged(analysis: Analysis) -> None:
    checks = tuple(check for check in analysis.checks if check.verdict is not Verdict.FOUND)

    page = read_page(match_page(replace(analysis, findings=(), pit_list=(), checks=checks)))

    assert "Nothing must be fixed, as far as it was judged" in page.words
    assert "4 checks could not be judged" in page.words


def test_a_broken_step_and_a_guess_are_told(analysis: Analysis) -> None:
    page = read_page(match_page(replace(analysis, failures=("pieces: ValueError: no beams",))))

    assert "1 check broke down" in page.words
    assert "pieces: ValueError: no beams" in page.words


def test_the_same_match_gives_the_same_bytes() -> None:
    assert match_page(synthetic_analysis()) == match_page(synthetic_analysis())


def forty_lanes(rate_hz: float) -> str:
    """A page of forty motors, each of them as noisy as can be, so that nothing is saved by a quiet lane."""
    analysis, rng = synthetic_analysis(rate_hz=rate_hz), np.random.default_rng(5)
    feed = analysis.motors["feed"]
    noises = [np.abs(rng.normal(30, 20, len(feed.t_s))) for _ in range(40)]
    busy = {f"motor_{n}": replace(feed, current_a=noise) for n, noise in enumerate(noises)}
    return match_page(replace(analysis, motors={**analysis.motors, **busy}))


def test_forty_lanes_of_eight_thousand_rows_fit_in_one_and_a_half_megabytes() -> None:
    assert len(forty_lanes(50).encode()) <= 1_500_000


def test_the_page_grows_with_pixels_and_not_with_rows() -> None:
    once, twice, tenfold = (len(forty_lanes(rate_hz).encode()) for rate_hz in (50, 100, 500))

    assert twice <= 1.05 * once
    assert tenfold <= 1.15 * once


def test_the_embedded_numbers_cannot_leave_their_element() -> None:
    page = read_page(match_page(hostile_analysis()))
    embedded = page.raw["script"][1]

    assert "<" not in embedded
    assert json.loads(embedded)["count"] > 1000


def test_hostile_names_become_text() -> None:
    html = match_page(hostile_analysis())
    page = read_page(html)

    assert len(page.all("img")) == 0
    assert len(page.all("script")) == 4
    assert not any(key.startswith("on") for _, attributes in page.elements for key in attributes)
    assert "<img src=x onerror=" in page.text
    assert "\u202e" not in html
    assert "\x00" not in html


def test_the_script_reads_only_what_the_page_holds(page: Page) -> None:
    script = page.raw["script"][-1]
    wanted = set(re.findall(r'byId\("([\w-]+)"\)', script))

    assert wanted <= {attributes.get("id") for _, attributes in page.elements}


def test_the_hottest_motor_and_the_slowest_cycle_stand_on_the_first_screen(analysis: Analysis) -> None:
    use = analysis.motor_use["feed"]
    hot = {**analysis.motor_use, "feed": replace(use, peak_heat=1.3, end_heat=0.9)}
    warm = {name: replace(one, peak_heat=0.2, end_heat=0.1) for name, one in hot.items()}
    start = {
        name: read_page(match_page(replace(analysis, motor_use=made))).words.partition("Pit list")[0]
        for name, made in (("hot", hot), ("warm", warm))
    }

    assert "Hottest motor: feed, at 130 % of its heat limit, 90 % when the match ended." in start["hot"]
    assert "Motor to rest: arm." in start["hot"]
    assert "Stood or hardly turned while driven: feed at" in start["warm"]
    assert "(heat at most 20 %)" in start["warm"]
    cool = tuple(finding for finding in analysis.findings if finding.kind != "overheat")
    rested = read_page(match_page(replace(analysis, motor_use=warm, findings=cool))).words
    assert "No motor needs a rest. Stood or hardly turned while driven: feed at" in rested
    calm = replace(analysis, motor_use=warm, findings=())
    assert "No motor needs a rest." in read_page(match_page(calm)).words
    assert "No motor needs a rest." not in start["hot"]
    assert "Slowest: cycle" in start["warm"]

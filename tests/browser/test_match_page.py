"""The page of a match in a real browser."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.browser.conftest import Visit

Opened = Callable[..., Visit]

SECTIONS = ["pit", "strip", "findings", "sensors", "driving", "motors", "log", "made"]


@pytest.mark.parametrize("name", ["match", "hostile", "bare", "event"])
def test_a_page_asks_for_nothing_and_complains_of_nothing(
    visit: Opened, pages: dict[str, Path], name: str
) -> None:
    opened = visit(name)

    assert opened.requests == [pages[name].as_uri()]
    assert opened.complaints == []


def test_the_sections_stand_under_each_other_in_order(visit: Opened) -> None:
    page = visit("match").page
    tops = page.eval_on_selector_all(
        "main > section", "all => all.map(s => [s.id, s.getBoundingClientRect().top])"
    )

    assert [name for name, _ in tops] == SECTIONS
    assert [top for _, top in tops] == sorted(top for _, top in tops)


def test_every_lane_is_drawn(visit: Opened) -> None:
    boxes = visit("match").page.eval_on_selector_all(
        ".lane svg.plot",
        "all => all.map(s => [s.getBoundingClientRect().width, s.getBoundingClientRect().height])",
    )

    assert len(boxes) == 16
    assert all(width > 600 and height >= 24 for width, height in boxes)


def test_lines_have_their_colour_under_the_policy(visit: Opened) -> None:
    colours = visit("match").page.eval_on_selector_all(
        "path.l-current, path.l-heat, path.l-voltage, path.bar",
        "all => all.map(p => getComputedStyle(p).stroke)",
    )

    assert len(set(colours)) == 5
    assert "none" not in colours


def test_keys_move_the_cursor_and_the_readings_follow(visit: Opened) -> None:
    opened = visit("match")
    page = opened.page
    assert opened.clock() == "0:01.9"

    page.keyboard.press("ArrowRight")
    assert opened.clock() == "0:02.0"
    page.keyboard.press("Shift+ArrowRight")
    assert opened.clock() == "0:03.0"
    page.keyboard.press("ArrowLeft")
    assert opened.clock() == "0:02.9"

    before = opened.reading("motor-0")
    page.locator("#cursor").focus()
    page.keyboard.press("End")
    assert opened.clock() == "2:39.3"
    assert opened.reading("motor-0") != before
    assert opened.reading("phase") == "disabled"
    page.keyboard.press("Home")
    assert opened.clock() == "−0:03.1"


def test_the_readings_are_those_of_the_instant(visit: Opened) -> None:
    opened = visit("match")

    for _ in range(3):
        opened.page.keyboard.press("n")

    assert opened.clock() == "0:58.350"
    assert opened.reading("phase") == "teleop"
    assert opened.reading("findings") == "1 uneven load, 2 dropped out, 3 stalled"
    assert opened.reading("beam-0") == "clear"
    assert opened.reading("contacts") == "hit 5.1\u00a0g"
    assert opened.reading("limit-0") == "pressed"
    assert opened.reading("cycles") == "4, carry"


def test_findings_are_walked_by_key_and_by_button(visit: Opened) -> None:
    opened = visit("match")
    told = opened.page.locator("#told")

    opened.page.keyboard.press("n")
    assert told.inner_text() == "1. drive: uneven load"
    opened.page.get_by_role("button", name="Next finding").click()
    assert told.inner_text() == "2. entry: dropped out"
    opened.page.keyboard.press("p")
    opened.page.keyboard.press("p")
    assert told.inner_text() == "8. arm_high: driven past its limit"

    told.locator("a").click()
    assert opened.page.evaluate("location.hash") == "#finding-8"


def test_away_from_the_strip_a_key_goes_to_the_finding_itself(visit: Opened) -> None:
    page = visit("match").page
    page.locator("#made").scroll_into_view_if_needed()

    page.keyboard.press("n")

    assert page.evaluate("document.activeElement.id") == "finding-1"
    top = page.locator("#finding-1").bounding_box()
    assert top is not None
    assert 0 <= top["y"] < 300


@pytest.mark.parametrize(
    "place", ["findings", "sensors", "motors", "made", "finding-5", "finding-8", "cycle-5"]
)
@pytest.mark.parametrize("width", [1280, 390])
def test_a_jump_lands_where_it_should(visit: Opened, place: str, width: int) -> None:
    page = visit("match", width=width, reduced_motion="no-preference").page

    page.evaluate(f"location.hash = '{place}'")
    page.wait_for_timeout(400)

    top, below = page.evaluate(
        f"[document.getElementById('{place}').getBoundingClientRect().top,"
        " document.documentElement.scrollHeight - scrollY - innerHeight]"
    )
    assert 0 <= top < (30 if below > 2 else 800)


def test_a_jump_in_the_midst_of_a_move_lands_as_well(visit: Opened) -> None:
    page = visit("match", reduced_motion="no-preference").page
    page.locator("#strip").scroll_into_view_if_needed()
    for key in ("ArrowRight", "+", "]"):
        page.keyboard.press(key)
    page.evaluate("location.hash = 'finding-7'")
    page.wait_for_timeout(1500)

    top = page.evaluate("document.getElementById('finding-7').getBoundingClientRect().top")
    assert 0 <= top < 30


def test_opened_at_a_finding_the_page_stands_there(visit: Opened, pages: dict[str, Path]) -> None:
    page = visit("bare").page
    page.goto(pages["match"].as_uri() + "#finding-7")
    page.wait_for_timeout(600)

    top = page.evaluate("document.getElementById('finding-7').getBoundingClientRect().top")
    assert 0 <= top < 30


def test_at_rest_all_of_the_page_is_drawn(visit: Opened) -> None:
    page = visit("match").page
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(1500)

    skipped = page.evaluate(
        "[...document.querySelectorAll('.finding svg, #made dd')]"
        ".filter((e) => !e.checkVisibility({ contentVisibilityAuto: true })).length"
    )
    assert skipped == 0


def test_the_pointer_moves_the_cursor(visit: Opened) -> None:
    opened = visit("match")
    plot = opened.page.locator("#lane-supply svg.plot")
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    assert box is not None

    plot.click(position={"x": box["width"] / 2, "y": 50})

    assert opened.clock() == "1:18.1"


def test_a_moment_in_a_table_leads_to_the_strip(visit: Opened) -> None:
    opened = visit("match")

    opened.page.locator("#driving a.moment").nth(2).click()

    assert opened.clock() == "0:31.8"
    assert opened.page.evaluate("location.hash") == "#strip"


def test_zoom_widens_the_strip_inside_its_own_region(visit: Opened) -> None:
    opened = visit("match")
    plot = opened.page.locator("#lane-cycles svg.plot")
    before = plot.bounding_box()

    opened.page.get_by_role("button", name="Zoom in").click()
    opened.page.keyboard.press("+")
    opened.page.wait_for_selector("#lanes:not(.zooming)", state="attached")
    opened.page.wait_for_timeout(100)
    after = plot.bounding_box()

    assert before is not None
    assert after is not None
    assert after["width"] == pytest.approx(4 * before["width"])
    assert opened.width()[0] <= 1280
    strip = opened.page.locator(".strip").evaluate("e => [e.scrollLeft, e.clientWidth < 1280]")
    assert strip == [0, True]


def test_play_moves_on_and_pauses(visit: Opened) -> None:
    opened = visit("match")

    opened.page.keyboard.press("g")
    opened.page.wait_for_timeout(700)
    opened.page.keyboard.press("g")
    stopped = opened.clock()
    assert stopped > "0:02.2"
    opened.page.wait_for_timeout(150)

    assert opened.clock() == stopped
    assert opened.page.get_by_role("button", name="Play", exact=True).is_visible()


@pytest.mark.parametrize(("motion", "least", "most"), [("reduce", 1, 4), ("no-preference", 6, 200)])
def test_replay_moves_in_few_steps_where_motion_is_to_be_reduced(
    visit: Opened, motion: str, least: int, most: int
) -> None:
    page = visit("match", reduced_motion=motion).page

    moves = page.evaluate(
        """() => new Promise((done) => {
          let moves = 0;
          const watcher = new MutationObserver(() => { moves += 1; });
          watcher.observe(document.querySelector("#now"), { childList: true });
          document.querySelector("[data-do=play]").click();
          setTimeout(() => done(moves), 1300);
        })"""
    )

    assert least <= moves <= most


def test_the_filter_shows_one_level(visit: Opened) -> None:
    page = visit("match").page

    page.get_by_role("button", name="Fix 3").click()
    assert page.locator(".finding:visible").count() == 3
    page.keyboard.press("v")
    assert page.locator(".finding:visible").count() == 4
    page.get_by_role("button", name="All 8").click()
    assert page.locator(".finding:visible").count() == 8


def test_a_mark_leads_to_a_finding_that_the_filter_hides(visit: Opened) -> None:
    page = visit("match").page
    page.get_by_role("button", name="Note 1").click()

    page.locator("#lane-findings a").nth(1).click()

    assert page.locator("#finding-2").is_visible()


def test_a_mark_opens_one_of_many_findings_alike(visit: Opened) -> None:
    page = visit("again").page
    close_up = page.locator("#finding-3 figure.close")
    assert close_up.is_hidden()

    page.locator("#lane-findings a").nth(2).click()

    assert close_up.is_visible()


def test_keys_are_listed_and_sections_reached(visit: Opened) -> None:
    page = visit("match").page

    page.keyboard.press("?")
    assert page.get_by_role("dialog", name="Keys").is_visible()
    page.keyboard.press("Escape")
    page.keyboard.press("5")
    assert page.evaluate("document.activeElement.id") == "driving"


@pytest.mark.parametrize("name", ["match", "hostile", "bare", "event"])
def test_no_sideways_scroll_on_a_phone(visit: Opened, name: str) -> None:
    opened = visit(name, width=390)
    for width in (390, 320):
        opened.page.set_viewport_size({"width": width, "height": 800})

        wanted, given = opened.width()

        assert (wanted <= given, given) == (True, width)


def test_every_button_is_large_enough(visit: Opened) -> None:
    sizes = visit("match", width=390).page.eval_on_selector_all(
        "button, input, .marks a, #lane-findings a",
        "all => all.map(b => b.getBoundingClientRect()).filter(r => r.width)"
        ".map(r => Math.round(100 * Math.min(r.width, r.height)) / 100)",
    )

    assert len(sizes) > 20
    assert min(sizes) >= 24


def test_hostile_names_are_text_and_nothing_of_them_ran(visit: Opened) -> None:
    opened = visit("hostile")

    assert opened.page.title() == "evil – " + opened.page.locator(".robot bdi").inner_text()
    assert opened.page.locator("img").count() == 0
    assert opened.page.locator("#lane-beam-0 strong").inner_text().startswith("<img src=x onerror=")
    opened.page.keyboard.press("n")
    opened.page.keyboard.press("n")
    assert "<img src=x" in opened.page.locator("#told").inner_text()
    assert opened.complaints == []


@pytest.mark.parametrize("name", ["match", "bare", "event"])
def test_without_a_script_the_page_is_whole(visit: Opened, name: str) -> None:
    opened = visit(name, java_script_enabled=False)

    assert opened.complaints == []
    if name != "event":
        assert opened.page.locator("#controls").is_hidden()
    if name == "match":
        assert opened.page.locator("#lane-motor-2 .rest").is_visible()
        assert opened.page.locator(".finding").count() == 8


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_ground_follows_the_readers_choice(visit: Opened, scheme: str) -> None:
    ground = visit("match", color_scheme=scheme).page.evaluate(
        "getComputedStyle(document.documentElement).backgroundColor"
    )

    assert ground == {"light": "rgb(241, 244, 238)", "dark": "rgb(15, 21, 18)"}[scheme]


def test_twelve_long_actions_still_print_on_one_page(visit: Opened) -> None:
    printed = PdfReader(BytesIO(visit("full").page.pdf(prefer_css_page_size=True)))
    first, second = (printed.pages[number].extract_text() for number in (0, 1))

    assert [f"job {number}." in first for number in range(1, 13)] == [True] * 12
    assert "Eye protection on" in first
    assert second.startswith("Match strip")


@pytest.mark.parametrize("script", [True, False])
def test_printed_the_pit_list_is_one_page_and_everything_is_open(visit: Opened, script: bool) -> None:
    opened = visit("match", java_script_enabled=script, color_scheme="dark")

    printed = PdfReader(BytesIO(opened.page.pdf(prefer_css_page_size=True)))
    texts = [sheet.extract_text() for sheet in printed.pages]

    assert "Pit list" in texts[0]
    assert "Spin both sides of the drive by hand" in texts[0]
    assert "Eye protection on" in texts[0]
    assert "Match strip" in texts[1]
    assert "Match strip" not in texts[0]
    whole = "\n".join(texts)
    assert "drew nothing" in whole
    assert "accelerometer" in whole
    assert "Zoom" not in whole


def test_printed_the_event_runs_on_from_section_to_section(visit: Opened) -> None:
    printed = PdfReader(BytesIO(visit("event").page.pdf(prefer_css_page_size=True)))
    first = printed.pages[0].extract_text()

    assert "All matches" in first
    assert "What comes back" in first


def test_the_next_finding_is_the_next_one_after_the_cursor(visit: Opened) -> None:
    page = visit("match").page
    found = page.evaluate("JSON.parse(document.querySelector('#cursor-data').textContent).findings")
    page.locator("#strip").scroll_into_view_if_needed()
    after_s = found[2][0] + 1
    page.evaluate(
        """([t]) => {
          const cursor = document.querySelector('#cursor');
          cursor.value = String(Math.round((t - stretch.data.start) / stretch.data.step));
          cursor.dispatchEvent(new Event('input'));
        }""",
        [after_s],
    )
    page.keyboard.press("n")
    assert page.locator("#told").inner_text() == next(title for t, title in found if t > after_s)


def test_space_plays_while_the_strip_is_in_sight_and_scrolls_elsewhere(visit: Opened) -> None:
    page = visit("match").page
    play = page.locator("[data-do=play]")
    page.locator("#lane-cycles").scroll_into_view_if_needed()
    scrolled = page.evaluate("scrollY")
    page.keyboard.press("Space")
    assert play.get_attribute("aria-pressed") == "true"
    page.keyboard.press("Space")
    assert play.get_attribute("aria-pressed") == "false"
    assert page.evaluate("scrollY") == scrolled
    page.evaluate("document.querySelector('#made').scrollIntoView()")
    page.keyboard.press("Space")
    assert play.get_attribute("aria-pressed") == "false"

"""Zoomed in, every reading: samples unpacked in the page, drawn over the lanes, and stepped through."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from playwright.sync_api import Page, expect

from tests.browser.conftest import Visit
from tests.reports.synthetic_match import START_S, synthetic_analysis

Opened = Callable[..., Visit]

READY = "#lanes[data-samples=ready]"
CURRENT = "[data-lane='motor-0']"


def ready(visit: Opened, **options: object) -> Visit:
    opened = visit("match", **options)
    opened.page.wait_for_selector(READY, state="attached")
    return opened


def dark_pixels(page: Page, lane: str) -> int:
    """How many pixels of a lane's canvas are drawn on; none where there is no canvas."""
    drawn = page.evaluate(
        """lane => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => {
          const canvas = document.querySelector(`#lane-${lane} canvas`);
          if (!canvas || !canvas.width || getComputedStyle(canvas).display === 'none') return done(0);
          const pixels = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
          done(pixels.filter((value, at) => at % 4 === 3 && value > 100).length);
        })))""",
        lane,
    )
    return int(drawn)


def test_a_step_by_reading_goes_from_sample_to_sample(visit: Opened) -> None:
    opened = ready(visit)
    trace = synthetic_analysis().motors["drive_left"]

    for _ in range(4):
        opened.page.keyboard.press("r")
    opened.page.keyboard.press("Shift+R")
    at_s = opened.page.evaluate("Number(document.querySelector('#now').textContent.split(':')[1])")

    nearest = int(np.argmin(np.abs(trace.t_s - START_S - at_s)))
    assert abs(trace.t_s[nearest] - START_S - at_s) < 0.0006
    assert opened.reading("motor-0").startswith(f"{trace.current_a[nearest]:.1f} A")


def test_a_step_by_event_tells_what_happened(visit: Opened) -> None:
    opened = ready(visit)
    opened.page.locator("#cursor").focus()
    opened.page.keyboard.press("Home")

    told = []
    for _ in range(3):
        opened.page.keyboard.press("e")
        told.append((opened.clock(), opened.page.locator("#told").inner_text()))
    opened.page.keyboard.press("Shift+E")

    assert told[0] == ("0:00.0", "autonomous begins")
    assert len({clock for clock, _ in told}) == 3
    assert (opened.clock(), opened.page.locator("#told").inner_text()) == told[1]


def test_the_step_buttons_take_the_chosen_stride(visit: Opened) -> None:
    opened = ready(visit)
    opened.page.locator("#stride").select_option("event")
    opened.page.get_by_role("button", name="Step on").click()

    assert opened.page.locator("#told").inner_text() != ""


def test_zoomed_in_lanes_show_their_samples(visit: Opened) -> None:
    opened = ready(visit)
    page = opened.page
    page.locator("#lane-motor-0").scroll_into_view_if_needed()
    assert dark_pixels(page, "motor-0") == 0

    for _ in range(6):
        page.keyboard.press("+")
    page.wait_for_timeout(200)

    assert dark_pixels(page, "motor-0") > 300
    assert page.locator("#lane-motor-0 path.l-current").is_hidden()
    page.keyboard.press("0")
    expect(page.locator("#shown")).to_have_text("whole match")
    assert dark_pixels(page, "motor-0") == 0
    assert page.locator("#lane-motor-0 path.l-current").is_visible()


def test_the_wheel_zooms_about_the_pointer_and_a_drag_slides(visit: Opened) -> None:
    opened = ready(visit)
    page = opened.page
    view = page.locator("#lane-supply .view")
    view.scroll_into_view_if_needed()
    box = view.bounding_box()
    assert box is not None
    at = (box["x"] + 0.75 * box["width"], box["y"] + 10)
    box_of_view = "document.querySelector('.view').getBoundingClientRect()"
    instant = f"([x]) => {{ const b = {box_of_view}; return (x - b.left) / b.width; }}"

    page.mouse.move(*at)
    page.keyboard.down("Control")
    for _ in range(4):
        page.mouse.wheel(0, -100)
    page.keyboard.up("Control")
    page.wait_for_timeout(100)
    assert page.locator("#lanes").evaluate("e => e.scrollWidth") > 4 * box["width"]
    assert abs(page.evaluate(instant, [at[0]]) - 0.75) < 0.003

    before = opened.clock()
    page.mouse.down()
    page.mouse.move(at[0] - 300, at[1], steps=4)
    page.mouse.up()
    assert opened.clock() == before
    assert page.evaluate(instant, [at[0]]) > 0.76


def test_sliding_by_key_and_by_button(visit: Opened) -> None:
    page = ready(visit).page
    for _ in range(3):
        page.keyboard.press("+")
    left = page.locator(".strip").evaluate("e => e.scrollLeft")

    page.keyboard.press("]")
    page.get_by_role("button", name="Slide right").click()
    page.keyboard.press("[")

    assert page.locator(".strip").evaluate("e => e.scrollLeft") > left + 200


def test_where_the_browser_cannot_inflate_the_envelope_serves(visit: Opened) -> None:
    opened = visit("match", java_script_enabled=True)
    page = opened.page
    page.add_init_script("delete window.DecompressionStream")
    page.reload()

    for _ in range(3):
        page.keyboard.press("+")
    page.keyboard.press("r")

    assert opened.complaints == []
    assert page.locator("#lane-motor-0 path.l-current").is_visible()
    assert opened.reading("motor-0").endswith(tuple("0123456789"))

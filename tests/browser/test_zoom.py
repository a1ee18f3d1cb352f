"""Zoomed in, every reading: samples unpacked in the page, drawn over the lanes, and stepped through."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import CDPSession, Page, expect

from tests.browser.conftest import Visit
from tests.reports.synthetic_match import START_S, synthetic_analysis

Opened = Callable[..., Visit]

READY = "#lanes[data-samples=ready]"
CURRENT = "[data-lane='motor-0']"


def ready(visit: Opened, **options: object) -> Visit:
    opened = visit("match", **options)
    opened.page.wait_for_selector(READY, state="attached")
    return opened


def settled(page: Page) -> None:
    """Waits until the lanes in sight stand where they belong: the zoom at rest, and four frames."""
    page.wait_for_selector("#lanes:not(.zooming)", state="attached")
    page.evaluate(
        """() => new Promise((done) => {
          const frame = (left) => (left ? requestAnimationFrame(() => frame(left - 1)) : done());
          frame(4);
        })"""
    )


def width_of_plot(page: Page) -> float:
    """How wide the whole match is drawn."""
    return float(page.locator("#lane-cycles svg.plot").evaluate("e => e.getBoundingClientRect().width"))


def share_at(page: Page, x: float) -> float:
    """Which share of the match stands at this place of the window."""
    box = "document.querySelector('#lane-cycles svg.plot').getBoundingClientRect()"
    return float(page.evaluate(f"([x]) => {{ const b = {box}; return (x - b.left) / b.width; }}", [x]))


def dark_pixels(page: Page, lane: str) -> int:
    """How many pixels of the sheet are drawn on within a lane; none where there is no sheet."""
    settled(page)
    drawn = page.evaluate(
        """lane => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => {
          const canvas = document.querySelector('#sheet canvas');
          if (!canvas.getClientRects().length) return done(0);
          const box = document.querySelector(`#lane-${lane} .plot`).getBoundingClientRect();
          const top = Math.round(box.top - canvas.getBoundingClientRect().top);
          const pixels = canvas.getContext('2d').getImageData(0, top, canvas.width, box.height).data;
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
    view = page.locator("#lane-cycles .view")
    view.scroll_into_view_if_needed()
    box = view.bounding_box()
    assert box is not None
    at = (box["x"] + 0.75 * box["width"], box["y"] + 5)

    page.mouse.move(*at)
    page.keyboard.down("Control")
    for _ in range(4):
        page.mouse.wheel(0, -100)
    page.keyboard.up("Control")
    settled(page)
    assert width_of_plot(page) > 4 * box["width"]
    assert share_at(page, at[0]) == pytest.approx(0.75, abs=0.003)

    before = opened.clock()
    page.mouse.down()
    page.mouse.move(at[0] - 300, at[1], steps=4)
    page.mouse.up()
    settled(page)
    assert opened.clock() == before
    assert share_at(page, at[0]) > 0.76


def picture(page: Page, lane: str) -> np.ndarray:
    """A lane as it stands on the screen, grey."""
    shot = page.locator(f"#lane-{lane} .view").screenshot()
    return np.asarray(Image.open(BytesIO(shot)).convert("L"), dtype=float)


@pytest.mark.parametrize("lane", ["findings", "contacts", "cycles", "beam-0"])
def test_while_it_zooms_a_lane_looks_as_it_does_at_rest(visit: Opened, lane: str) -> None:
    page = ready(visit).page
    page.locator(f"#lane-{lane}").scroll_into_view_if_needed()
    page.evaluate(
        """() => {
          const wider = document.querySelector('[data-do=wider]');
          for (let n = 0; n < 2; n += 1) wider.click();
          window.again = setInterval(() => {
            for (const way of ['narrower', 'wider']) document.querySelector(`[data-do=${way}]`).click();
          }, 40);
        }"""
    )
    page.wait_for_timeout(300)
    assert page.locator("#lanes.zooming").count() == 1
    moving = picture(page, lane)
    page.evaluate("clearInterval(window.again)")
    settled(page)
    resting = picture(page, lane)

    inked = resting < resting.max() - 40
    assert inked.mean() > 0.002
    near = np.minimum.reduce([np.roll(moving, shift, 1) for shift in (-2, -1, 0, 1, 2)])
    assert np.mean(near[inked] < resting.max() - 25) > 0.93


def test_a_mark_with_the_focus_stays_in_sight_while_it_zooms(visit: Opened) -> None:
    page = ready(visit).page
    page.locator("#lane-cycles a").first.focus()
    seen = page.evaluate(
        """() => {
          document.querySelector('[data-do=wider]').click();
          const plots = ['cycles', 'findings'].map((lane) => document.querySelector(`#lane-${lane} .plot`));
          return plots.map((plot) => getComputedStyle(plot).visibility);
        }"""
    )
    assert seen == ["visible", "hidden"]
    settled(page)
    assert page.locator("#lane-findings .plot").evaluate("e => getComputedStyle(e).visibility") == "visible"


STEPS = {
    "zoom": "document.querySelector(n % 12 < 6 ? '[data-do=wider]' : '[data-do=narrower]').click()",
    "slide": "document.querySelector(n % 2 ? '[data-do=left]' : '[data-do=right]').click()",
    "cursor": "document.querySelector('[data-do=on]').click()",
}


@pytest.mark.parametrize("step", STEPS)
def test_a_step_lays_the_page_out_once_a_frame(visit: Opened, step: str) -> None:
    """What keeps thirty frames a second on a slow processor, told without a clock."""
    page = ready(visit).page
    page.locator("#strip").scroll_into_view_if_needed()
    page.evaluate("for (let n = 0; n < 3; n += 1) document.querySelector('[data-do=wider]').click()")
    settled(page)
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable")

    def counted() -> dict[str, float]:
        metrics = session.send("Performance.getMetrics")["metrics"]
        return {metric["name"]: metric["value"] for metric in metrics}

    before = counted()
    page.evaluate(
        f"""() => new Promise((done) => {{
          const frame = (n) => {{
            if (n === 24) return done();
            {STEPS[step]};
            requestAnimationFrame(() => frame(n + 1));
          }};
          frame(0);
        }})"""
    )
    after = counted()

    assert after["LayoutCount"] - before["LayoutCount"] <= 24 + 4
    assert after["RecalcStyleCount"] - before["RecalcStyleCount"] <= 2 * 24 + 8


def test_sliding_by_key_and_by_button(visit: Opened) -> None:
    page = ready(visit).page
    page.locator("#lane-cycles").scroll_into_view_if_needed()
    for _ in range(3):
        page.keyboard.press("+")
    settled(page)
    before = share_at(page, 700)

    page.keyboard.press("]")
    page.get_by_role("button", name="Slide right").click()
    page.keyboard.press("[")
    settled(page)

    assert share_at(page, 700) == pytest.approx(before + 0.5 / 8, abs=0.001)


def test_the_wheel_slides_with_shift_and_sideways_but_leaves_the_page_its_own(visit: Opened) -> None:
    page = ready(visit).page
    for _ in range(3):
        page.keyboard.press("+")
    page.locator("#lane-cycles .view").hover()
    settled(page)
    before, scrolled = share_at(page, 700), page.evaluate("scrollY")

    page.mouse.wheel(100, 0)
    settled(page)
    sideways = share_at(page, 700)
    page.keyboard.down("Shift")
    page.mouse.wheel(0, 100)
    page.keyboard.up("Shift")
    settled(page)
    assert before < sideways < share_at(page, 700)
    assert page.evaluate("scrollY") == scrolled
    page.mouse.wheel(0, 100)
    page.wait_for_timeout(200)
    assert page.evaluate("scrollY") > scrolled


def touch(session: CDPSession, kind: str, *points: tuple[float, float]) -> None:
    """One touch event with these fingers down."""
    fingers = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(points)]
    session.send("Input.dispatchTouchEvent", {"type": f"touch{kind}", "touchPoints": fingers})


def test_two_fingers_zoom_about_their_middle_and_one_slides(visit: Opened) -> None:
    opened = ready(visit, width=390, has_touch=True, is_mobile=True)
    page = opened.page
    view = page.locator("#lane-cycles .view")
    view.scroll_into_view_if_needed()
    settled(page)
    box = view.bounding_box()
    assert box is not None
    y, middle = box["y"] + 5, 200.0
    fingers = page.context.new_cdp_session(page)
    width, share, before = width_of_plot(page), share_at(page, middle), opened.clock()

    touch(fingers, "Start", (middle - 40, y), (middle + 40, y))
    for apart in (50, 60, 80):
        touch(fingers, "Move", (middle - apart, y), (middle + apart, y))
    touch(fingers, "End")
    settled(page)
    assert width_of_plot(page) == pytest.approx(2 * width, rel=0.02)
    assert share_at(page, middle) == pytest.approx(share, abs=0.01)

    touch(fingers, "Start", (middle, y))
    for moved in (20, 60, 100):
        touch(fingers, "Move", (middle - moved, y))
    touch(fingers, "End")
    settled(page)
    assert share_at(page, middle) == pytest.approx(share + 100 / width_of_plot(page), abs=0.02)
    assert opened.clock() == before
    page.locator("#lane-motor-0 .view").tap(position={"x": 60, "y": 30})
    assert opened.clock() != before


def test_on_a_phone_the_lanes_stay_legible_and_inside_their_region(visit: Opened) -> None:
    opened = ready(visit, width=390)

    assert width_of_plot(opened.page) == pytest.approx(600)
    expect(opened.page.locator("#shown")).not_to_have_text("whole match")
    assert opened.width()[0] <= 390


def test_a_mark_out_of_sight_slides_into_it_when_the_keyboard_reaches_it(visit: Opened) -> None:
    page = ready(visit).page
    page.locator("#lane-findings a").first.focus()
    for _ in range(5):
        page.keyboard.press("+")
    for _ in range(4):
        page.keyboard.press("Tab")
        settled(page)
        inside = page.evaluate(
            """() => {
              const mark = document.activeElement.getBoundingClientRect();
              const view = document.querySelector('#lane-findings .view').getBoundingClientRect();
              return mark.left >= view.left - 14 && mark.right <= view.right + 14;
            }"""
        )
        assert inside


def test_lines_keep_their_spikes_and_their_gaps_at_any_zoom(visit: Opened) -> None:
    page = ready(visit).page
    drawn = page.evaluate(
        """() => {
          const t = [0, 1, 2, 3, 3.001, 3.002, 8, 9], v = [0, 0, 0, 0, 9, 0, 0, 0];
          const words = new Uint32Array(90 * 12);
          const window = { columns: 90, from: 0, perSecond: 10, level: (v) => 10 - v };
          pixels.gather({ t, v }, 0, t.length, 2, window);
          pixels.paint({ words, width: 90, height: 12 }, 0x0000ff, 1, () => false);
          const filled = (x, y) => words[y * 90 + x] !== 0;
          return [filled(30, 1), filled(29, 1), filled(15, 10), filled(50, 10), filled(85, 10)];
        }"""
    )

    assert drawn == [True, False, True, False, True]


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

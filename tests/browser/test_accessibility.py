"""Who cannot see well, point well or use a mouse: axe in three colour modes, the keyboard, narrow screens.

axe is evaluated from its source in the page: the policy rightly blocks an added script element.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files

import pytest

from tests.browser.conftest import Visit

Opened = Callable[..., Visit]

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def violations(opened: Visit, rules: list[str] = RULES) -> list[str]:
    """What axe complains about, with the first place of each."""
    if not opened.page.evaluate("'axe' in window"):
        opened.page.evaluate(AXE)
    told = opened.page.evaluate("rules => axe.run({runOnly: rules, resultTypes: ['violations']})", rules)
    assert len(told["passes"]) + len(told["violations"]) > 0
    return [f"{found['id']}: {found['nodes'][0]['html'][:160]}" for found in told["violations"]]


@pytest.mark.parametrize("name", ["match", "event"])
def test_axe_finds_nothing_in_any_colour_mode(visit: Opened, name: str) -> None:
    opened = visit(name)
    assert violations(opened) == []
    for mode in ({"color_scheme": "dark"}, {"color_scheme": "light", "forced_colors": "active"}):
        opened.page.emulate_media(**mode)
        assert violations(opened, ["cat.color"]) == []


@pytest.mark.parametrize("name", ["hostile", "bare", "again"])
def test_axe_finds_nothing_on_odd_pages(visit: Opened, name: str) -> None:
    opened = visit(name, width=320)
    opened.page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")

    assert violations(opened, [rule for rule in RULES if rule != "cat.color"]) == []


def test_axe_would_tell(visit: Opened) -> None:
    opened = visit("bare")
    opened.page.evaluate("document.querySelector('#cursor').removeAttribute('aria-label')")
    opened.page.evaluate("document.querySelector('h2').style.color = '#cfd4cc'")

    told = violations(opened, ["wcag2a", "cat.color"])

    assert [line.partition(":")[0] for line in told] == ["color-contrast", "label"]


FOCUS = """() => {
  const focused = document.activeElement;
  const box = focused.getBoundingClientRect();
  const x = Math.min(Math.max(box.left + Math.min(box.width / 2, 40), 1), innerWidth - 1);
  const y = (Math.max(box.top, 0) + Math.min(box.bottom, innerHeight)) / 2;
  const hit = document.elementFromPoint(x, y);
  const free = focused.contains(hit) || hit?.contains(focused);
  const ring = getComputedStyle(focused);
  return {
    what: focused.outerHTML.slice(0, 120), tag: focused.tagName,
    seen: box.bottom > 0 && box.top < innerHeight,
    free: Boolean(free), ring: ring.outlineStyle !== "none" && parseFloat(ring.outlineWidth) >= 2,
  };
}"""


def test_the_keyboard_walks_the_whole_page_in_plain_sight(visit: Opened) -> None:
    page = visit("match").page
    stops = []
    for _ in range(400):
        page.keyboard.press("Tab")
        stop = page.evaluate(FOCUS)
        if stop["tag"] == "BODY":
            break
        stops.append(stop)

    assert stops[0]["what"].startswith('<a class="skip"')
    assert {"BUTTON", "INPUT", "SUMMARY", "A", "DIV"} <= {stop["tag"] for stop in stops}
    assert len(stops) > 60
    assert [stop["what"] for stop in stops if not stop["seen"]] == []
    assert [stop["what"] for stop in stops if not stop["ring"]] == []
    assert [stop["what"] for stop in stops if not stop["free"]] == []


def test_keys_are_off_while_typing_and_with_a_command_key(visit: Opened) -> None:
    opened = visit("match")
    opened.page.evaluate(
        "document.body.append(Object.assign(document.createElement('textarea'), {id: 'typed'}))"
    )
    opened.page.locator("#typed").focus()
    before = opened.clock()

    opened.page.keyboard.type("npv")
    assert opened.page.locator("#typed").input_value() == "npv"
    opened.page.keyboard.press("ArrowRight")
    assert opened.clock() == before
    opened.page.locator("#typed").evaluate("box => box.blur()")
    opened.page.keyboard.press("Control+ArrowRight")
    assert opened.clock() == before


def test_nothing_moves_by_itself_while_the_page_loads(visit: Opened) -> None:
    shift = visit("match").page.evaluate(
        """() => new Promise(done => {
          let sum = 0;
          new PerformanceObserver(list => { for (const entry of list.getEntries()) sum += entry.value; })
            .observe({ type: "layout-shift", buffered: true });
          setTimeout(() => done(sum), 250);
        })"""
    )

    assert shift < 0.01

"""The report on the sample event, as a user makes it, in a real browser from a folder on disk."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

MATCHES = [f"match-0{number}" for number in range(1, 7)]


def _opened(browser: Browser, path: Path) -> tuple[Page, list[str], list[str]]:
    page = browser.new_context(viewport={"width": 1280, "height": 800}, offline=True).new_page()
    page.set_default_timeout(5000)
    requests: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(path.as_uri())
    return page, requests, complaints


@pytest.mark.parametrize("match", MATCHES)
def test_each_page_stands_alone_and_shows_its_strip(
    browser: Browser, sample_report: Path, match: str
) -> None:
    path = sample_report / match / "index.html"
    page, requests, complaints = _opened(browser, path)
    boxes = page.eval_on_selector_all(
        ".lane svg.plot", "all => all.map(s => s.getBoundingClientRect().width)"
    )
    assert requests == [path.as_uri()]
    assert complaints == []
    assert len(boxes) >= 12
    assert min(boxes) > 600
    page.context.close()


def test_the_cursor_walks_by_key(browser: Browser, sample_report: Path) -> None:
    page, _requests, complaints = _opened(browser, sample_report / "match-02" / "index.html")
    clock = page.locator("#now")
    before = clock.inner_text()
    page.keyboard.press("Shift+ArrowRight")
    after_a_stride = clock.inner_text()
    page.keyboard.press("ArrowLeft")
    assert len({before, after_a_stride, clock.inner_text()}) == 3
    assert complaints == []
    page.context.close()


def test_the_event_page_leads_to_every_match_and_back(browser: Browser, sample_report: Path) -> None:
    page, _requests, complaints = _opened(browser, sample_report / "index.html")
    for match in MATCHES:
        page.goto((sample_report / "index.html").as_uri())
        page.locator(f"a[href='{match}/index.html']").first.click()
        assert page.locator("h1").inner_text().endswith(match)
        page.locator("a[href='../index.html']").first.click()
    assert complaints == []
    page.context.close()

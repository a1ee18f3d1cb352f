"""A real Chromium, with the network off, that tells everything a page asks for or complains about."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from reports import event_page, match_page
from telemetry.analysis import Action
from telemetry.event import Unusable, event_of
from telemetry.finding import Finding
from telemetry.wording import HANDS_IN, HELD_ARM, HOT_MOTOR
from tests.reports.synthetic_match import bare_analysis, hostile_analysis, synthetic_analysis

_NAMES = ("chromium", "chromium-browser", "google-chrome")
OPTIONS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--force-color-profile=srgb"]


def chromium_path() -> str | None:
    """The Chromium named in the environment, or the first one found."""
    return os.environ.get("RATTLETRACE_CHROMIUM") or next(filter(None, map(shutil.which, _NAMES)), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = chromium_path()
    if path is None:
        reason = "no Chromium: install one or name it in RATTLETRACE_CHROMIUM"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=OPTIONS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Pages on disk, each alone in its folder."""
    analysis = synthetic_analysis()
    event = event_of(
        [analysis, analysis], names=["one", "two"], unusable=[Unusable("a.csv", "rattletrace: a.csv: empty")]
    )
    made = {
        "match": match_page(analysis),
        "hostile": match_page(hostile_analysis()),
        "again": match_page(replace(analysis, findings=thrice(analysis.findings[1]))),
        "full": match_page(replace(analysis, pit_list=full_pit_list())),
        "bare": match_page(bare_analysis()),
        "event": event_page(event),
    }
    folder = tmp_path_factory.mktemp("pages")
    for name, html in made.items():
        (folder / name).mkdir()
        (folder / name / "index.html").write_text(html, encoding="utf-8")
    return {name: folder / name / "index.html" for name in made}


def thrice(finding: Finding) -> tuple[Finding, ...]:
    """The same trouble three times, half a minute apart."""
    return tuple(
        replace(finding, start_s=finding.start_s + 30 * n, end_s=finding.end_s + 30 * n) for n in range(3)
    )


def full_pit_list() -> tuple[Action, ...]:
    """Twelve actions, each as long as they come."""
    why = "Motor feed stood still for 2.20 s at 1:05.8 while driven, at 58 A. (2 more findings of this part.)"
    text = "Turn the mechanism of motor feed by hand and clear what binds or jams it; feel the motor"
    cautions = (HANDS_IN, HELD_ARM, HOT_MOTOR)
    return tuple(
        Action(
            f"{text}, and let it cool if it is hot: job {number}.",
            "feed",
            why,
            61.4,
            "fix",
            5.0,
            cautions,
            (0, 1, 2),
        )
        for number in range(1, 13)
    )


@dataclass
class Visit:
    """An open page, with all it asked for and all it complained about."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def clock(self) -> str:
        """The match time at the cursor."""
        return self.page.locator("#now").inner_text()

    def reading(self, lane: str) -> str:
        """What the cursor reads on a lane; those out of sight follow when the cursor rests."""
        self.page.wait_for_timeout(200)
        return self.page.locator(f"[data-lane='{lane}']").inner_text()

    def width(self) -> tuple[int, int]:
        """How wide the page would like to be, and how wide the window is."""
        wanted, given = self.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        return wanted, given


@pytest.fixture
def visit(browser: Browser, pages: dict[str, Path]) -> Iterator[Any]:
    """Opens a page by name in a context of its own; further arguments are the context's."""
    contexts = []

    def opened(name: str, width: int = 1280, **options: Any) -> Visit:
        options = {"offline": True, "reduced_motion": "reduce", **options}
        context = browser.new_context(viewport={"width": width, "height": 800}, **options)
        contexts.append(context)
        visit = Visit(context.new_page())
        visit.page.set_default_timeout(5000)
        visit.page.on("request", lambda request: visit.requests.append(request.url))
        visit.page.on("console", lambda message: visit.complaints.append(message.text))
        visit.page.on("pageerror", lambda error: visit.complaints.append(str(error)))
        visit.page.goto(pages[name].as_uri())
        return visit

    yield opened
    for context in contexts:
        context.close()

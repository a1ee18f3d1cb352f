"""A video beside the strip and the cursor, in step both ways within a tenth of a second."""

from __future__ import annotations

import wave
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from reports.page import Video, match_page
from tests.browser.conftest import Visit
from tests.reports.synthetic_match import synthetic_analysis

Opened = Callable[..., Visit]

START_S = 4.0
FILM = "document.querySelector('#video')"


@pytest.fixture(scope="module")
def film_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page with three minutes of silence in a video element: a container that every browser plays."""
    folder = tmp_path_factory.mktemp("film")
    with wave.open(str(folder / "video.wav"), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(1)
        sound.setframerate(8000)
        sound.writeframes(b"\x80" * 8000 * 180)
    html = match_page(synthetic_analysis(), video=Video("video.wav", START_S))
    (folder / "index.html").write_text(html, encoding="utf-8")
    return folder / "index.html"


@pytest.fixture
def page(browser: Browser, film_page: Path) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1280, "height": 800}, offline=True)
    page = context.new_page()
    page.set_default_timeout(5000)
    page.goto(film_page.as_uri())
    page.wait_for_function(f"{FILM}.readyState >= 1")
    yield page
    context.close()


def lag(page: Page) -> float:
    """How far the video is from the cursor, in seconds."""
    apart = page.evaluate(
        f"""() => {{
          const [minutes, seconds] = document.querySelector('#now').textContent.split(':').map(Number);
          return {FILM}.currentTime - {START_S} - (60 * minutes + seconds);
        }}"""
    )
    return abs(float(apart))


def test_the_video_goes_where_the_cursor_goes(page: Page) -> None:
    for key in ("n", "n", "ArrowRight", "e", "Shift+ArrowRight"):
        page.keyboard.press(key)
    page.wait_for_timeout(200)

    assert page.locator("#now").inner_text() != "0:00.0"
    assert lag(page) < 0.1


def test_the_cursor_goes_where_the_video_goes(page: Page) -> None:
    page.evaluate(f"{FILM}.currentTime = {START_S} + 61.5")
    page.wait_for_timeout(200)

    assert page.locator("#now").inner_text() == "1:01.5"
    assert lag(page) < 0.1


def test_they_run_in_step_at_any_pace_and_pause_together(page: Page) -> None:
    page.keyboard.press("f")
    page.keyboard.press("g")
    page.wait_for_timeout(700)
    running = page.evaluate(f"[{FILM}.paused, {FILM}.playbackRate]")
    apart = lag(page)
    page.evaluate(f"{FILM}.pause()")
    page.wait_for_timeout(150)

    assert running == [False, 2]
    assert apart < 0.1
    assert page.get_by_role("button", name="Play", exact=True).is_visible()
    assert lag(page) < 0.1


def test_before_the_video_begins_the_cursor_runs_alone(browser: Browser, film_page: Path) -> None:
    html = film_page.read_text(encoding="utf-8").replace(
        f'data-start="{START_S:.4f}"', 'data-start="-60.0000"'
    )
    late = film_page.with_name("late.html")
    late.write_text(html, encoding="utf-8")
    page = browser.new_page()
    page.goto(late.as_uri())
    page.wait_for_function(f"{FILM}.readyState >= 1")

    page.keyboard.press("g")
    page.wait_for_timeout(400)

    assert page.evaluate(f"[{FILM}.paused, {FILM}.currentTime]") == [True, 0]
    assert page.get_by_role("button", name="Pause").is_visible()
    page.close()


def test_without_a_video_there_is_no_frame(visit: Opened) -> None:
    assert visit("match").page.locator("video, .film").count() == 0


def test_a_video_that_cannot_be_played_leaves_no_frame(browser: Browser, tmp_path: Path) -> None:
    (tmp_path / "video.mp4").write_bytes(b"no video at all")
    html = match_page(synthetic_analysis(), video=Video("video.mp4", 0.0))
    (tmp_path / "index.html").write_text(html, encoding="utf-8")
    page = browser.new_page()
    page.goto((tmp_path / "index.html").as_uri())
    page.wait_for_function(f"{FILM}.error !== null")

    assert page.locator(".film").is_hidden()
    page.close()

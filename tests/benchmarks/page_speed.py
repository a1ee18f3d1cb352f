"""How fast the pages of a report open and move, with the processor slowed six times.

    python -m tests.benchmarks.page_speed report/match-02/index.html

Prints one JSON object a page. The bars: open within 1 s, at least 30 frames a second while the cursor moves,
while the strip zooms and while it slides. Times depend on the machine, so that no test rests on them; exit
status 1 tells that a bar was missed here.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser, CDPSession, Page, sync_playwright

from tests.browser.conftest import OPTIONS, chromium_path

SLOWED = 6
LOAD_BAR_S, FRAMES_BAR = 1.0, 30.0

MOVES = {
    "cursor": "document.body.dispatchEvent(new KeyboardEvent('keydown', {key: 'ArrowRight', bubbles: true}))",
    "zoom": "document.querySelector(n % 12 < 6 ? '[data-do=wider]' : '[data-do=narrower]').click()",
    "slide": "document.querySelector('.view')"
    ".dispatchEvent(new WheelEvent('wheel', {deltaX: 9, bubbles: true}))",
}
FRAMES = """(move) => new Promise((done) => {
  const act = MOVE;
  const begun = performance.now();
  let n = 0;
  const frame = (now) => {
    if (now - begun > 1500) { done(n / (now - begun) * 1000); return; }
    act(n);
    n += 1;
    requestAnimationFrame(frame);
  };
  requestAnimationFrame(frame);
})"""


def measure(browser: Browser, path: Path) -> dict[str, float]:
    """Median seconds to load of three openings, and frames a second for each kind of movement."""
    loads = []
    for _ in range(3):
        page, session = _opened(browser)
        session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
        page.goto(path.as_uri())
        loads.append(page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd / 1000"))
        if len(loads) < 3:
            page.context.close()
    page.locator("#strip").scroll_into_view_if_needed()
    page.wait_for_selector("#lanes[data-samples=ready]", state="attached")
    frames = {}
    for name, move in MOVES.items():
        frames[name] = page.evaluate(FRAMES.replace("MOVE", f"(n) => {{ {move}; }}"))
        if name == "zoom":
            page.evaluate("for (let n = 0; n < 4; n += 1) document.querySelector('[data-do=wider]').click()")
    page.context.close()
    return {"load_s": round(median(loads), 3)} | {
        f"{name}_fps": round(fps, 1) for name, fps in frames.items()
    }


def _opened(browser: Browser) -> tuple[Page, CDPSession]:
    page = browser.new_context(viewport={"width": 1280, "height": 800}, offline=True).new_page()
    return page, page.context.new_cdp_session(page)


def main(paths: list[str]) -> int:
    """Measure each page; 1 where a bar was missed."""
    missed = False
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=OPTIONS)
        for path in map(Path, paths):
            figures = measure(browser, path.resolve())
            missed |= figures["load_s"] > LOAD_BAR_S
            missed |= any(value < FRAMES_BAR for name, value in figures.items() if name.endswith("_fps"))
            sys.stdout.write(json.dumps({"page": str(path), "bytes": path.stat().st_size, **figures}) + "\n")
        browser.close()
    return int(missed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

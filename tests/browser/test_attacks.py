"""Hostile logs: nothing of them runs, and were one to slip through, the policy would stop it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.browser.conftest import Visit

Opened = Callable[..., Visit]

MARKED = "window.ran ?? (document.title === 'ran' ? 1 : 0)"
ATTACKS = {
    "inline script": "const s = document.createElement('script'); s.textContent = 'window.ran = 1';"
    " document.body.append(s)",
    "markup": "document.querySelector('#told').innerHTML = '<img src=x onerror=\"window.ran = 1\">'",
    "handler": "const a = document.createElement('a'); a.setAttribute('onclick', 'window.ran = 1');"
    " document.body.append(a); a.click()",
    "evaluation": "setTimeout(() => Function('window.ran = 1')())",
    "script address": "const a = document.createElement('a'); a.href = 'javascript:window.ran = 1';"
    " document.body.append(a); a.click()",
    "fetched script": "const s = document.createElement('script');"
    " s.src = 'data:text/javascript,window.ran=1'; document.body.append(s)",
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_the_policy_stops_what_would_slip_through(visit: Opened, attack: str) -> None:
    page = visit("match").page

    page.evaluate(f"() => {{ try {{ {ATTACKS[attack]}; }} catch {{ /* refused */ }} }}")
    page.wait_for_timeout(100)

    assert page.evaluate(MARKED) == 0


def test_these_attacks_would_work_without_the_policy(visit: Opened) -> None:
    page = visit("match", bypass_csp=True).page

    page.evaluate(f"() => {{ {ATTACKS['inline script']}; }}")
    assert page.evaluate(MARKED) == 1


def test_even_without_the_policy_nothing_of_a_hostile_log_runs(visit: Opened) -> None:
    opened = visit("hostile", bypass_csp=True)
    page = opened.page
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    for key in ("n", "e", "r", "p", "+", "]", "v", "0"):
        page.keyboard.press(key)
    page.wait_for_timeout(150)

    assert page.evaluate(MARKED) == 0
    assert page.locator("img, iframe, object, embed, form").count() <= 1
    assert opened.requests == [page.url.partition("#")[0]]
    assert opened.complaints == []


def test_what_a_page_may_send_goes_nowhere(visit: Opened) -> None:
    opened = visit("match")

    opened.page.evaluate(
        """() => {
          fetch('https://example.org/').catch(() => {});
          navigator.sendBeacon('https://example.org/', 'x');
          const image = new Image(); image.src = 'https://example.org/x.png'; document.body.append(image);
        }"""
    )
    opened.page.wait_for_timeout(150)

    assert len(opened.complaints) >= 3
    assert all("Content Security Policy" in told for told in opened.complaints)

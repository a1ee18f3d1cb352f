"""The page of an event: every match, what comes back, what could not be used."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reports.event import event_page
from telemetry.event import Event, Unusable, event_of
from tests.reports.pages import read_page
from tests.reports.synthetic_match import bare_analysis, hostile_analysis, synthetic_analysis


@pytest.fixture(scope="module")
def event() -> Event:
    first, second = synthetic_analysis(name="m-1"), synthetic_analysis(name="m-2")
    second = replace(second, findings=tuple(f for f in second.findings if f.kind != "chatter"))
    unusable = [Unusable("notes.csv", "rattletrace: notes.csv: no time column")]
    return event_of([first, second, bare_analysis()], names=["m-1", "m-2", "bare"], unusable=unusable)


def test_matches_stand_in_order_and_lead_to_their_pages(event: Event) -> None:
    page = read_page(event_page(event))
    links = [str(link["href"]) for link in page.all("a")]

    assert [link for link in links if link.endswith("index.html")] == [
        f"{m}/index.html" for m in ("m-1", "m-2", "bare")
    ]
    assert "3 parts to fix, 3 to watch" in page.words
    assert "nothing could be judged" in page.words
    assert "30\u00a0of 30" in page.words or "30 of 30" in page.words


def test_what_comes_back_is_told_and_what_does_not_is_not(event: Event) -> None:
    page = read_page(event_page(event))

    back, once = page.words.split("In one match only")
    assert "entry: dropped out" in back
    assert "entry: chattered" not in back
    assert "entry: chattered: In m-1 alone (once); 1 clean match since" in once.replace("\u00a0", " ")
    assert "m-2/index.html#finding-2" in [link["href"] for link in page.all("a")]


def test_files_that_could_not_be_used_stand_with_their_line(event: Event) -> None:
    assert "rattletrace: notes.csv: no time column" in read_page(event_page(event)).words


def test_one_match_pretends_nothing() -> None:
    page = read_page(event_page(event_of([synthetic_analysis()])))

    assert "It takes two matches to tell." in page.words
    assert "forecast" not in page.words.lower()
    assert "trend" not in page.words.lower()


def test_no_match_at_all() -> None:
    page = read_page(event_page(event_of([], unusable=[Unusable("a.csv", "rattletrace: a.csv: empty")])))

    assert "No match could be read" in page.words


def test_hostile_names_become_text() -> None:
    evil = hostile_analysis()

    page = read_page(
        event_page(event_of([evil, evil], names=["a", "b"], unusable=[Unusable("<script>", "<b>")]))
    )

    assert len(page.all("script")) == len(page.all("img")) == len(page.all("b")) == 0


def test_nothing_is_asked_from_outside(event: Event) -> None:
    page = read_page(event_page(event))

    assert all(not str(link["href"]).startswith(("http", "/", "file")) for link in page.all("a"))
    assert "script-src 'none'" in str(page.all("meta")[0]["content"])

"""A close-up for every kind of finding on every kind of subject, with its thresholds and its moment."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from reports.closeups import close_up
from telemetry.analysis import Analysis, Contact
from telemetry.finding import KINDS, Finding, Severity
from tests.reports.synthetic_match import bare_analysis, synthetic_analysis

SUBJECTS = {
    "beam": "entry", "limit": "arm_low", "motor": "feed", "mechanism": "drive", "supply": "supply",
    "harness": "tower loom", "range": "hopper", "indicator": "indicator", "log": "log", "unheard of": "x",
}  # fmt: skip


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return synthetic_analysis(rate_hz=10)


def finding(kind: str, role: str, **evidence: object) -> Finding:
    return Finding(kind, SUBJECTS[role], role, 60.0, 64.0, Severity.FIX, 0.9, "Text.", "Do.", evidence)


@pytest.mark.parametrize("role", SUBJECTS)
def test_no_kind_breaks_on_any_role(analysis: Analysis, role: str) -> None:
    for kind in KINDS:
        for known in (analysis, bare_analysis()):
            drawn = close_up(known, finding(kind, role, lost=["entry", "feed", 7], peak_s=61.0, t_s="odd"))

            assert "nan" not in str(drawn.drawing)
            assert drawn.height_px > 20


@pytest.mark.parametrize(
    ("kind", "role", "words"),
    [
        ("overheat", "motor", "limit 1.0"),
        ("breaker_risk", "motor", "rating 40\u00a0A"),
        ("stall", "motor", "stalled below 0.05"),
        ("brownout", "supply", "dip 9\u00a0V"),
    ],
)
def test_the_threshold_is_drawn_and_named(analysis: Analysis, kind: str, role: str, words: str) -> None:
    drawing = str(close_up(analysis, finding(kind, role)).drawing)

    assert words in drawing
    assert 'class="limit-line"' in drawing


@pytest.mark.parametrize(("still_first", "side"), [(True, 'x="100%"'), (False, 'x="0%"')])
def test_the_threshold_is_named_where_the_line_is_not(
    analysis: Analysis, still_first: bool, side: str
) -> None:
    feed = analysis.motors["feed"]
    share = np.where((feed.t_s < 62.0) == still_first, 0.1, 0.9)
    known = replace(analysis, motors={**analysis.motors, "feed": replace(feed, speed_share=share)})
    drawing = str(close_up(known, finding("stall", "motor")).drawing)

    (named,) = re.findall(r"<text[^>]*>stalled below 0\.05", drawing)
    assert side in named


def test_a_hit_is_not_named_across_a_line(analysis: Analysis) -> None:
    hits = tuple(Contact(t_s, 4.0, 0.1, "accelerometer") for t_s in (59.5, 60.05, 63.9))
    drawing = str(close_up(replace(analysis, contacts=hits), finding("dropout", "beam")).drawing)

    told = re.findall(r'x="(-?6)"[^>]*>4\.0', drawing)
    assert told == ["-6", "6", "-6"]


def test_the_moment_is_marked(analysis: Analysis) -> None:
    marked = str(close_up(analysis, finding("overheat", "motor", peak_s=62.0)).drawing)

    assert marked.count('class="moment-line"') == 1
    assert "moment-line" not in str(close_up(analysis, finding("overheat", "motor", peak_s=900.0)).drawing)


def test_both_ends_of_a_travel_stand_under_each_other(analysis: Analysis) -> None:
    summary = close_up(analysis, finding("limit_conflict", "limit")).summary

    assert "arm_low limit" in summary
    assert "arm_high limit" in summary


def test_a_gap_in_values_breaks_nothing(analysis: Analysis) -> None:
    feed = analysis.motors["feed"]
    odd = replace(analysis, motors={"feed": replace(feed, heat=feed.heat * float("nan"))})

    assert "heat" not in close_up(odd, finding("overheat", "motor")).summary.partition("Rows:")[2]

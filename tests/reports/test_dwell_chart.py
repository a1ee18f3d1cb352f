"""How long each beam stayed broken: a histogram with the limit of what a piece can do, and the figures."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from reports.dwell_chart import dwell_charts, dwell_table, dwells_s
from telemetry.analysis import Analysis
from telemetry.records.sensors import Switching
from tests.reports.synthetic_match import bare_analysis, synthetic_analysis


def beam(*dwells: float) -> Switching:
    """Broken for each of these seconds, clear for one second after each."""
    t_s, on, now = [0.0], [False], 1.0
    for length in dwells:
        t_s += [now, now + length]
        on += [True, False]
        now += length + 1.0
    return Switching(np.array(t_s), np.array(on), now, 0.0)


@pytest.fixture
def analysis() -> Analysis:
    beams = {"entry": beam(0.01, 0.3, 0.32, 0.31), "gate": beam()}
    return replace(synthetic_analysis(), beams=beams, honest_dwell_s={"entry": 0.05})


def test_only_whole_dwells_count() -> None:
    cut_off = Switching(np.array([0.0, 1.0, 1.5, 2.0]), np.array([False, True, False, True]), 9.0, 0.0)

    assert dwells_s(cut_off).tolist() == [0.5]


def test_a_beam_that_was_never_broken_has_no_chart(analysis: Analysis) -> None:
    assert [chart.name for chart in dwell_charts(analysis)] == ["entry"]
    assert list(dwell_charts(bare_analysis())) == []
    assert dwell_table(bare_analysis()) is None


def test_the_highest_bar_is_the_hump_of_the_pieces_and_the_limit_parts_it_from_chatter(
    analysis: Analysis,
) -> None:
    (chart,) = dwell_charts(analysis)
    drawn = str(chart.drawing)
    bars = [(float(x), float(up)) for x, up in re.findall(r"M([\d.]+) 100v-([\d.]+)h", drawn)]
    limit = re.search(r'class="edge edge-fix" x1="([\d.]+)%"', drawn)

    assert limit is not None
    edge = float(limit[1]) * 12
    short, long = [up for x, up in bars if x < edge], [up for x, up in bars if x > edge]
    assert len(short) == 1
    assert max(long) > short[0]
    assert chart.summary.startswith("entry: broken 4 times")
    assert "1 of them shorter than 50" in chart.summary


def test_the_table_holds_the_same(analysis: Analysis) -> None:
    table = dwell_table(analysis)

    assert table is not None
    ((name, times, *_, too_short),) = table.rows
    assert (name.text, times.text, too_short.text) == ("entry", "4", "1")

"""The cycles as bars, and which was the slowest and why."""

from __future__ import annotations

from dataclasses import replace

from reports.cycle_chart import cycle_chart
from telemetry.analysis import Analysis, Contact
from telemetry.finding import Finding, Severity
from telemetry.records.pieces import Cycle
from tests.reports.synthetic_match import START_S, bare_analysis, synthetic_analysis


def with_cycles(*lengths: tuple[float, float], contacts: tuple[Contact, ...] = ()) -> Analysis:
    """Cycles of (collect, carry) seconds, end to end from the start of the match."""
    at_s, cycles = START_S, []
    for number, (collect, carry) in enumerate(lengths, 1):
        stages = {"collect": collect, "load": 0.0, "carry": carry, "release": 0.5}
        cycles.append(Cycle(number, at_s, at_s + collect + carry + 0.5, 2, stages))
        at_s += collect + carry + 0.5
    return replace(synthetic_analysis(rate_hz=10), cycles=tuple(cycles), contacts=contacts)


def test_the_slowest_is_named_with_the_stage_that_made_it_slow_and_its_hits() -> None:
    hits = (Contact(START_S + 14.0, 4.0, 0.1, "accelerometer"),)

    chart = cycle_chart(with_cycles((5, 5), (5, 12), (6, 5), contacts=hits))

    assert chart is not None
    assert chart.summary == (
        "Slowest: cycle 2, 17.5 s, from 0:10.5; carrying (last piece to first release) took 7.0 s "
        "longer than usual. In that cycle: 1 hit, the end of autonomous."
    )
    assert str(chart.drawing).count('class="hit"') == 1


def test_a_stall_in_the_slowest_cycle_is_named_and_one_in_another_is_not() -> None:
    known = with_cycles((5, 5), (5, 12), (6, 5))
    stalls = tuple(
        Finding("stall", name, "motor", START_S + at_s, START_S + at_s + 2, Severity.FIX, 0.9, "T.", "D.", {})
        for name, at_s in (("feed", 20.0), ("arm", 29.0))
    )
    chart = cycle_chart(replace(known, findings=stalls))

    assert chart is not None
    assert "feed stalled" in chart.summary
    assert "arm stalled" not in chart.summary


def test_a_bar_for_every_stage_that_took_time() -> None:
    chart = cycle_chart(with_cycles((5, 5), (5, 0)))

    assert chart is not None
    drawn = str(chart.drawing)
    assert [drawn.count(f"stage-{stage}") for stage in ("collect", "load", "carry", "release")] == [
        2,
        0,
        1,
        2,
    ]


def test_an_open_cycle_is_no_slowest() -> None:
    analysis = with_cycles((5, 5))
    only = replace(analysis.cycles[0], open=True)

    chart = cycle_chart(replace(analysis, cycles=(only,)))

    assert chart is not None
    assert chart.summary == "No cycle was finished."
    assert "cycle open" in str(chart.drawing)
    assert ", open</text>" in str(chart.drawing)


def test_without_cycles_there_is_no_chart() -> None:
    assert cycle_chart(bare_analysis()) is None

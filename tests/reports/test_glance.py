"""The lines at first glance: motors, battery, driver, cycles, and the work left for a spare minute."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reports.cycle_chart import cycle_chart
from reports.glance import glance_of, spare_work
from reports.page import match_page
from telemetry.analysis import Analysis
from telemetry.finding import Severity
from tests.reports.pages import read_page
from tests.reports.synthetic_match import START_S, bare_analysis, synthetic_analysis


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return synthetic_analysis()


def told(analysis: Analysis) -> dict[str, str]:
    return {line.about: line.words for line in glance_of(analysis, cycle_chart(analysis))}


def test_the_driver_reads_of_hits_and_of_the_hardest(analysis: Analysis) -> None:
    hardest = max(
        (hit for hit in analysis.contacts if hit.peak_g is not None), key=lambda hit: hit.peak_g or 0
    )
    minutes, seconds = divmod(round(hardest.t_s - START_S, 1), 60)

    words = told(analysis)["Driver"]

    assert words.startswith(f"Hit {len(analysis.contacts)} times, hardest {hardest.peak_g:g}")
    assert f"at {minutes:.0f}:{seconds:04.1f}" in words


def test_the_driver_reads_how_long_the_robot_stood_and_what_the_slowest_cycle_cost(
    analysis: Analysis,
) -> None:
    lengths = (10.0, 12.0, 20.0)
    cycles = tuple(
        replace(
            analysis.cycles[0],
            number=n,
            start_s=30.0 * n,
            end_s=30.0 * n + length,
            open=False,
            standing_s=1.5,
        )
        for n, length in enumerate(lengths, 1)
    )

    words = told(replace(analysis, cycles=cycles))["Driver"]

    assert "The robot stood still 4.5" in words
    assert "The slowest cycle cost 8.0" in words


def test_the_battery_reads_its_lowest_and_how_far_that_is_from_brownout(analysis: Analysis) -> None:
    supply = analysis.supply
    assert supply is not None
    low = replace(supply, voltage_v=np.where(np.arange(len(supply.t_s)) == 50, 6.0, 12.0), lowest_v=6.0)

    words = told(replace(analysis, supply=low))["Battery"]

    assert "lowest 6" in words
    assert f"{analysis.robot.supply.brownout_v - 6:.2f}".rstrip("0") in words
    assert "below brownout" in words


def test_nothing_is_said_of_what_no_channel_tells() -> None:
    bare = bare_analysis()

    assert "Battery" not in told(bare)
    assert glance_of(replace(bare, contacts=(), cycles=()), None) == tuple(
        line for line in glance_of(bare, None) if line.about == "Motors"
    )


def test_a_note_with_work_in_it_is_told_beside_the_pit_list_once(analysis: Analysis) -> None:
    note = replace(
        analysis.findings[0], severity=Severity.NOTE, advice="Start on a full battery.", minutes=4.0
    )
    quiet = replace(note, advice="Nothing to do.", minutes=0.0)
    with_notes = replace(analysis, findings=(note, note, quiet))

    assert [finding.advice for finding in spare_work(with_notes)] == ["Start on a full battery."]
    words = read_page(match_page(with_notes)).words
    assert "If there is time: Start on a full battery." in words

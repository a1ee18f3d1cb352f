"""The working map: time at each speed and current against the data-sheet line."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from reports.working_map import WorkingMap, map_table, working_maps
from telemetry.analysis import Analysis
from telemetry.records.motors import MotorTrace
from tests.reports.synthetic_match import bare_analysis, synthetic_analysis


def running(share: float, current_a: float, applied_v: float = 12.0, *, driven: bool = True) -> MotorTrace:
    """Ten seconds at one working point, read fifty times a second."""
    t_s = np.arange(0, 10, 0.02)
    same = np.ones(len(t_s))
    return MotorTrace(
        t_s=t_s, current_a=current_a * same, command=same, speed_rad_s=share * 555 * same,
        speed_share=share * same, heat=np.nan * same, applied_v=applied_v * same,
        driven=np.full(len(t_s), driven), speed_source="channel",
    )  # fmt: skip


BACKWARDS = replace(running(0.5, 60), command=np.full(500, -1.0))


def map_of(trace: MotorTrace) -> WorkingMap | None:
    analysis = replace(synthetic_analysis(), motors={"feed": trace})
    return next(working_maps(analysis), None)


def blocks(shown: WorkingMap | None) -> list[list[float]]:
    """Corner and width of every block."""
    assert shown is not None
    cells = re.search(r'class="cells" d="([^"]*)"', str(shown.drawing))
    assert cells is not None
    return [[float(word) for word in block] for block in re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)", cells[1])]


def test_a_stalled_motor_stands_on_the_left_at_its_stall_current() -> None:
    shown = map_of(running(0.01, 129.0))

    assert shown is not None
    assert "10.0 s driven, 10.0 s of it under 5 % of the free speed, 0.0 s between" in shown.times
    assert shown.times.endswith("starts included.")
    ((x, y, width),) = blocks(shown)
    assert (x, width) == (0, 24)
    assert y == pytest.approx(12, abs=4)


def test_current_is_scaled_to_the_nominal_voltage() -> None:
    assert blocks(map_of(running(0.5, 30.0, 6.0))) == blocks(map_of(running(0.5, 60.0, 12.0)))


def test_driven_backwards_is_work_as_well() -> None:
    assert blocks(map_of(BACKWARDS)) == blocks(map_of(running(0.5, 60)))


def test_a_short_stay_is_a_smaller_block() -> None:
    trace = running(0.5, 60.0)
    brief = replace(trace, driven=trace.t_s < 0.1)

    assert blocks(map_of(brief))[0][2] < blocks(map_of(trace))[0][2]


@pytest.mark.parametrize(
    "trace",
    [running(0.5, 60, driven=False), running(-0.5, 160), running(1.4, 40), running(0.5, 10, 1.0)],
)
def test_what_is_not_driven_braked_pushed_or_hardly_fed_is_left_out(trace: MotorTrace) -> None:
    assert map_of(trace) is None


def test_without_a_data_sheet_or_a_speed_there_is_no_map() -> None:
    def maps(analysis: Analysis) -> list[WorkingMap]:
        return list(working_maps(analysis))

    blind = running(0.5, 60.0)
    assert maps(bare_analysis()) == []
    assert map_of(replace(blind, speed_share=np.full(len(blind.t_s), np.nan))) is None


def test_the_table_tells_the_time_and_current_of_each_band_of_speed() -> None:
    stalled, fast = map_of(running(0.0, 100)), map_of(running(0.9, 12))
    assert stalled is not None
    assert fast is not None

    table = map_table([stalled, fast])

    rows = [[cell.text.replace("\u00a0", " ") for cell in row] for row in table.rows]
    assert [row[1:6] for row in rows] == [["10.0 s, 100 A", *"––––"], [*"––––", "10.0 s, 12.0 A"]]
    assert table.columns[1] == "0 % to 5 %"

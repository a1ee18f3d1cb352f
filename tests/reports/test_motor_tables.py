"""Where the energy went and how motors share their work, as tables."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reports.motor_tables import energy_table, load_share_table
from reports.page import match_page
from reports.start_heat import start_heat_words
from reports.tables import Cell, motor_notes
from telemetry.analysis import Analysis
from tests.reports.synthetic_match import bare_analysis, synthetic_analysis


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return synthetic_analysis()


def with_energy(analysis: Analysis, wh: dict[str, dict[str, float] | None]) -> Analysis:
    use = {
        name: replace(one, energy_by_phase_wh=wh.get(name, {"teleop": 0.0}))
        for name, one in analysis.motor_use.items()
    }
    assert analysis.supply is not None
    supply = replace(analysis.supply, energy_wh=10.0, energy_by_phase_wh={"autonomous": 2.0, "teleop": 8.0})
    return replace(analysis, motor_use=use, supply=supply)


def words(row: tuple[Cell, ...]) -> list[str]:
    return [cell.text.replace("\u00a0", " ") for cell in row]


def test_motors_of_one_mechanism_are_added_and_the_hungriest_comes_first(analysis: Analysis) -> None:
    left = {"autonomous": 1.0, "teleop": 2.0}
    right = {"autonomous": 0.5, "teleop": 1.5}
    known = with_energy(analysis, {"drive_left": left, "drive_right": right})
    motors = known.robot.motors
    assert motors["drive_left"].mechanism == motors["drive_right"].mechanism == "drive"

    table = energy_table(known)

    assert table is not None
    place = {column: at for at, column in enumerate(table.columns)}
    first, last = words(table.rows[0]), words(table.rows[-1])
    assert first[0] == "drive (drive_left, drive_right)"
    assert (first[place["Autonomous"]], first[place["Teleop"]]) == ("1.50", "3.50")
    assert (first[place["In all"]], first[-1]) == ("5.00", "50 %")
    assert (last[0], last[place["In all"]]) == ("whole robot", "10.00")


def test_a_mechanism_with_a_motor_that_cannot_be_told_is_left_out(analysis: Analysis) -> None:
    table = energy_table(with_energy(analysis, {"drive_left": {"teleop": 2.0}, "drive_right": None}))

    assert table is not None
    assert not [row[0].text for row in table.rows if row[0].text.startswith("drive")]


def test_the_rows_of_the_energy_table_add_up_to_the_whole_robot(analysis: Analysis) -> None:
    table = energy_table(
        with_energy(analysis, {"drive_left": {"teleop": 2.0}, "drive_right": {"teleop": 1.0}})
    )

    assert table is not None
    shares = [int(words(row)[-1].removesuffix(" %")) for row in table.rows]
    assert words(table.rows[-2])[0] == "everything else, and losses in the leads"
    assert sum(shares[:-1]) == shares[-1] == 100


def test_where_nothing_is_known_there_is_no_table() -> None:
    assert energy_table(bare_analysis()) is None
    assert load_share_table(bare_analysis()) is None


def test_a_motor_that_carries_double_shows_as_two(analysis: Analysis) -> None:
    left = analysis.motors["drive_left"]
    alike = replace(left, command=np.full(len(left.t_s), 0.5), driven=np.ones(len(left.t_s), dtype=bool))
    double = replace(alike, current_a=np.full(len(left.t_s), 60.0))
    single = replace(alike, current_a=np.full(len(left.t_s), 30.0))
    known = replace(analysis, motors={**analysis.motors, "drive_left": double, "drive_right": single})

    table = load_share_table(known)

    assert table is not None
    rows = {row[1].text: words(row) for row in table.rows if row[0].text == "drive"}
    assert rows["drive_left"][2:4] == ["2.00", "2.00 to 2.00"]
    assert rows["drive_right"][2] == "0.50"
    assert dict(zip((row[1].text for row in table.rows), table.rows, strict=True))["drive_left"][-1].findings


def test_an_assumed_battery_and_odd_channels_are_said_among_the_motors(analysis: Analysis) -> None:
    assert motor_notes(analysis) == start_heat_words(analysis)
    motors = {
        name: replace(
            trace,
            voltage_source="assumed",
            voltage_v=np.full(len(trace.t_s), 12.0),
            notes=(f"Odd: <{name}>.",),
        )
        for name, trace in analysis.motors.items()
    }

    html = match_page(replace(analysis, motors=motors)).split('id="motors"')[1]

    assert "No battery voltage is logged: the motors were judged" in html
    assert f"Odd: &lt;{next(iter(motors))}&gt;." in html

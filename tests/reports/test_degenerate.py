"""Pages and results of records that are empty, tiny, endless or broken: told, never a crash."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from reports.json_values import json_text
from reports.page import match_page
from reports.results import analysis_json, findings_csv
from telemetry.analysis import Analysis, Contact
from telemetry.finding import Severity
from telemetry.match import Match, Phase
from telemetry.records.motors import MotorTrace, MotorUse
from telemetry.records.pieces import Count, Cycle, Pieces, PieceStep
from telemetry.records.sensors import Switching
from tests.reports.pages import read_page
from tests.reports.synthetic_match import synthetic_analysis

PLAIN = synthetic_analysis()
NONE = Count(0, 0, 0)
FLICKER = np.linspace(0, 160, 50_000).tolist()
UNMEASURED = tuple(Contact(float(t), None, 0.0, "drive current") for t in range(500))
ENDLESS = [np.nan, np.inf, -np.inf, 1e300, -1e300]


def motor(values: list[float], *, apart_s: float = 0.02) -> MotorTrace:
    t_s = np.arange(len(values)) * apart_s
    same = np.array(values, dtype=float)
    return MotorTrace(
        t_s=t_s, current_a=same, command=same, speed_rad_s=same, speed_share=same, heat=same, applied_v=same,
        driven=np.ones(len(values), dtype=bool), speed_source="none",
    )  # fmt: skip


def found(**changes: Any) -> Analysis:
    return replace(PLAIN, findings=(replace(PLAIN.findings[1], **changes),))


def switch(times: list[float]) -> Switching:
    return Switching(np.array(times), np.arange(len(times)) % 2 == 1, 162.4, 0.0)


def with_supply(values: list[float]) -> Analysis:
    assert PLAIN.supply is not None
    t_s = np.arange(len(values)) * 0.02
    nothing = replace(
        PLAIN.supply, t_s=t_s, voltage_v=np.array(values, dtype=float), open_circuit_v=None,
        resistance_ohm=None, lowest_v=None, dips=(), energy_wh=None,
    )  # fmt: skip
    return replace(PLAIN, supply=nothing)


def with_window(start_s: float, end_s: float) -> Analysis:
    match = Match("short", start_s, end_s, (start_s, end_s), (Phase("teleop", start_s, end_s),), "activity")
    return replace(PLAIN, match=match)


RECORDS = {
    "motor without a sample": replace(PLAIN, motors={"feed": motor([])}),
    "motor with one sample": replace(PLAIN, motors={"feed": motor([3.0])}),
    "motor without a value": replace(PLAIN, motors={"feed": motor([np.nan] * 500)}),
    "motor with endless values": replace(PLAIN, motors={"feed": motor(ENDLESS * 1000)}),
    "motor logged all at once": replace(PLAIN, motors={"feed": motor([1.0] * 6000, apart_s=0.0)}),
    "motor use untold": replace(PLAIN, motor_use={"feed": MotorUse(None, None, None, None, None, None)}),
    "beam without a reading": replace(PLAIN, beams={"entry": switch([])}),
    "beam with one reading": replace(PLAIN, beams={"entry": switch([0.0])}),
    "beam that flickers without end": replace(PLAIN, beams={"entry": switch(FLICKER)}),
    "supply without a sample": with_supply([]),
    "supply without a value": with_supply([np.nan] * 100),
    "supply at nought": with_supply([0.0] * 100),
    "match of no length": with_window(5.0, 5.0),
    "match of one reading": with_window(5.0, 5.02),
    "match of two hours": with_window(0.0, 7200.0),
    "pieces untold": replace(PLAIN, pieces=Pieces(NONE, NONE, (), (), ())),
    "pieces beyond capacity": replace(
        PLAIN, pieces=Pieces(NONE, NONE, (PieceStep(0.0, 9, 0.1, 0, 20),), (), (500.0,))
    ),
    "cycle without stages": replace(PLAIN, cycles=(Cycle(1, 3.0, 3.0, 0, {}),)),
    "hits without number": replace(PLAIN, contacts=UNMEASURED),
    "hits of no force": replace(PLAIN, contacts=(Contact(5.0, 0.0, 0.0, "accelerometer"),)),
    "finding of no length": found(end_s=61.3),
    "finding beyond the log": found(start_s=900.0, end_s=901.0),
    "finding of a stranger": found(subject="x", role="motor"),
    "finding unsure": found(confidence=np.nan),
    "harness": found(role="harness", subject="bus", evidence={"lost": ["feed", "entry", 7]}),
}


@pytest.mark.parametrize("name", RECORDS)
def test_the_page_and_the_results_are_made(name: str) -> None:
    analysis = RECORDS[name]

    page = read_page(match_page(analysis))
    document = json.loads(json_text(analysis_json(analysis)))

    assert len(page.all("section")) == 8
    assert document["schema"] == 1
    assert findings_csv(analysis).count("\r\n") >= 1 + len(analysis.findings)
    assert "nan" not in page.words.lower().split()
    assert not any("nan" in str(path.get("d")) or "inf" in str(path.get("d")) for path in page.all("path"))


def test_many_findings_each_have_a_place_and_the_worst_a_close_up() -> None:
    levels = (Severity.NOTE, Severity.FIX, Severity.WATCH)
    many = tuple(replace(PLAIN.findings[1], subject=f"b{n}", severity=levels[n % 3]) for n in range(120))

    page = read_page(match_page(replace(PLAIN, findings=many)))

    articles = [attributes["id"] for attributes in page.all("article")]
    assert articles == [f"finding-{n}" for n in range(1, 121)]
    assert page.words.count("No close-up: only the forty most pressing") == 80

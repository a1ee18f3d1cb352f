"""The results as data hold to the contract."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from reports.event_records import event_json
from reports.json_values import json_text
from reports.results import analysis_json, findings_csv
from telemetry.analysis import Analysis
from telemetry.event import Unusable, event_of
from tests.reports.synthetic_match import bare_analysis, hostile_analysis, synthetic_analysis

HERE = Path(__file__).parent


def schema(name: str) -> dict[str, Any]:
    return dict(json.loads((HERE / f"{name}.schema.json").read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return synthetic_analysis()


@pytest.mark.parametrize("made", [synthetic_analysis, bare_analysis, hostile_analysis])
def test_every_analysis_follows_the_schema(made: Any) -> None:
    document = json.loads(json_text(analysis_json(made())))

    jsonschema.Draft202012Validator(schema("analysis")).validate(document)


def test_the_schemas_refuse_what_breaks_the_contract(analysis: Analysis) -> None:
    document = json.loads(json_text(analysis_json(analysis)))
    document["findings"][0]["severity"] = "bad"
    del document["supply"]["lowest_v"]

    errors = list(jsonschema.Draft202012Validator(schema("analysis")).iter_errors(document))

    assert len(errors) == 2


def test_every_event_follows_the_schema(analysis: Analysis) -> None:
    event = event_of(
        [analysis, bare_analysis()],
        names=["a", "b"],
        unusable=[Unusable("x.csv", "rattletrace: x.csv: empty")],
    )
    document = json.loads(json_text(event_json(event)))

    jsonschema.Draft202012Validator(schema("event")).validate(document)
    assert document["matches"][0]["findings"] == {"fix": 3, "watch": 4, "note": 1}
    assert document["unusable"] == [{"file": "x.csv", "error": "rattletrace: x.csv: empty"}]


def test_no_nan_and_no_infinity(analysis: Analysis) -> None:
    finding = replace(
        analysis.findings[0], evidence={"a": np.nan, "b": [np.inf, -np.inf], "c": {"d": np.float64("nan")}}
    )

    evidence = analysis_json(replace(analysis, findings=(finding,)))["findings"][0]["evidence"]

    assert evidence == {"a": None, "b": [None, None], "c": {"d": None}}


def test_times_to_a_tenth_of_a_millisecond_and_the_rest_to_six_digits(analysis: Analysis) -> None:
    evidence = {
        "t_s": 12.345678,
        "peak_a": 61.0412345,
        "n": np.int64(7),
        "x": np.float32(0.1),
        "array": np.arange(2.0),
    }
    finding = replace(analysis.findings[0], evidence=evidence)

    told = analysis_json(replace(analysis, findings=(finding,)))["findings"][0]["evidence"]

    assert told == {"t_s": 12.3457, "peak_a": 61.0412, "n": 7, "x": 0.1, "array": [0.0, 1.0]}


def test_what_was_not_judged_carries_its_reason_and_only_that(analysis: Analysis) -> None:
    checks = analysis_json(analysis)["checks"]

    assert all(("reason" in check) == (check["verdict"] == "not_evaluated") for check in checks)


def test_version_settings_and_hashes_are_in_it(analysis: Analysis) -> None:
    document = analysis_json(analysis)

    assert document["settings"]["version"] == "0.1.0"
    assert document["settings"]["robot_sha256"] == "b" * 64
    assert document["log"]["sha256"] == "a" * 64


def test_the_supply_is_told_with_charge_phases_and_stretches(analysis: Analysis) -> None:
    supply = analysis_json(analysis)["supply"]

    assert {"charge_ah", "energy_by_phase_wh", "energy_by_mechanism_wh", "stretches", "windows"} <= set(
        supply
    )


def test_a_motor_says_what_its_figures_were_told_by(analysis: Analysis) -> None:
    motors = analysis_json(analysis)["motors"]

    assert {motor["voltage_source"] for motor in motors.values()} == {"channel"}
    assert {motor["heat_source"] for motor in motors.values()} == {"winding current"}


def test_the_same_match_gives_the_same_text() -> None:
    assert json_text(analysis_json(synthetic_analysis())) == json_text(analysis_json(synthetic_analysis()))


def test_findings_as_a_spreadsheet(analysis: Analysis) -> None:
    text = findings_csv(analysis)
    rows = list(csv.DictReader(io.StringIO(text, newline="")))

    assert text.endswith("\r\n")
    assert len(rows) == 8
    assert (rows[1]["kind"], rows[1]["match_time"], rows[1]["start_s"]) == ("dropout", "0:58.2", "61.3")
    assert json.loads(rows[1]["evidence"])["pieces_downstream"] == 3


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "＝"])
def test_no_text_is_taken_for_a_formula(analysis: Analysis, start: str) -> None:
    evil = replace(analysis.findings[0], subject=f"{start}cmd", text=f"{start}1+1", start_s=-3.5)

    (row,) = csv.DictReader(io.StringIO(findings_csv(replace(analysis, findings=(evil,))), newline=""))

    assert row["subject"] == f"'{start}cmd"
    assert row["text"] == f"'{start}1+1"
    assert row["start_s"] == "-3.5"
    assert row["match_time"] == "−0:06.6"


def test_commas_quotes_and_line_ends_stay_in_their_cell(analysis: Analysis) -> None:
    tricky = 'a,"b"\r\nc'
    finding = replace(analysis.findings[0], subject=tricky)

    (row,) = csv.DictReader(io.StringIO(findings_csv(replace(analysis, findings=(finding,))), newline=""))

    assert row["subject"] == tricky

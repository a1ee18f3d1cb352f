"""The sample event: what the report says of six matches, against the truth that lies beside their logs."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_logs"
MATCHES = [f"match-0{number}" for number in range(1, 7)]
SLACK_S = 0.5


def _read(path: Path) -> dict[str, Any]:
    return json.loads(path.read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def analyses(sample_report: Path) -> dict[str, dict[str, Any]]:
    return {match: _read(sample_report / match / "analysis.json") for match in MATCHES}


@pytest.fixture(scope="session")
def truths() -> dict[str, dict[str, Any]]:
    return {match: _read(SAMPLES / f"{match}.truth.json") for match in MATCHES}


def _overlap(a: dict[str, Any], b: dict[str, Any]) -> bool:
    return bool(a["start_s"] - SLACK_S < b["end_s"] and b["start_s"] - SLACK_S < a["end_s"])


def _found(analysis: dict[str, Any], kind: str, subject: str) -> list[dict[str, Any]]:
    return [f for f in analysis["findings"] if (f["kind"], f["subject"]) == (kind, subject)]


@pytest.mark.parametrize("match", MATCHES)
def test_the_analysis_keeps_the_contract(analyses: dict[str, dict[str, Any]], match: str) -> None:
    jsonschema.validate(analyses[match], _read(ROOT / "tests" / "reports" / "analysis.schema.json"))


def test_the_event_keeps_the_contract(sample_report: Path) -> None:
    event = _read(sample_report / "event.json")
    jsonschema.validate(event, _read(ROOT / "tests" / "reports" / "event.schema.json"))
    assert [match["name"] for match in event["matches"]] == MATCHES


@pytest.mark.parametrize("match", MATCHES)
def test_no_step_breaks_and_no_log_needs_mending(analyses: dict[str, dict[str, Any]], match: str) -> None:
    assert analyses[match]["failures"] == []
    assert analyses[match]["log"]["repairs"] == []


def test_the_clean_match_has_nothing_to_fix_or_watch(
    analyses: dict[str, dict[str, Any]], truths: dict[str, dict[str, Any]]
) -> None:
    assert truths["match-01"]["faults"] == []
    assert [f for f in analyses["match-01"]["findings"] if f["severity"] != "note"] == []


def test_the_beam_that_drops_out_after_hits_is_named(
    analyses: dict[str, dict[str, Any]], truths: dict[str, dict[str, Any]]
) -> None:
    found = _found(analyses["match-02"], "dropout", "entry")
    true = [fault for fault in truths["match-02"]["faults"] if fault["kind"] == "dropout"]
    assert found
    assert all(any(_overlap(finding, fault) for fault in true) for finding in found)
    assert analyses["match-02"]["pit_list"][0]["subject"] == "entry"


def test_chatter_and_the_jam_are_named(
    analyses: dict[str, dict[str, Any]], truths: dict[str, dict[str, Any]]
) -> None:
    for fault in truths["match-03"]["faults"]:
        if fault["kind"] in ("chatter", "stall"):
            found = _found(analyses["match-03"], fault["kind"], fault["subject"])
            assert any(_overlap(finding, fault) for finding in found), fault


@pytest.mark.parametrize("match", MATCHES)
def test_every_dropout_chatter_and_stall_that_is_told_was_there(
    analyses: dict[str, dict[str, Any]], truths: dict[str, dict[str, Any]], match: str
) -> None:
    stalls = [{**stall, "subject": stall["motor"]} for stall in truths[match]["stalls"]]
    true = [*truths[match]["faults"], *stalls]
    for finding in analyses[match]["findings"]:
        if finding["kind"] in ("dropout", "chatter", "stall"):
            at_subject = [fault for fault in true if fault["subject"] == finding["subject"]]
            assert any(_overlap(finding, fault) for fault in at_subject), finding["text"]


@pytest.mark.parametrize("match", MATCHES)
def test_every_hit_is_felt_and_none_invented(
    analyses: dict[str, dict[str, Any]], truths: dict[str, dict[str, Any]], match: str
) -> None:
    felt = [contact["t_s"] for contact in analyses[match]["contacts"]]
    true = [contact["t_s"] for contact in truths[match]["contacts"]]
    assert felt == pytest.approx(true, abs=0.1)


@pytest.mark.parametrize("match", MATCHES)
def test_the_true_counts_lie_within_their_ranges(
    analyses: dict[str, dict[str, Any]], truths: dict[str, dict[str, Any]], match: str
) -> None:
    pieces, told = truths[match]["pieces"], analyses[match]["pieces"]
    collected = sum(not piece["preload"] and piece["entered_s"] is not None for piece in pieces)
    assert told["collected"]["low"] <= collected <= told["collected"]["high"]
    released = len(truths[match]["releases_s"])
    assert told["released"]["low"] <= released <= told["released"]["high"]


def test_the_clean_match_is_counted_exactly(
    analyses: dict[str, dict[str, Any]], truths: dict[str, dict[str, Any]]
) -> None:
    told = analyses["match-01"]["pieces"]
    assert told["released"]["estimate"] == len(truths["match-01"]["releases_s"])
    assert told["releases_s"] == pytest.approx(truths["match-01"]["releases_s"], abs=0.1)


@pytest.mark.parametrize("match", MATCHES)
def test_the_cycles_fill_the_match(analyses: dict[str, dict[str, Any]], match: str) -> None:
    cycles, told = analyses[match]["cycles"], analyses[match]["match"]
    assert cycles[0]["start_s"] == told["start_s"]
    assert [cycle["start_s"] for cycle in cycles[1:]] == [cycle["end_s"] for cycle in cycles[:-1]]
    assert cycles[-1]["end_s"] == pytest.approx(told["end_s"], abs=1.0)
    for cycle in cycles:
        assert sum(cycle["stages"].values()) == pytest.approx(cycle["end_s"] - cycle["start_s"], abs=1e-3)


@pytest.mark.parametrize("match", MATCHES)
def test_the_source_resistance_is_the_true_one(
    analyses: dict[str, dict[str, Any]], truths: dict[str, dict[str, Any]], match: str
) -> None:
    if any(fault["kind"] == "source_resistance" for fault in truths[match]["faults"]):
        pytest.skip("the lug comes loose in this match: judged as a step, not as one value")
    true_ohm = truths[match]["robot"]["battery"]["resistance_ohm"]
    assert analyses[match]["supply"]["resistance_ohm"] == pytest.approx(true_ohm, rel=0.05)


def test_the_findings_as_a_spreadsheet_are_those_of_the_analysis(
    sample_report: Path, analyses: dict[str, dict[str, Any]]
) -> None:
    with (sample_report / "match-03" / "findings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    told = [(f["kind"], f["subject"], f["start_s"]) for f in analyses["match-03"]["findings"]]
    assert [(row["kind"], row["subject"], float(row["start_s"])) for row in rows] == told

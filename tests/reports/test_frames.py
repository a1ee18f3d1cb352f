"""The results as polars frames, from the call that README names."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from reports import MatchFrames, open_matches
from tests.reports.synthetic_match import bare_analysis, hostile_analysis, synthetic_analysis

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def test_a_log_opens_as_frames() -> None:
    [match] = open_matches(SAMPLES / "match-02.csv.gz", robot=SAMPLES / "robot.toml")

    assert match.findings.height == len(match.analysis.findings) > 0
    assert "match-02" in repr(match)


def test_frames_hold_what_the_analysis_holds() -> None:
    analysis = synthetic_analysis(rate_hz=10)
    match = MatchFrames(analysis)

    assert match.findings["kind"].to_list() == [finding.kind for finding in analysis.findings]
    assert match.contacts["peak_g"].to_list() == [contact.peak_g for contact in analysis.contacts]
    assert match.cycles["load_s"].to_list() == [cycle.stages.get("load") for cycle in analysis.cycles]
    assert match.pieces["aboard"].to_list() == [step.aboard for step in analysis.pieces.timeline]  # type: ignore[union-attr]
    assert match.motors["motor"].to_list() == list(analysis.motor_use)
    assert match.checks.filter(pl.col("verdict") == "not_evaluated")["reason"].null_count() == 0
    assert np.allclose(match.cycles["match_s"], match.cycles["start_s"] - analysis.match.start_s)


def test_samples_of_a_motor() -> None:
    analysis = synthetic_analysis(rate_hz=10)
    feed = MatchFrames(analysis).motor("feed")

    assert np.array_equal(feed["current_a"].to_numpy(), analysis.motors["feed"].current_a)
    with pytest.raises(KeyError):
        MatchFrames(analysis).motor("none such")


def test_a_match_of_which_nothing_is_known_has_the_same_columns() -> None:
    empty, full = MatchFrames(bare_analysis()), MatchFrames(synthetic_analysis(rate_hz=10))

    for name in ("findings", "contacts", "pieces", "motors", "checks"):
        assert getattr(empty, name).schema == getattr(full, name).schema
    assert empty.findings.height == 0


def test_in_a_notebook_it_shows_its_verdict_and_no_name_of_a_log_runs() -> None:
    assert "3 parts to fix" in MatchFrames(synthetic_analysis(rate_hz=10))._repr_html_()
    shown = MatchFrames(hostile_analysis())._repr_html_()

    assert "&lt;img src=x" in shown
    assert "<img" not in shown
    assert "<script" not in shown

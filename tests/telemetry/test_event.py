"""An event: matches side by side, troubles merged with their history."""

from __future__ import annotations

from dataclasses import replace

import pytest

from telemetry.analysis import Analysis
from telemetry.event import event_of, parts_by_severity, summary_of
from telemetry.finding import Severity
from tests.reports.synthetic_match import bare_analysis, synthetic_analysis


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return synthetic_analysis()


def test_a_match_in_a_few_figures(analysis: Analysis) -> None:
    summary = summary_of(analysis)

    assert summary.name == "match-07"
    assert summary.counts == {Severity.FIX: 3, Severity.WATCH: 4, Severity.NOTE: 1}
    assert summary.parts == {Severity.FIX: 3, Severity.WATCH: 3, Severity.NOTE: 1}
    assert (summary.not_evaluated, summary.checks, summary.repairs, summary.failures) == (4, 30, 4, 0)
    assert (summary.collected, summary.released) == (15, 15)
    assert summary.median_cycle_s == pytest.approx(17.2)


def test_a_part_counts_once_by_its_worst_finding(analysis: Analysis) -> None:
    dropout, chatter = analysis.findings[1], analysis.findings[5]

    assert parts_by_severity([chatter, dropout, chatter]) == {
        Severity.FIX: 1,
        Severity.WATCH: 0,
        Severity.NOTE: 0,
    }
    assert parts_by_severity([]) == dict.fromkeys(Severity, 0)


def test_the_open_cycle_is_no_part_of_the_median(analysis: Analysis) -> None:
    only_open = tuple(cycle for cycle in analysis.cycles if cycle.open)

    assert summary_of(replace(analysis, cycles=only_open)).median_cycle_s is None


@pytest.mark.parametrize(
    ("kept", "verdict"),
    [(("fix", "watch", "note"), "fix"), (("watch",), "watch"), (("note",), "clear"), ((), "clear")],
)
def test_the_verdict_is_that_of_the_worst_finding(
    analysis: Analysis, kept: tuple[str, ...], verdict: str
) -> None:
    findings = tuple(finding for finding in analysis.findings if finding.severity in kept)

    assert summary_of(replace(analysis, findings=findings)).verdict == verdict


def test_nothing_judged_is_not_clear() -> None:
    assert summary_of(bare_analysis()).verdict == "not_judged"
    assert summary_of(replace(bare_analysis(), checks=())).verdict == "not_judged"


def test_the_same_trouble_of_two_matches_is_one_with_its_history(analysis: Analysis) -> None:
    event = event_of([analysis, analysis], names=["a", "b"])
    dropout = next(trouble for trouble in event.troubles if trouble.kind == "dropout")

    assert dropout.matches == ("a", "b")
    assert dropout.recurring
    assert [(met.match, met.number, round(met.at_s, 3)) for met in dropout.occurrences] == [
        ("a", 2, 58.2),
        ("b", 2, 58.2),
    ]


def test_twice_in_one_match_is_not_recurring(analysis: Analysis) -> None:
    twice = replace(analysis, findings=(analysis.findings[1], analysis.findings[1]))

    (trouble,) = event_of([twice]).troubles

    assert len(trouble.occurrences) == 2
    assert not trouble.recurring


def test_a_trouble_bears_its_worst_severity(analysis: Analysis) -> None:
    mild = replace(analysis, findings=(replace(analysis.findings[1], severity=Severity.NOTE),))
    grave = replace(analysis, findings=(analysis.findings[1],))

    (trouble,) = event_of([mild, grave], names=["a", "b"]).troubles

    assert trouble.severity is Severity.FIX


def test_the_most_widespread_comes_first(analysis: Analysis) -> None:
    other = replace(analysis, findings=(analysis.findings[5],))

    troubles = event_of([analysis, other], names=["a", "b"]).troubles

    assert (troubles[0].kind, troubles[0].subject) == ("chatter", "entry")


def test_an_event_of_two_robots_names_none(analysis: Analysis) -> None:
    assert event_of([analysis]).robot == "Jay"
    assert event_of([analysis, bare_analysis()]).robot == ""

"""The pit list: what to do first."""

from __future__ import annotations

from dataclasses import replace

import pytest

from telemetry.finding import Finding, Severity
from telemetry.pit_list import MOST_ACTIONS, jobs_of, make_pit_list


def _finding(
    subject: str,
    severity: Severity = Severity.FIX,
    *,
    confidence: float = 0.9,
    minutes: float = 3.0,
    start_s: float = 10.0,
    kind: str = "dropout",
    role: str = "beam",
    cautions: tuple[str, ...] = (),
) -> Finding:
    return Finding(
        kind=kind,
        subject=subject,
        role=role,
        start_s=start_s,
        end_s=start_s + 1,
        severity=severity,
        confidence=confidence,
        text=f"{kind} of {subject} at {start_s:g} s.",
        advice=f"Reseat {subject} ({kind}).",
        minutes=minutes,
        cautions=cautions,
    )


def test_nothing_found_is_nothing_to_do() -> None:
    assert make_pit_list([]) == ()


def test_a_note_is_no_action() -> None:
    assert make_pit_list([_finding("entry", Severity.NOTE)]) == ()


def test_an_action_says_what_to_do_why_when_and_how_long() -> None:
    (action,) = make_pit_list([_finding("entry", cautions=("Hands off.",))])
    assert action.text == "Reseat entry (dropout)."
    assert action.subject == "entry"
    assert action.why == "dropout of entry at 10 s."
    assert (action.when_s, action.minutes, action.severity) == (10.0, 3.0, "fix")
    assert action.cautions == ("Hands off.",)
    assert action.findings == (0,)


def test_one_action_a_subject_that_names_all_findings_behind_it() -> None:
    found = [
        _finding("entry", Severity.WATCH, kind="chatter", start_s=5, cautions=("A.",)),
        _finding("gate", start_s=6),
        _finding("entry", start_s=7, cautions=("B.", "A.")),
        _finding("entry", Severity.NOTE, start_s=8, cautions=("C.",)),
    ]
    entry = next(action for action in make_pit_list(found) if action.subject == "entry")
    assert entry.findings == (0, 2)
    assert entry.text.startswith("Reseat entry (dropout).")
    assert (entry.when_s, entry.severity) == (7.0, "fix")
    assert entry.why == "dropout of entry at 7 s. chatter of entry at 5 s."
    assert entry.cautions == ("A.", "B.")


def test_another_kind_of_trouble_of_the_part_is_told_with_its_own_job() -> None:
    again = _finding("entry", start_s=20)
    (entry,) = make_pit_list([_finding("entry"), _finding("entry", Severity.WATCH, kind="chatter"), again])
    assert entry.text == "Reseat entry (dropout). Also: Reseat entry (chatter)."
    assert entry.why == "dropout of entry at 10 s. chatter of entry at 10 s. (1 more finding of this part.)"


def test_a_motor_driven_past_both_limits_and_stalled_there_is_one_job() -> None:
    high, low = (
        replace(_finding(name, kind="limit_overrun", role="limit"), evidence={"motor": "lift"})
        for name in ("top", "bottom")
    )
    stall = replace(_finding("lift", kind="stall", role="motor"), evidence={"limit": "top"})
    jam = replace(_finding("lift", kind="stall", role="motor", start_s=50), evidence={"limit": None})
    (job,) = make_pit_list([high, low, stall])
    assert job.text == "Reseat top (limit_overrun). The same for bottom."
    assert (job.subject, job.findings) == ("top", (0, 1, 2))
    assert jobs_of([high, low, stall]) == [("motor", "lift")] * 3
    (job,) = make_pit_list([high, jam])
    assert job.text == "Reseat top (limit_overrun). Also: Reseat lift (stall)."


def test_a_silent_limit_and_the_motor_that_stood_at_its_stop_are_one_job_on_the_limit() -> None:
    missed = replace(
        _finding("top", kind="limit_missed", role="limit", confidence=0.8, minutes=4),
        evidence={"motor": "lift"},
    )
    stall = _finding("lift", kind="stall", role="motor", start_s=10.5, confidence=0.97, minutes=5)
    (job,) = make_pit_list([missed, stall])
    assert job.text == "Reseat top (limit_missed)."
    assert (job.subject, job.findings, job.minutes) == ("top", (0, 1), 4.0)
    assert job.why == "limit_missed of top at 10 s. (1 more finding of this part.)"


@pytest.mark.parametrize("other", ["later", "another motor"])
def test_a_stall_elsewhere_does_not_come_of_a_silent_limit(other: str) -> None:
    missed = replace(_finding("top", kind="limit_missed", role="limit"), evidence={"motor": "lift"})
    stall = _finding(
        "lift" if other == "later" else "feed",
        kind="stall",
        role="motor",
        start_s=11.0 if other == "later" else 10.0,
    )
    assert len(make_pit_list([missed, stall])) == 2


def test_work_on_two_troubles_of_a_part_adds_up_and_a_motor_cools_meanwhile() -> None:
    loose, shaky = _finding("entry"), _finding("entry", kind="chatter", minutes=4)
    assert make_pit_list([loose, shaky])[0].minutes == 7.0
    stall, hot = (
        _finding("feed", kind=kind, role="motor", minutes=m) for kind, m in (("stall", 5), ("overheat", 8))
    )
    (job,) = make_pit_list([stall, hot])
    assert (job.minutes, job.text) == (8.0, "Reseat feed (overheat). Also: Reseat feed (stall).")


def test_what_is_for_the_programmer_is_said_once_a_job() -> None:
    code = " For the programmer: a current limit of 40 A."
    stall, hot = (
        replace(_finding("feed", kind=kind, role="motor"), advice=f"Mend {kind}.{code}")
        for kind in ("stall", "overheat")
    )
    assert make_pit_list([stall, hot])[0].text == f"Mend overheat.{code} Also: Mend stall."


def test_what_the_robot_plays_on_with_comes_after_what_is_out() -> None:
    shaky, out = (
        _finding("gate", kind="chatter", confidence=0.99),
        _finding("feed", kind="stall", confidence=0.7),
    )
    assert [action.subject for action in make_pit_list([shaky, out])] == ["feed", "gate"]


def test_a_dip_under_a_resistance_that_rose_has_no_job_of_its_own() -> None:
    rise = _finding("supply", kind="source_resistance", role="supply")
    dip = _finding("supply", Severity.WATCH, kind="voltage_dip", role="supply")
    (job,) = make_pit_list([rise, dip])
    assert job.text == "Reseat supply (source_resistance)."
    assert job.why == "source_resistance of supply at 10 s. (1 more finding of this part.)"
    assert make_pit_list([dip])[0].text == "Reseat supply (voltage_dip)."


def test_a_limit_and_a_motor_of_one_name_are_two_actions() -> None:
    found = [_finding("arm", role="limit"), _finding("arm", role="motor")]
    assert len(make_pit_list(found)) == 2


def test_what_must_be_fixed_comes_before_what_must_be_watched() -> None:
    found = [_finding("gate", Severity.WATCH, confidence=0.99), _finding("entry", confidence=0.5)]
    assert [action.subject for action in make_pit_list(found)] == ["entry", "gate"]


def test_the_surer_comes_first() -> None:
    found = [_finding("gate", confidence=0.6), _finding("entry", confidence=0.9)]
    assert [action.subject for action in make_pit_list(found)] == ["entry", "gate"]


def test_the_quicker_comes_first_among_equals() -> None:
    found = [_finding("gate", minutes=5), _finding("middle", minutes=2), _finding("entry", minutes=4)]
    assert [action.subject for action in make_pit_list(found)] == ["middle", "entry", "gate"]


def test_the_first_of_equal_findings_gives_the_time() -> None:
    (action,) = make_pit_list([_finding("entry", start_s=9), _finding("entry", start_s=4)])
    assert action.when_s == 4.0


def test_the_order_does_not_hang_on_the_order_of_the_findings() -> None:
    found = [_finding(name) for name in ("gate", "middle", "entry")]
    for order in (found, found[::-1]):
        assert [action.subject for action in make_pit_list(order)] == ["entry", "gate", "middle"]


@pytest.mark.parametrize(("number", "listed"), [(MOST_ACTIONS, 12), (MOST_ACTIONS + 1, 12)])
def test_twelve_actions_at_most(number: int, listed: int) -> None:
    found = [_finding(f"beam {n}", confidence=0.5 + n / 100) for n in range(number)]
    actions = make_pit_list(found)
    assert len(actions) == listed
    assert actions[0].subject == f"beam {number - 1}"

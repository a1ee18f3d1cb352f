"""A battery that steps away from what is usual is said, though no test of the order could."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.battery_steps import BatteryStep, battery_steps
from telemetry.event import event_from
from telemetry.finding import Severity
from tests.telemetry.facts import match_facts


def _steps(*milliohms: float, names: str = "") -> tuple[BatteryStep, ...]:
    batteries = list(names) or [None] * len(milliohms)
    facts = [match_facts(f"m{n}", resistance_ohm=r / 1e3) for n, r in enumerate(milliohms)]
    return battery_steps(facts, batteries)


def test_one_match_far_above_all_before_is_a_step() -> None:
    (step,) = _steps(17, 17, 18, 17, 35)
    assert (step.battery, step.match, step.with_own, step.compared) == ("supply", "m4", True, 4)
    assert (step.resistance_ohm, step.usual_ohm) == (0.035, 0.017)
    assert step.low_ohm < 0.035 < step.high_ohm
    assert step.text == (
        "35 mΩ in m4 against 17 mΩ in the 4 matches before: 2.1 times as much, and no trend but a step."
    )
    assert step.forecast.startswith(
        "supply: reckon with 35 mΩ (33 to 37) in the next match with it: 100 A then cost 3.5 V, where 1.7 V"
    )


def test_the_first_match_of_the_step_is_named() -> None:
    (step,) = _steps(17, 18, 34, 36, 35)
    assert (step.match, step.last_match, step.compared) == ("m2", "m4", 2)
    assert "since m2" in step.text


def test_a_weak_battery_is_held_against_the_others() -> None:
    (step,) = _steps(17, 30, 18, 31, 17, names="ABCBA")
    assert (step.battery, step.with_own, step.compared) == ("B", False, 3)
    assert "in the 3 matches of the others" in step.text


def test_a_battery_that_was_mended_is_none_to_reckon_with() -> None:
    assert _steps(17, 17, 35, 36, 17) == ()


def test_its_own_matches_tell_more_than_the_others() -> None:
    assert _steps(30, 17, 31, 18, 30, names="ABABA")[0].battery == "A"
    (step,) = _steps(17, 12, 17, 12, 30, names="ABABA")
    assert (step.battery, step.with_own, step.usual_ohm) == ("A", True, 0.017)


@pytest.mark.parametrize(("last", "told"), [(25.4, 0), (25.6, 1)])
def test_half_as_much_again_is_far(last: float, told: int) -> None:
    assert len(_steps(17, 17, 17, last)) == told


@pytest.mark.parametrize(("last", "told"), [(28.5, 0), (28.7, 1)])
def test_it_must_lie_well_above_the_highest_yet(last: float, told: int) -> None:
    assert len(_steps(17, 17, 22, last)) == told


def test_one_match_says_nothing_of_another() -> None:
    assert _steps(17, 35) == ()
    assert _steps() == ()


def test_healthy_batteries_of_every_kind_show_no_step() -> None:
    rng = np.random.default_rng(3)
    assert not any(_steps(*rng.uniform(14, 21, 8)) for _ in range(300))


def test_the_event_says_it_and_advises() -> None:
    facts = [
        match_facts(f"m{n}", resistance_ohm=r, battery="B3") for n, r in enumerate([0.017] * 4 + [0.035])
    ]
    event = event_from(facts)
    (trouble,) = event.troubles
    assert (trouble.kind, trouble.subject, trouble.severity) == ("source_resistance", "B3", Severity.FIX)
    assert "lug" in trouble.advice
    assert [step.battery for step in event.battery_steps] == ["B3"]

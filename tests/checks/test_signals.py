"""The trigger of hits against seismology's, and voltage dips against their standard."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.signals import dips, sta_lta, trigger
from tests.checks.published import approx, published


@pytest.mark.parametrize("identifier", ["ev-01", "ev-03"])
def test_ratio_of_short_to_long_term_mean(identifier: str) -> None:
    """Allen 1978 (BSSA 68), Withers et al. 1998 (BSSA 88, 95-106): classic form, on squared samples."""
    check = published(identifier)
    given = check["inputs"]
    ratio = sta_lta(np.array(given["x"], dtype=float), given["nsta"], given["nlta"])
    assert ratio.tolist() == approx(check)


def test_ev_04_trigger_on_that_ratio() -> None:
    """Reference trigger of the obspy library, release 1.5.1: first sample above on, last one above off."""
    check, given = published("ev-04"), published("ev-01")["inputs"]
    ratio = sta_lta(np.array(given["x"], dtype=float), given["nsta"], given["nlta"])
    classic, _recursive = check["expected"]
    assert trigger(ratio, check["inputs"]["on"], check["inputs"]["off"]).tolist() == [classic]


def test_ev_04_trigger_on_the_recursive_ratio() -> None:
    """The same trigger on the ratio of the recursive form as published (Withers et al. 1998)."""
    check, ratio = published("ev-04"), np.array(published("ev-02")["expected"], dtype=float)
    _classic, recursive = check["expected"]
    assert trigger(ratio, check["inputs"]["on"], check["inputs"]["off"]).tolist() == [recursive]


def test_ev_05_trigger_on_a_built_signal() -> None:
    """The signal of the obspy library's own trigger test, release 1.5.1, without its longest length."""
    check = published("ev-05")
    wave = np.sin(np.arange(0, 5 * np.pi, check["inputs"]["step"]))
    level = np.concatenate((wave + 1, wave + 2.1, wave + 0.4, wave + 1))
    assert trigger(level, check["inputs"]["on"], check["inputs"]["off"]).tolist() == check["expected"]


@pytest.mark.parametrize("identifier", ["ba-06", "ba-07"])
def test_voltage_dips(identifier: str) -> None:
    """IEC 61000-4-30, dip with threshold, hysteresis and residual voltage: with the 2 % and without."""
    check = published(identifier)
    given = check["inputs"]
    found = dips(np.array(given["u_V"]), given["threshold_V"], given["hysteresis_V"])
    assert [list(dip) for dip in found] == [approx(check, expected) for expected in check["expected"]]

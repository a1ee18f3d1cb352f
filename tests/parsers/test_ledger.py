"""The account of the cells: one repair a kind, and no cell unaccounted for."""

from __future__ import annotations

import pytest

from parsers.ledger import Ledger
from telemetry.errors import LogError
from telemetry.log import Repair


def test_faults_of_one_kind_become_one_repair_with_the_first_line() -> None:
    ledger = Ledger("log.csv")
    ledger.add("unreadable_row", 1, "{count} unreadable row(s){where} left out.", line=9, cells=4)
    ledger.add("unreadable_row", 2, "{count} unreadable row(s){where} left out.", line=7, cells=5)

    assert ledger.repairs() == (
        Repair("unreadable_row", 3, 7, "3 unreadable rows (first at line 7) left out.", 9),
    )


def test_a_single_fault_reads_as_one() -> None:
    ledger = Ledger("log.csv")
    ledger.add("unreadable_row", 1, "{count} unreadable row(s){where} left out.", line=1200, cells=4)

    assert ledger.repairs()[0].text == "1 unreadable row (line 1,200) left out."


def test_nothing_is_no_repair() -> None:
    ledger = Ledger("log.csv")
    ledger.add("unreadable_row", 0, "x")

    assert ledger.repairs() == ()
    assert not ledger.has("unreadable_row")


@pytest.mark.parametrize("kept", [95, 97])
def test_a_cell_too_few_or_too_many_is_an_error(kept: int) -> None:
    ledger = Ledger("log.csv")
    ledger.add("unreadable_row", 1, "x", cells=4)
    ledger.balance(100, 96)

    with pytest.raises(LogError, match=rf"found 100 read, {kept} kept and 4 in repairs"):
        ledger.balance(100, kept)

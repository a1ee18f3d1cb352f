"""Some hundreds of the spoiled files that the fuzz run reads by the ten thousand."""

from __future__ import annotations

from tests.parsers.fuzzing import fuzz


def test_spoiled_files_are_read_or_refused() -> None:
    counts = fuzz(200, seed=1_000_000)

    assert counts["read"] > 80
    assert counts["refused"] > 50

"""Published numbers out of `values.json`: formula, inputs, expected values, tolerance and source of each."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

__all__ = ["approx", "published"]


def published(identifier: str) -> dict[str, Any]:
    """The entry of one check: id, quantity, formula, inputs, expected, abs_tol or rel_tol, source, status."""
    return _entries()[identifier]


def approx(entry: dict[str, Any], expected: Any = None) -> Any:
    """The entry's expected values (or a part of them) within its own tolerance, to compare by ==."""
    wanted = entry["expected"] if expected is None else expected
    return pytest.approx(wanted, abs=entry.get("abs_tol", 0.0), rel=entry.get("rel_tol", 0.0))


@cache
def _entries() -> dict[str, dict[str, Any]]:
    text = (Path(__file__).parent / "values.json").read_text(encoding="utf-8")
    return {entry["id"]: entry for entry in json.loads(text)}

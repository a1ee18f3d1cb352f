"""Results as JSON values: numbers tidied, nothing that JSON lacks, and the text that stands in a file."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

__all__ = ["SCHEMA", "TIME_PLACES", "document", "json_text", "rounded", "tidy"]

SCHEMA = 1
"""The number of the contract that every document keeps."""

TIME_PLACES = 4
"""Decimal places of a time in seconds."""

_DIGITS = 6


def json_text(document: Mapping[str, Any]) -> str:
    """A document as it stands in a file: indented, in its own order, with a line end."""
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def document(values: Mapping[str, object]) -> dict[str, Any]:
    """Named values as JSON values, in their order."""
    return {key: tidy(value, key) for key, value in values.items()}


def tidy(value: object, key: str = "") -> Any:
    """JSON values: numbers rounded (times to 4 places, others to 6 digits), NaN and infinity as null."""
    if isinstance(value, Mapping):
        return {str(name): tidy(item, str(name)) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [tidy(item, key) for item in value]
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return _tidy_float(float(value), key)
    if hasattr(value, "tolist"):
        return tidy(value.tolist(), key)
    return str(value)


def _tidy_float(value: float, key: str) -> float | None:
    if not math.isfinite(value):
        return None
    return round(value, TIME_PLACES) if key.endswith("_s") else rounded(value)


def rounded(value: float) -> float:
    """A number with six digits left."""
    return float(f"{value:.{_DIGITS}g}")

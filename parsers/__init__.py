"""Bytes to a Log: `read_log` is the door. What is named here is loaded when first used, not before."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from parsers.door import read_log
    from parsers.folder import find_logs, is_log_name
    from parsers.limits import Limits
    from parsers.match_sheet import read_match_sheet
    from parsers.overrides import LogOverrides, Told, told_format

__all__ = [
    "Limits", "LogOverrides", "Told", "find_logs", "is_log_name", "read_log", "read_match_sheet",
    "told_format",
]  # fmt: skip

_HOMES = {
    "Limits": "limits", "LogOverrides": "overrides", "find_logs": "folder", "is_log_name": "folder",
    "read_log": "door", "read_match_sheet": "match_sheet", "Told": "overrides", "told_format": "overrides",
}  # fmt: skip


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"parsers.{_HOMES[name]}"), name)

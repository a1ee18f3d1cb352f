"""Analysis in, pages and files out. What is named here is loaded when first used, not before."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reports.event import event_page
    from reports.event_records import event_json
    from reports.frames import MatchFrames, open_matches
    from reports.json_values import json_text
    from reports.page import match_page
    from reports.results import analysis_json, findings_csv
    from reports.writing import write_event, write_match

__all__ = [
    "MatchFrames", "analysis_json", "event_json", "event_page", "findings_csv", "json_text", "match_page",
    "open_matches", "write_event", "write_match",
]  # fmt: skip

_HOMES = {
    "event": ("event_page",),
    "event_records": ("event_json",),
    "frames": ("MatchFrames", "open_matches"),
    "json_values": ("json_text",),
    "page": ("match_page",),
    "results": ("analysis_json", "findings_csv"),
    "writing": ("write_event", "write_match"),
}


def __getattr__(name: str) -> Any:
    home = next((home for home, names in _HOMES.items() if name in names), None)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"reports.{home}"), name)

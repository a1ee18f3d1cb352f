"""The checklist of a functional test: in the terminal, as JSON and as a page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reports.page import render
from reports.words import counted
from telemetry.plain import shown
from telemetry.precheck import CAUTIONS, Item

__all__ = ["precheck_json", "precheck_page", "precheck_text"]

_STATES = ("wrong", "not seen", "seen")
_MARKS = {"seen": "[x]", "not seen": "[ ]", "wrong": "[!]"}


def precheck_text(items: Sequence[Item], file: str) -> str:
    """Cautions first, then a line for each part, then the sum."""
    lines = [f"Caution: {caution}" for caution in CAUTIONS]
    lines.append(f"Functional test {shown(file)}:")
    lines += [
        f"{_MARKS[item.state]} {item.state:8} {item.role} {shown(item.subject)}: {shown(item.detail, 160)}"
        for item in items
    ]
    return "\n".join([*lines, _sum(items)])


def precheck_json(items: Sequence[Item], file: str) -> dict[str, Any]:
    """The checklist as a document."""
    counts = {state.replace(" ", "_"): _count(items, state) for state in _STATES}
    rows = [{**vars(item), "state": item.state.replace(" ", "_")} for item in items]
    return {"schema": 1, "log": file, "cautions": list(CAUTIONS), "counts": counts, "items": rows}


def precheck_page(items: Sequence[Item], file: str) -> str:
    """The checklist as one self-contained page: what is wrong first, then what was not seen."""
    ranked = sorted(items, key=lambda item: _STATES.index(item.state))
    return render(
        "precheck.html.j2", script="", title=f"Functional test – {file}", file=file, items=ranked,
        cautions=CAUTIONS, sum=_sum(items), good=bool(items) and all(item.state == "seen" for item in items),
    )  # fmt: skip


def _sum(items: Sequence[Item]) -> str:
    if not items:
        return "The robot file names nothing to check."
    wrong, missing = _count(items, "wrong"), _count(items, "not seen")
    if not wrong and not missing:
        return f"All {len(items)} seen: ready."
    return (
        f"{counted(len(items) - wrong - missing, 'part')} seen, {missing} not seen, {wrong} wrong: not ready."
    )


def _count(items: Sequence[Item], state: str) -> int:
    return sum(item.state == state for item in items)

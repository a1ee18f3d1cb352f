"""The inventory of a log's channels, as JSON and as text for a terminal."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from reports.log_json import log_json
from telemetry.inventory import ChannelSummary
from telemetry.log import Log
from telemetry.plain import shown

__all__ = ["inventory_json", "inventory_text"]

_NAME_WIDTH = 40
_WIDTH = 118
_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


def inventory_json(log: Log, summaries: Sequence[ChannelSummary]) -> dict[str, Any]:
    """What `channels --json` prints, schema 1."""
    dialect = log.dialect
    return {
        "schema": 1,
        "log": {
            **log_json(log),
            "dialect": {
                "encoding": dialect.encoding,
                "delimiter": dialect.delimiter,
                "decimal": dialect.decimal,
                "time_column": dialect.time_column,
                "time_unit": dialect.time_unit,
                "shape": dialect.shape,
            },
        },
        "channels": [_summary_json(summary) for summary in summaries],
    }


def _summary_json(summary: ChannelSummary) -> dict[str, Any]:
    return {
        "name": summary.name,
        "kind": str(summary.kind),
        "unit": summary.unit,
        "role": summary.role,
        "samples": summary.samples,
        "missing": summary.missing,
        "rate_hz": None if summary.rate_hz is None else round(summary.rate_hz, 6),
        "gaps": summary.gaps,
        "transitions": summary.transitions,
        "min": summary.min,
        "max": summary.max,
    }


def inventory_text(log: Log, summaries: Sequence[ChannelSummary]) -> str:
    """The same for people: what the log is, a table of channels, what was mended, how it was read."""
    head = (
        f"{shown(log.file)}: {log.rows:,} rows, {len(log.channels):,} channels, {log.span_s:.2f} s, "
        f"{log.shape} shape"
    )
    repairs = [f"- {shown(repair.text, 400)}" for repair in log.repairs]
    health = ["Mended or left out:", *repairs] if repairs else ["Nothing had to be mended."]
    return "\n".join([head, "", _table(summaries), *health, "", _dialect_sentence(log)]) + "\n"


def _table(summaries: Sequence[ChannelSummary]) -> str:
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0), collapse_padding=True)
    for title in ("channel", "kind", "unit", "role"):
        table.add_column(title, overflow="fold")
    for title in ("samples", "missing", "rate Hz", "gaps", "changes", "min", "max"):
        table.add_column(title, justify="right", no_wrap=True)
    for summary in summaries:
        table.add_row(*map(Text, _cells(summary)))
    console = Console(
        file=io.StringIO(), width=_WIDTH, color_system=None, force_terminal=False, legacy_windows=False
    )
    with console.capture() as capture:
        console.print(table)
    lines = (line.rstrip() for line in capture.get().splitlines())
    return "\n".join(line for line in lines if line) + "\n"


def _cells(summary: ChannelSummary) -> tuple[str, ...]:
    return (
        shown(summary.name, _NAME_WIDTH),
        str(summary.kind),
        summary.unit or "",
        shown(summary.role or "", 24),
        f"{summary.samples:,}",
        f"{summary.missing:,}",
        _figure(summary.rate_hz, ".1f"),
        _figure(summary.gaps, ","),
        _figure(summary.transitions, ","),
        _figure(summary.min, ".5g"),
        _figure(summary.max, ".5g"),
    )


def _figure(value: float | None, form: str) -> str:
    return "" if value is None else format(value, form)


def _dialect_sentence(log: Log) -> str:
    dialect = log.dialect
    time = f"time in {shown(dialect.time_column, _NAME_WIDTH)} ({dialect.time_unit})"
    if not dialect.delimiter:
        return f"Read as {shown(dialect.encoding)}, {time}."
    mark = _DELIMITERS.get(dialect.delimiter, shown(dialect.delimiter))
    return f"Read as {dialect.encoding}, cells parted by {mark}, decimal sign {dialect.decimal!r}, {time}."

"""The inventory of a log's channels, as JSON and as text for a terminal."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Literal

from reports.log_json import log_json
from telemetry.inventory import ChannelSummary
from telemetry.log import Log
from telemetry.plain import shown

__all__ = ["inventory_json", "inventory_text"]

_NAME_WIDTH = 200
_LEAST_WIDTH = 12
_YIELDING = ("role", "channel")
_UNBOUNDED = 100_000
_LEFT = ("channel", "kind", "unit", "role")
_TITLES = (*_LEFT, "samples", "missing", "rate Hz", "gaps", "changes", "min", "max")
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
                "why": dialect.why,
                "runner_up": dialect.runner_up,
                "other_clocks": list(dialect.other_clocks),
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


def inventory_text(log: Log, summaries: Sequence[ChannelSummary], *, width: int | None = None) -> str:
    """The same for people: what the log is, a table of channels, what was mended, how it was read.

    `width` is that of a terminal: longer names and roles are cut with `…` to fit. None leaves them whole.
    """
    head = (
        f"{shown(log.file)}: {log.rows:,} rows, {len(log.channels):,} channels, {log.span_s:.2f} s, "
        f"{log.shape} shape"
    )
    repairs = [f"- {shown(repair.text, 400)}" for repair in log.repairs]
    health = ["Mended or left out:", *repairs] if repairs else ["Nothing had to be mended."]
    return "\n".join([head, "", _table(summaries, width), *health, "", _dialect_sentence(log)]) + "\n"


def _table(summaries: Sequence[ChannelSummary], width: int | None) -> str:
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    shown_titles = _titles(summaries, width)
    rows = [tuple(_cells(summary)[title] for title in shown_titles) for summary in summaries]
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0), collapse_padding=True)
    for title, most in _widths(summaries, shown_titles, width).items():
        justify: Literal["left", "right"] = "left" if title in _LEFT else "right"
        table.add_column(title, justify=justify, no_wrap=True, overflow="ellipsis", max_width=most)
    for row in rows:
        table.add_row(*map(Text, row))
    console = Console(
        file=io.StringIO(), width=_UNBOUNDED, color_system=None, force_terminal=False, legacy_windows=False
    )
    with console.capture() as capture:
        console.print(table)
    lines = (line.rstrip() for line in capture.get().splitlines())
    return "\n".join(line for line in lines if line) + "\n"


def _titles(summaries: Sequence[ChannelSummary], width: int | None) -> tuple[str, ...]:
    """The columns; a narrow terminal goes without roles, which `draft` tells, for the sake of names."""
    widths = _widths(summaries, _TITLES, width)
    fits = width is None or sum(widths.values()) + 2 * len(widths) <= width
    return _TITLES if fits else tuple(title for title in _TITLES if title != "role")


def _widths(summaries: Sequence[ChannelSummary], titles: Sequence[str], width: int | None) -> dict[str, int]:
    """Widths that hold every cell whole; on a terminal, roles and names give way until the table fits."""
    from rich.cells import cell_len

    cells = [_cells(summary) for summary in summaries]
    widths = {title: max(cell_len(text) for text in (title, *(c[title] for c in cells))) for title in titles}
    if width is not None:
        excess = sum(widths.values()) + 2 * len(widths) - width
        for title in _YIELDING:
            spared = min(max(excess, 0), max(widths.get(title, 0) - _LEAST_WIDTH, 0))
            if spared:
                widths[title] -= spared
                excess -= spared
    return widths


def _cells(summary: ChannelSummary) -> dict[str, str]:
    return {
        "channel": shown(summary.name, _NAME_WIDTH),
        "kind": str(summary.kind),
        "unit": summary.unit or "",
        "role": shown(summary.role or "", _NAME_WIDTH),
        "samples": f"{summary.samples:,}",
        "missing": f"{summary.missing:,}",
        "rate Hz": _figure(summary.rate_hz, ".1f" if (summary.rate_hz or 1.0) >= 1.0 else ".3g"),
        "gaps": _figure(summary.gaps, ","),
        "changes": _figure(summary.transitions, ","),
        "min": _figure(summary.min, ".5g"),
        "max": _figure(summary.max, ".5g"),
    }


def _figure(value: float | None, form: str) -> str:
    return "" if value is None else format(value, form)


def _dialect_sentence(log: Log) -> str:
    dialect = log.dialect
    time = f"time in {shown(dialect.time_column, _NAME_WIDTH)} ({dialect.time_unit})"
    if dialect.other_clocks:
        time += f" rather than {', '.join(shown(name, _NAME_WIDTH) for name in dialect.other_clocks)}"
    if not dialect.delimiter:
        return f"Read as {shown(dialect.encoding)}, {time}."
    mark = _DELIMITERS.get(dialect.delimiter, shown(dialect.delimiter))
    read = f"Read as {dialect.encoding}, cells parted by {mark}, decimal sign {dialect.decimal!r}, {time}."
    why = f"Chosen: {shown(dialect.why, 300)}."
    runner_up = f"Next best: {shown(dialect.runner_up, 300)}." if dialect.runner_up else "Nothing else fits."
    return "\n".join((read, why, runner_up, "Where that is wrong: --format, or [log] in the robot file."))

"""A small writer of logs in any dialect, independent of the readers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Style", "example_columns", "long_rows", "write_rows", "write_wide"]

Cell = float | int | str | None


@dataclass(frozen=True)
class Style:
    """How a log is written."""

    delimiter: str = ","
    decimal: str = "."
    quoted: bool = False
    line_end: str = "\n"
    last_line_end: bool = True
    encoding: str = "utf-8"
    header: bool = True
    trailing: bool = False
    preamble: tuple[str, ...] = ()


def write_rows(
    path: Path, names: Sequence[str], rows: Sequence[Sequence[Cell]], style: Style = Style()
) -> Path:
    """Writes a table; floats in full, None as an empty cell."""
    lines = list(style.preamble)
    if style.header:
        lines.append(_line(names, style))
    lines.extend(_line(row, style) for row in rows)
    text = style.line_end.join(lines) + (style.line_end if style.last_line_end else "")
    path.write_bytes(text.encode(style.encoding))
    return path


def _line(cells: Sequence[Cell], style: Style) -> str:
    return style.delimiter.join(_cell(cell, style) for cell in cells) + style.delimiter * style.trailing


def _cell(cell: Cell, style: Style) -> str:
    if cell is None:
        return ""
    text = repr(cell).replace(".", style.decimal) if isinstance(cell, float) else str(cell)
    special = any(mark in text for mark in (style.delimiter, '"', "\n", "\r"))
    return '"' + text.replace('"', '""') + '"' if special or style.quoted else text


def write_wide(path: Path, columns: Mapping[str, Sequence[Cell]], style: Style = Style()) -> Path:
    """Writes columns of equal length."""
    rows = list(zip(*columns.values(), strict=True))
    return write_rows(path, list(columns), rows, style)


def example_columns(rows: int = 60, step_s: float = 0.02) -> dict[str, list[Cell]]:
    """Time, a current, a beam and a mode: every kind of channel."""
    return {
        "time_s": [round(i * step_s, 6) for i in range(rows)],
        "feed_current_a": [round(10 + 0.37 * i, 2) for i in range(rows)],
        "beam_entry": [i // 7 % 2 for i in range(rows)],
        "mode": ["auto" if i < rows // 3 else "teleop" for i in range(rows)],
    }


def long_rows(columns: Mapping[str, Sequence[Cell]], time: str = "time_s") -> list[list[Cell]]:
    """The same as rows of time, channel and value, one instant after the other."""
    others = [name for name in columns if name != time]
    return [[t, name, columns[name][i]] for i, t in enumerate(columns[time]) for name in others]

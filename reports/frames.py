"""The results as polars frames, for a notebook.

    from reports import open_matches

    match = open_matches("match-02.csv", robot="robot.toml")[0]
    match                 # shows itself in a notebook
    match.findings        # a polars DataFrame; also contacts, cycles, pieces, motors, checks
    match.motor("feed")   # its samples: t_s, current_a, speed_rad_s, heat, …

Times are `t_s`, seconds on the log's clock; `match_s` counts from the start of the match.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import Any

import polars as pl
from markupsafe import Markup

from reports.verdict import verdict_of
from reports.words import clock, duration, heading, visible
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass

__all__ = ["MatchFrames", "open_matches"]

_MOST_SHOWN = 12
_TRACE = ("t_s", "current_a", "command", "speed_rad_s", "speed_share", "applied_v", "heat", "driven")


def open_matches(log: str | Path, *, robot: str | Path | None = None) -> tuple[MatchFrames, ...]:
    """Every match of a log, judged, as frames. `robot` is the robot file; without it roles are guessed.

    Raises RattletraceError, with the one line that the command would print, where a file cannot be used.
    """
    from telemetry.commands.loading import judged_within_limits

    path = None if robot is None else Path(robot)
    return tuple(MatchFrames(one) for one in judged_within_limits(Path(log), path))


@dataclass(frozen=True, eq=False)
class MatchFrames:
    """One match as polars frames; each is made when first asked for. `analysis` is all there is."""

    analysis: Analysis

    @cached_property
    def findings(self) -> pl.DataFrame:
        """Findings in the order of time; the evidence is in `analysis.findings`."""
        names = ("kind", "subject", "role", "start_s", "end_s", "severity", "confidence", "text", "advice")
        rows = [{name: getattr(finding, name) for name in names} for finding in self.analysis.findings]
        rows = [{**row, "severity": str(row["severity"])} for row in rows]
        words = dict.fromkeys(("kind", "subject", "role", "severity", "text", "advice"), pl.String)
        return self._frame(rows, {name: words.get(name, pl.Float64) for name in names}, "start_s")

    @cached_property
    def contacts(self) -> pl.DataFrame:
        """Hits."""
        schema = {"t_s": pl.Float64, "peak_g": pl.Float64, "duration_s": pl.Float64, "source": pl.String,
                  "direction_deg": pl.Float64}  # fmt: skip
        return self._frame(_rows(self.analysis.contacts, schema), schema, "t_s")

    @cached_property
    def cycles(self) -> pl.DataFrame:
        """Cycles, a column for each stage in seconds."""
        stages = dict.fromkeys(stage for cycle in self.analysis.cycles for stage in cycle.stages)
        schema = {"number": pl.Int64, "start_s": pl.Float64, "end_s": pl.Float64, "pieces": pl.Int64,
                  "open": pl.Boolean}  # fmt: skip
        rows = [
            {**{name: getattr(cycle, name) for name in schema},
             **{f"{stage}_s": cycle.stages.get(stage) for stage in stages}}
            for cycle in self.analysis.cycles
        ]  # fmt: skip
        return self._frame(rows, {**schema, **{f"{stage}_s": pl.Float64 for stage in stages}}, "start_s")

    @cached_property
    def pieces(self) -> pl.DataFrame:
        """Pieces aboard, a row for each step: the count, how sure it is, and its 90 % band."""
        schema = {"start_s": pl.Float64, "aboard": pl.Int64, "probability": pl.Float64, "low": pl.Int64,
                  "high": pl.Int64}  # fmt: skip
        steps = self.analysis.pieces.timeline if self.analysis.pieces else ()
        return self._frame(_rows(steps, schema), schema, "start_s")

    @cached_property
    def motors(self) -> pl.DataFrame:
        """One row a motor: peak current, stall, heat, energy."""
        schema = {"peak_current_a": pl.Float64, "stall_s": pl.Float64, "near_stall_s": pl.Float64,
                  "peak_heat": pl.Float64, "end_heat": pl.Float64, "energy_wh": pl.Float64}  # fmt: skip
        use = self.analysis.motor_use
        rows = [{"motor": name, **row} for name, row in zip(use, _rows(use.values(), schema), strict=True)]
        return pl.DataFrame(rows, schema={"motor": pl.String, **schema})

    @cached_property
    def checks(self) -> pl.DataFrame:
        """Every check with its verdict, and the reason where nothing could be judged."""
        schema = dict.fromkeys(("kind", "subject", "verdict", "reason"), pl.String)
        rows = [{**row, "verdict": str(row["verdict"])} for row in _rows(self.analysis.checks, schema)]
        return pl.DataFrame(rows, schema=schema)

    def motor(self, name: str) -> pl.DataFrame:
        """The samples of one motor; NaN where a figure cannot be told. Raises KeyError for another name."""
        trace = self.analysis.motors[name]
        return self._timed(pl.DataFrame({column: getattr(trace, column) for column in _TRACE}), "t_s")

    def _frame(self, rows: Sequence[dict[str, object]], schema: dict[str, Any], time: str) -> pl.DataFrame:
        return self._timed(pl.DataFrame(list(rows), schema=schema), time)

    def _timed(self, frame: pl.DataFrame, time: str) -> pl.DataFrame:
        match_s = (pl.col(time) - self.analysis.match.start_s).alias("match_s")
        return frame.with_columns(match_s)

    def __repr__(self) -> str:
        """The match and its verdict on one line."""
        return f"<{self.analysis.match.name}: {verdict_of(self.analysis).sentence}>"

    def _repr_html_(self) -> str:
        """What a notebook shows: the verdict, the first findings, the cycles in a sentence."""
        analysis, zero_s = self.analysis, self.analysis.match.start_s
        rows = [
            (clock(finding.start_s, zero_s), str(finding.severity),
             heading(finding.kind, finding.subject, finding.role), finding.text)
            for finding in analysis.findings[:_MOST_SHOWN]
        ]  # fmt: skip
        more = len(analysis.findings) - len(rows)
        closed = [cycle.end_s - cycle.start_s for cycle in analysis.cycles if not cycle.open]
        ends = [f"and {more} more findings in .findings"] if more > 0 else []
        ends += [f"{len(closed)} whole cycles, the longest {duration(max(closed))}"] if closed else []
        who = f"{analysis.match.name}, robot {analysis.robot.robot.name}"
        head = Markup("<p><strong>{}</strong>: {}</p>").format(visible(who), verdict_of(analysis).sentence)
        table = _html_table(("at", "level", "finding", "what"), rows) if rows else Markup("")
        return str(head + table + Markup("").join(Markup("<p>{}</p>").format(line) for line in ends))


def _rows(records: Iterable[object], schema: Mapping[str, Any]) -> list[dict[str, object]]:
    return [{name: getattr(record, name) for name in schema} for record in records]


def _html_table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> Markup:
    head = Markup("").join(Markup("<th>{}</th>").format(column) for column in columns)
    lines = [Markup("").join(Markup("<td>{}</td>").format(visible(cell)) for cell in row) for row in rows]
    body = Markup("").join(Markup("<tr>{}</tr>").format(line) for line in lines)
    return Markup("<table><tr>{}</tr>{}</table>").format(head, body)

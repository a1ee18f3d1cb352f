"""`rattletrace replay`: the match again, in the terminal, at any speed."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.commands.loading import judged
from telemetry.commands.options import (
    EXIT_DONE,
    HELP,
    json_option,
    limit_options,
    log_argument,
    reader_limits,
    robot_option,
)

if TYPE_CHECKING:
    from reports.replay import State
    from telemetry.analysis import Analysis

__all__ = ["replay"]


class MatchTime(click.ParamType):  # type: ignore[type-arg] # not generic in older releases
    """Match time as seconds or as m:ss.s, before the match with a minus."""

    name = "TIME"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Seconds of match time."""
        told = re.fullmatch(r"(-?)(?:(\d{1,4}):)?(\d{1,5}(?:\.\d+)?)", str(value))
        if told is None:
            self.fail(
                f"{value!r} is no match time; write seconds or m:ss.s, such as 65.5 or 1:05.5", param, ctx
            )
        seconds = 60 * int(told[2] or 0) + float(told[3])
        return -seconds if told[1] else seconds


@click.command(context_settings=HELP)
@log_argument
@robot_option
@click.option(
    "--speed", type=click.FloatRange(0.01, 1000), default=1.0, show_default=True, help="Times as fast."
)
@click.option(
    "--from", "from_s", type=MatchTime(), help="Match time to begin at; else the start of the match."
)
@click.option("--to", "to_s", type=MatchTime(), help="Match time to end at; else the end of the match.")
@click.option(
    "--tick", "tick_s", type=click.FloatRange(0.01, 60), default=1.0, show_default=True, metavar="SECONDS",
    help="Match time from line to line.",
)  # fmt: skip
@json_option
@limit_options
def replay(
    log_path: Path,
    robot_path: Path | None,
    speed: float,
    from_s: float | None,
    to_s: float | None,
    tick_s: float,
    as_json: bool,
    **limits: float,
) -> int:
    """Play LOG again: a line of state a tick, with hits, pieces and findings as they come.

    On a terminal it runs at its own pace; keys: g go or pause, n next tick, s slower, f faster, q quit.
    Elsewhere, and with --json (one object a line), everything is written at once.
    """
    from reports.replay import states_of

    for analysis in judged(log_path, robot_path, reader_limits(limits)):
        states = states_of(analysis, from_s=from_s, to_s=to_s, tick_s=tick_s)
        if as_json:
            _write_json(analysis, states)
        elif _show(analysis, states, speed, tick_s):
            break
    return EXIT_DONE


def _write_json(analysis: Analysis, states: Iterator[State]) -> None:
    import json

    from reports.replay import state_json

    for state in states:
        click.echo(json.dumps(state_json(state, analysis.match.name), ensure_ascii=False, allow_nan=False))


def _show(analysis: Analysis, states: Iterator[State], speed: float, tick_s: float) -> bool:
    """Play one match; whether the reader quit."""
    from reports.replay import HEADING
    from reports.terminal import KEYS, Pace, play, single_keys
    from telemetry.plain import shown

    live = sys.stdout.isatty()
    bold = live and "NO_COLOR" not in os.environ
    click.echo(f"{shown(analysis.match.name)}, robot {shown(analysis.robot.robot.name)}")
    if live and sys.stdin.isatty():
        click.echo(KEYS)
    click.echo(HEADING)
    ticks = _ticks(analysis, states, bold)
    if not live:
        for lines in ticks:
            click.echo("\n".join(lines))
        return False
    pace = Pace(speed)
    with single_keys() as listen:
        play(ticks, pace, tick_s=tick_s, listen=listen, show=click.echo)
    return pace.over


def _ticks(analysis: Analysis, states: Iterator[State], bold: bool) -> Iterator[list[str]]:
    """The lines of each tick: what happened since the one before, then the state."""
    from reports.replay import event_line, state_line

    for state in states:
        told = [event_line(event, analysis.match.start_s) for event in state.events]
        yield [*(click.style(line, bold=True) if bold else line for line in told), state_line(state)]

"""`rattletrace report`: a page for each match, and one for the event."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.commands.loading import judged, logs_with_robots, told_unusable
from telemetry.commands.options import (
    EXIT_DONE,
    EXIT_FOUND,
    EXIT_UNUSABLE,
    HELP,
    SEVERITIES,
    complain,
    json_option,
    limit_options,
    logs_argument,
    out_option,
    reader_limits,
    robot_option,
)
from telemetry.errors import RattletraceError

if TYPE_CHECKING:
    from telemetry.analysis import Analysis
    from telemetry.event import Unusable

__all__ = ["report"]


@click.command(context_settings=HELP)
@logs_argument
@robot_option
@out_option
@click.option("--fail-on", type=click.Choice(SEVERITIES), help="Exit with 1 when a finding is that grave.")
@json_option
@limit_options
def report(
    log_paths: Sequence[Path],
    robot_path: Path | None,
    out: Path,
    fail_on: str | None,
    as_json: bool,
    **limits: float,
) -> int:
    """Write a page for each match, and one for the event, into DIR. LOG is a file or a folder."""
    from reports import event_json, json_text, write_event
    from telemetry.event import event_of

    analyses: list[Analysis] = []
    unusable: list[Unusable] = []
    for log_path, robot_file in _with_progress(logs_with_robots(log_paths, robot_path)):
        try:
            analyses += judged(log_path, robot_file, reader_limits(limits))
        except RattletraceError as error:
            unusable += told_unusable(log_path, error)
    if analyses or unusable:
        write_event(analyses, out, unusable=unusable)
    if as_json:
        click.echo(json_text(event_json(event_of(analyses, unusable=unusable))), nl=False)
    else:
        _print_verdicts(analyses, out)
    broken = [f"{analysis.match.name}: {failure}" for analysis in analyses for failure in analysis.failures]
    for failure in broken:
        complain(f"a step broke and its part is missing: {failure}")
    if unusable or broken:
        return EXIT_UNUSABLE
    return EXIT_FOUND if _reached(analyses, fail_on) else EXIT_DONE


def _print_verdicts(analyses: Sequence[Analysis], out: Path) -> None:
    from telemetry.plain import shown

    for analysis in analyses:
        counts = {level: sum(f.severity == level for f in analysis.findings) for level in SEVERITIES}
        click.echo(f"{analysis.match.name}: {counts['fix']} to fix, {counts['watch']} to watch")
        for action in analysis.pit_list[:3]:
            click.echo(f"  {action.severity}: {shown(action.why, 160)}")
    click.echo(f"Open {out / 'index.html'}")


def _reached(analyses: Sequence[Analysis], fail_on: str | None) -> bool:
    if fail_on is None:
        return False
    grave = SEVERITIES[: SEVERITIES.index(fail_on) + 1]
    return any(finding.severity in grave for analysis in analyses for finding in analysis.findings)


def _with_progress(pairs: list[tuple[Path, Path | None]]) -> Iterator[tuple[Path, Path | None]]:
    """The same pairs, with a bar on a terminal where there are several."""
    if len(pairs) < 2 or not sys.stderr.isatty():
        yield from pairs
        return
    with click.progressbar(pairs, label="Reading", file=sys.stderr) as bar:
        yield from bar

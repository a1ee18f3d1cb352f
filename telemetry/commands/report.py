"""`rattletrace report`: a page for each match, and one for the event."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.commands.batch import Done, Extras, run_all, tasks_of
from telemetry.commands.films import VIDEO_ENDINGS, with_films
from telemetry.commands.loading import sheet_for
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
    sheet_option,
)

if TYPE_CHECKING:
    from telemetry.event import Event, Unusable
    from telemetry.match_facts import MatchFacts

__all__ = ["print_event", "report"]

_PRINTED_TRENDS, _PRINTED_TROUBLES = 5, 5


@click.command(context_settings=HELP)
@logs_argument
@robot_option
@sheet_option
@out_option
@click.option(
    "--jobs", type=click.IntRange(1, 64), default=1, show_default=True, metavar="N",
    help="Judge the logs on so many processes.",
)  # fmt: skip
@click.option("--fail-on", type=click.Choice(SEVERITIES), help="Exit with 1 when a finding is that grave.")
@click.option(
    "--video", type=click.Path(path_type=Path, exists=True, dir_okay=False), metavar="FILE",
    help="A video of the match, copied beside its page and kept in step with its cursor; for one LOG.",
)  # fmt: skip
@click.option(
    "--video-start", type=click.FloatRange(-86400, 86400), default=0.0, metavar="SECONDS",
    help="Where in the video the match starts.",
)  # fmt: skip
@click.option(
    "--figures", type=click.Choice(("png", "pdf", "svg")),
    help="Write strip, cycles, motor maps, dwells and trends as files too.",
)  # fmt: skip
@json_option
@limit_options
def report(
    log_paths: Sequence[Path],
    robot_path: Path | None,
    sheet_path: Path | None,
    out: Path,
    jobs: int,
    fail_on: str | None,
    video: Path | None,
    video_start: float,
    figures: str | None,
    as_json: bool,
    **limits: float,
) -> int:
    """Write a page for each match, and one for the event, into DIR. LOG is a file or a folder.

    The order of the logs on the line changes nothing: matches are ordered by the match sheet (matches.csv
    beside the logs, or --sheet), else by the logs' own clocks, else by name. Of each match only a few figures
    are kept, so that memory does not grow with the number of logs.
    """
    from reports.event_records import event_json
    from reports.json_values import json_text
    from reports.writing import write_event_figures, write_event_page
    from telemetry.commands.warm_starts import warm_tasks
    from telemetry.event import event_from

    extras = Extras(figures, video, video_start)
    tasks = tasks_of(log_paths, robot_path, reader_limits(limits), out, extras)
    _check_video(video, len(tasks))
    sheet, sheet_complaints = sheet_for(log_paths, sheet_path)
    tasks, missing = with_films(tasks, sheet, sheet_path.parent if sheet_path else None)
    with _progress(len(tasks)) as tell:
        done = run_all(tasks, jobs=jobs, tell=tell)
    event = event_from(_facts(done), unusable=_unusable(done), sheet=sheet)
    warm = warm_tasks(tasks, done, event)
    if warm:
        with _progress(len(warm), "Carrying heat over") as tell:
            again = dict(zip(warm, run_all(list(warm.values()), jobs=jobs, tell=tell), strict=True))
        done = [again.get(place, one) for place, one in enumerate(done)]
        event = event_from(_facts(done), unusable=_unusable(done), sheet=sheet)
    write_event_page(event, out)
    if figures is not None:
        write_event_figures(event, out, figures)
    if as_json:
        click.echo(json_text(event_json(event)), nl=False)
    else:
        print_event(event, _facts(done), out)
    complaints = [*sheet_complaints, *missing, *(line for one in done for line in one.complaints)]
    for line in dict.fromkeys(complaints):
        complain(line)
    broken = [f"{one.name}: {failure}" for one in _facts(done) for failure in one.broken]
    for failure in broken:
        complain(f"a step broke and its part is missing: {failure}")
    if complaints or broken:
        return EXIT_UNUSABLE
    return EXIT_FOUND if _reached(event, fail_on) else EXIT_DONE


def print_event(event: Event, facts: Sequence[MatchFacts], out: Path) -> None:
    """A line for each match with its first jobs, what gets worse, what stayed away, where the page lies."""
    from reports.words import heading
    from telemetry.plain import shown

    pits = {one.name: one.pit for one in facts}
    for summary in event.matches:
        counts = {level: next(n for s, n in summary.counts.items() if s == level) for level in SEVERITIES}
        click.echo(f"{summary.name}: {counts['fix']} to fix, {counts['watch']} to watch")
        for severity, why in pits[summary.name]:
            click.echo(f"  {severity}: {shown(why, 160)}")
    for trend in event.worsening[:_PRINTED_TRENDS]:
        click.echo(f"Getting worse: {shown(trend.text, 240)}")
    for step in event.battery_steps:
        click.echo(f"Getting worse: {shown(f'{step.battery}: {step.text}', 240)}")
    for hint in event.hints:
        click.echo(f"Not proven, but look: {shown(hint, 240)}")
    for trouble in event.recurring[:_PRINTED_TROUBLES]:
        if since := event.since_of(trouble):
            title = heading(trouble.kind, trouble.subject, trouble.role)
            click.echo(f"{'Gone' if since.gone else 'Comes back'}: {shown(f'{title}. {since.text}', 240)}")
    click.echo(f"Open {out / 'index.html'}")


def _check_video(video: Path | None, logs: int) -> None:
    from telemetry.plain import shown

    if video is None:
        return
    if logs != 1:
        raise click.UsageError(f"--video goes with one log, not {logs}; report that match by itself")
    if video.suffix.lower() not in VIDEO_ENDINGS:
        known = ", ".join(VIDEO_ENDINGS)
        raise click.BadParameter(f"{shown(video.name)} is no video that browsers play ({known})")


def _facts(done: Sequence[Done]) -> list[MatchFacts]:
    return [facts for one in done for facts in one.facts]


def _unusable(done: Sequence[Done]) -> list[Unusable]:
    from telemetry.event import Unusable

    return [Unusable(one.file, line) for one in done for line in one.complaints]


def _reached(event: Event, fail_on: str | None) -> bool:
    if fail_on is None:
        return False
    grave = SEVERITIES[: SEVERITIES.index(fail_on) + 1]
    return any(trouble.severity in grave for trouble in event.troubles)


@contextmanager
def _progress(logs: int, doing: str = "Reading") -> Iterator[Callable[[], None]]:
    """What to call after each log: moves a bar on a terminal where there are several, else nothing."""
    if logs < 2 or not sys.stderr.isatty():
        yield lambda: None
        return
    with click.progressbar(length=logs, label=doing, file=sys.stderr) as bar:
        yield lambda: bar.update(1)

"""`rattletrace precheck`: the pit's functional test before queueing."""

from __future__ import annotations

from pathlib import Path

import click

from telemetry.commands.loading import log_and_robot, stem
from telemetry.commands.options import (
    EXIT_DONE,
    EXIT_FOUND,
    HELP,
    json_option,
    limit_options,
    log_argument,
    out_option,
    reader_limits,
    robot_option,
)

__all__ = ["precheck"]


@click.command(context_settings=HELP)
@log_argument
@robot_option
@out_option
@json_option
@limit_options
def precheck(log_path: Path, robot_path: Path | None, out: Path, as_json: bool, **limits: float) -> int:
    """Judge a two-minute functional test in the pit from its LOG.

    CAUTION FIRST: the robot on blocks, hands clear. Then break every beam, press every limit, and drive every
    motor both ways for a second. Seen, not seen, wrong: each part gets a line, in the terminal and on a page
    in DIR. The exit status is 1 when something was not seen or is wrong.
    """
    from reports.json_values import json_text
    from reports.names import safe_name
    from reports.precheck import precheck_json, precheck_page, precheck_text
    from reports.writing import write_whole
    from telemetry.precheck import passed
    from telemetry.precheck import precheck as check

    beside = log_path.parent / "robot.toml"
    own = robot_path or (beside if beside.is_file() else None)
    log, robot, guesses = log_and_robot(log_path, own, reader_limits(limits))
    items = check(log, robot)
    page = out / f"precheck-{safe_name(stem(log_path))}.html"
    write_whole(page, precheck_page(items, log.file))
    if as_json:
        click.echo(json_text(precheck_json(items, log.file)), nl=False)
    else:
        click.echo(precheck_text(items, log.file))
        if guesses:
            click.echo("Roles are guessed: with --robot the list is that of your robot.")
        click.echo(f"Open {page}")
    return EXIT_DONE if passed(items) else EXIT_FOUND

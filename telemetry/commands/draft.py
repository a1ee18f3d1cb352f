"""`rattletrace draft`: a robot file to start from."""

from __future__ import annotations

from pathlib import Path

import click

from telemetry.commands.options import (
    EXIT_DONE,
    HELP,
    json_option,
    limit_options,
    log_argument,
    reader_limits,
)

__all__ = ["draft"]


@click.command(context_settings=HELP)
@log_argument
@json_option
@limit_options
def draft(log_path: Path, as_json: bool, **limits: float) -> int:
    """Print a robot file to start from, with the roles guessed from LOG filled in."""
    import parsers
    from reports.draft import draft_text
    from telemetry.guessing import guess_robot

    log = parsers.read_log(log_path, limits=reader_limits(limits))
    robot, guesses = guess_robot(log)
    if as_json:
        from reports.json_values import json_text

        sections = robot.model_dump(mode="json", exclude_unset=True)
        click.echo(
            json_text({"schema": 1, "robot_file": sections, "guesses": [vars(g) for g in guesses]}), nl=False
        )
    else:
        click.echo(draft_text(log, robot, guesses), nl=False)
    return EXIT_DONE

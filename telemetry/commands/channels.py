"""`rattletrace channels`: what is in a log."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import click

from telemetry.commands.loading import log_and_roles
from telemetry.commands.options import (
    EXIT_DONE,
    HELP,
    format_option,
    json_option,
    limit_options,
    log_argument,
    reader_limits,
    robot_option,
)

__all__ = ["channels"]


@click.command(context_settings=HELP)
@log_argument
@robot_option
@format_option
@json_option
@limit_options
def channels(
    log_path: Path, robot_path: Path | None, settings: tuple[str, ...], as_json: bool, **limits: float
) -> int:
    """Show what is in LOG: channels, rates, gaps, repairs, and roles."""
    from reports.inventory import inventory_json, inventory_text
    from reports.json_values import json_text
    from telemetry.inventory import take_inventory

    log, roles = log_and_roles(log_path, robot_path, reader_limits(limits), settings)
    summaries = take_inventory(log, roles)
    if as_json:
        click.echo(json_text(inventory_json(log, summaries)), nl=False)
    else:
        width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
        click.echo(inventory_text(log, summaries, width=width))
        if roles and robot_path is None:
            click.echo("Roles are guessed from names and values: see rattletrace draft for the reasons.")
    return EXIT_DONE

"""`rattletrace convert`: a log as one table."""

from __future__ import annotations

from pathlib import Path

import click

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

__all__ = ["convert"]


@click.command(context_settings=HELP)
@log_argument
@click.argument("out", metavar="OUT", type=click.Path(path_type=Path))
@robot_option
@format_option
@json_option
@limit_options
def convert(
    log_path: Path,
    out: Path,
    robot_path: Path | None,
    settings: tuple[str, ...],
    as_json: bool,
    **limits: float,
) -> int:
    """Write LOG as one table to OUT, Parquet or CSV by its ending: t_s and every channel as logged.

    What had to be mended stands beside it in OUT.repairs.json.
    """
    import parsers
    from reports.conversion import conversion_json, write_conversion
    from telemetry.plain import shown
    from telemetry.robot_file import read_robot
    from telemetry.wording import counted

    section = None if robot_path is None else read_robot(robot_path).log
    told = parsers.told_format(settings)
    log = parsers.read_log(log_path, overrides=section, limits=reader_limits(limits), told=told)
    rows, repairs = write_conversion(log, log_path, out)
    if as_json:
        from reports.json_values import json_text

        click.echo(json_text(conversion_json(out, rows, len(log.channels), repairs)), nl=False)
    else:
        size = f"{rows:,} rows of {len(log.channels):,} channels"
        kinds = counted(len(repairs), "kind of repair", "kinds of repair")
        click.echo(f"{shown(str(out))}: {size}, {kinds}")
    return EXIT_DONE

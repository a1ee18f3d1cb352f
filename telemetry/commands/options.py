"""What commands share of their command line: options, exit statuses, and how an error is said."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from parsers import Limits

__all__ = [
    "EXIT_DONE", "EXIT_FOUND", "EXIT_UNUSABLE", "HELP", "SEVERITIES", "complain", "format_option",
    "json_option", "limit_options", "log_argument", "logs_argument", "out_option", "reader_limits",
    "robot_option", "sheet_option",
]  # fmt: skip

EXIT_DONE, EXIT_FOUND, EXIT_UNUSABLE = 0, 1, 2
SEVERITIES = ("fix", "watch", "note")
HELP = {"help_option_names": ["-h", "--help"], "max_content_width": 100}

Command = TypeVar("Command", bound=Callable[..., Any])


def limit_options(command: Command) -> Command:
    """The reader's limits, each with an option to raise it."""
    for option in (
        click.option("--max-file-mb", type=click.FloatRange(min=0), default=2000.0, help="Largest log file."),
        click.option(
            "--max-unpacked-mb", type=click.FloatRange(min=0), default=1073.7, help="Most after unpacking."
        ),
        click.option(
            "--max-channels", type=click.IntRange(min=1), default=2000, help="Most channels in a log."
        ),
        click.option(
            "--max-samples", type=click.IntRange(min=1), default=20_000_000, help="Most rows × channels."
        ),
        click.option(
            "--max-line-kb", type=click.FloatRange(min=0), default=1048.6, help="Longest line of text."
        ),
    ):
        command = option(command)
    return command


robot_option = click.option(
    "--robot",
    "robot_path",
    type=click.Path(path_type=Path),
    help="The robot file that says what channels mean.",
)
sheet_option = click.option(
    "--sheet",
    "sheet_path",
    type=click.Path(path_type=Path),
    help="The match sheet (file, match, start time, driver, battery, note, video); else that of a folder.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
format_option = click.option(
    "--format",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    help="How LOG is written, where that is not told rightly: delimiter, decimal, encoding, shape, time, "
    "time_unit, channel or value. May be given several times.",
)
log_argument = click.argument("log_path", metavar="LOG", type=click.Path(path_type=Path))
logs_argument = click.argument(
    "log_paths", metavar="LOG...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
out_option = click.option(
    "--out", type=click.Path(path_type=Path), default=Path("report"), show_default=True, metavar="DIR"
)


def reader_limits(options: dict[str, float]) -> Limits:
    """The reader's limits as the options have them."""
    from parsers import Limits

    return Limits(
        file_bytes=int(options["max_file_mb"] * 1e6),
        unpacked_bytes=int(options["max_unpacked_mb"] * 1e6),
        channels=int(options["max_channels"]),
        samples=int(options["max_samples"]),
        line_bytes=int(options["max_line_kb"] * 1e3),
    )


def complain(line: str) -> None:
    """One line on standard error that begins `rattletrace:`."""
    click.echo(f"rattletrace: {line}", err=True)

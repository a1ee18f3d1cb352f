"""The command, thin: each of its commands is a file of its own, loaded when it is called."""

from __future__ import annotations

import gc
import os
import sys
from importlib import import_module
from pathlib import Path
from typing import NoReturn

import click

from telemetry.commands.options import EXIT_DONE, EXIT_UNUSABLE, HELP, complain
from telemetry.errors import RattletraceError, RobotFileError

__all__ = ["cli", "main"]

_COMMANDS = (
    "report", "compare", "whatif", "precheck", "watch",
    "channels", "draft", "replay", "convert", "simulate",
)  # fmt: skip
"""In the order in which help lists them; each is the command of that name in `telemetry.commands`."""


class _Lazy(click.Group):
    """A group that loads a command when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        command: click.Command = getattr(import_module(f"telemetry.commands.{cmd_name}"), cmd_name)
        return command


def main() -> NoReturn:
    """Entry point: every error is one line on standard error that begins `rattletrace:`.

    Imports and a first match make many objects and no garbage to speak of; `run_task` lets it be collected.
    """
    gc.disable()
    try:
        status = cli.main(prog_name="rattletrace", standalone_mode=False)
    except click.ClickException as error:
        complain(f"{error.format_message()} (see rattletrace --help)")
        status = EXIT_UNUSABLE
    except RobotFileError as error:
        for mistake in error.mistakes or (str(error),):
            complain(mistake)
        status = error.exit_status
    except RattletraceError as error:
        complain(str(error))
        status = error.exit_status
    except (click.Abort, KeyboardInterrupt):
        complain("stopped before it was done; what was finished is complete")
        status = 130
    except BrokenPipeError:
        sys.stderr.close()
        status = EXIT_DONE
    except Exception as error:
        if os.environ.get("RATTLETRACE_DEBUG"):
            raise
        complain(
            f"{_where(error)}; this is our mistake: RATTLETRACE_DEBUG=1 shows it whole, please report it"
        )
        status = EXIT_UNUSABLE
    gc.enable()
    sys.exit(status or EXIT_DONE)


@click.group(cls=_Lazy, context_settings=HELP)
@click.version_option(package_name="rattletrace", message="%(prog)s %(version)s")
def cli() -> None:
    """Read a robot's match log and say what to do before the next match."""


def _where(error: Exception) -> str:
    """An unforeseen error on one line: what, and in which module and line."""
    import traceback

    from telemetry.plain import shown

    frame = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{Path(frame.filename).name}, line {frame.lineno}"
    return f"{type(error).__name__} in {place}: {shown(str(error), 160)}"

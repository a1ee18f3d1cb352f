"""The command, thin: options in, lines out. Everything else is imported inside the command that needs it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

import click

from telemetry.errors import RattletraceError, RobotFileError

if TYPE_CHECKING:
    from parsers import Limits
    from telemetry.analysis import Analysis, Guess
    from telemetry.event import Unusable
    from telemetry.log import Log
    from telemetry.robot import Robot

__all__ = ["cli", "main"]

EXIT_DONE, EXIT_FOUND, EXIT_UNUSABLE = 0, 1, 2

Command = TypeVar("Command", bound=Callable[..., Any])

_SEVERITIES = ("fix", "watch", "note")
_HELP = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


def main() -> NoReturn:
    """Entry point: every error is one line on standard error that begins `rattletrace:`."""
    try:
        status = cli.main(prog_name="rattletrace", standalone_mode=False)
    except click.ClickException as error:
        _complain(f"{error.format_message()} (see rattletrace --help)")
        status = EXIT_UNUSABLE
    except RobotFileError as error:
        for mistake in error.mistakes or (str(error),):
            _complain(mistake)
        status = error.exit_status
    except RattletraceError as error:
        _complain(str(error))
        status = error.exit_status
    except (click.Abort, KeyboardInterrupt):
        _complain("stopped before it was done; what was finished is complete")
        status = 130
    except BrokenPipeError:
        sys.stderr.close()
        status = EXIT_DONE
    except Exception as error:
        if os.environ.get("RATTLETRACE_DEBUG"):
            raise
        _complain(
            f"{_where(error)}; this is our mistake: RATTLETRACE_DEBUG=1 shows it whole, please report it"
        )
        status = EXIT_UNUSABLE
    sys.exit(status or EXIT_DONE)


@click.group(context_settings=_HELP)
@click.version_option(package_name="rattletrace", message="%(prog)s %(version)s")
def cli() -> None:
    """Read a robot's match log and say what to do before the next match."""


def _limit_options(command: Command) -> Command:
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


_robot_option = click.option(
    "--robot",
    "robot_path",
    type=click.Path(path_type=Path),
    help="The robot file that says what channels mean.",
)
_json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
_log_argument = click.argument("log_path", metavar="LOG", type=click.Path(path_type=Path))


@cli.command()
@click.argument("log_paths", metavar="LOG...", nargs=-1, required=True, type=click.Path(path_type=Path))
@_robot_option
@click.option(
    "--out", type=click.Path(path_type=Path), default=Path("report"), show_default=True, metavar="DIR"
)
@click.option("--fail-on", type=click.Choice(_SEVERITIES), help="Exit with 1 when a finding is that grave.")
@_json_option
@_limit_options
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
    for log_path, robot_file in _with_progress(_logs_with_robots(log_paths, robot_path)):
        try:
            analyses += _judged(log_path, robot_file, _limits(limits))
        except RattletraceError as error:
            unusable += _told(log_path, error)
    if analyses or unusable:
        write_event(analyses, out, unusable=unusable)
    if as_json:
        click.echo(json_text(event_json(event_of(analyses, unusable=unusable))), nl=False)
    else:
        _print_verdicts(analyses, out)
    broken = [f"{analysis.match.name}: {failure}" for analysis in analyses for failure in analysis.failures]
    for failure in broken:
        _complain(f"a step broke and its part is missing: {failure}")
    if unusable or broken:
        return EXIT_UNUSABLE
    return EXIT_FOUND if _reached(analyses, fail_on) else EXIT_DONE


@cli.command()
@_log_argument
@_robot_option
@_json_option
@_limit_options
def channels(log_path: Path, robot_path: Path | None, as_json: bool, **limits: float) -> int:
    """Show what is in LOG: channels, rates, gaps, repairs, and roles."""
    from reports.inventory import inventory_json, inventory_text
    from reports.results import json_text
    from telemetry.inventory import take_inventory

    log, robot, guesses = _log_and_robot(log_path, robot_path, _limits(limits))
    roles = {channel: key for key, channel in robot.references()}
    summaries = take_inventory(log, roles)
    if as_json:
        click.echo(json_text(inventory_json(log, summaries)), nl=False)
    else:
        click.echo(inventory_text(log, summaries))
        if guesses:
            click.echo("Roles are guessed from names and values: see rattletrace draft for the reasons.")
    return EXIT_DONE


@cli.command()
@_log_argument
@_json_option
@_limit_options
def draft(log_path: Path, as_json: bool, **limits: float) -> int:
    """Print a robot file to start from, with the roles guessed from LOG filled in."""
    import parsers
    from reports.draft import draft_text
    from telemetry.guessing import guess_robot

    log = parsers.read_log(log_path, limits=_limits(limits))
    robot, guesses = guess_robot(log)
    if as_json:
        from reports.results import json_text

        sections = robot.model_dump(mode="json", exclude_unset=True)
        click.echo(
            json_text({"schema": 1, "robot_file": sections, "guesses": [vars(g) for g in guesses]}), nl=False
        )
    else:
        click.echo(draft_text(log, robot, guesses), nl=False)
    return EXIT_DONE


@cli.command()
@click.option("--matches", type=click.IntRange(1, 500), default=6, show_default=True)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True)
@click.option("--out", type=click.Path(path_type=Path), required=True, metavar="DIR")
@_json_option
def simulate(matches: int, seed: int, out: Path, as_json: bool) -> int:
    """Write practice logs of a robot that never existed, with the truth beside each, into DIR."""
    from telemetry.simulator import simulate_event

    try:
        paths = simulate_event(out, matches=matches, seed=seed)
    except OSError as error:
        raise click.ClickException(
            f"{out}: cannot be written ({error.strerror}); choose another folder"
        ) from error
    if as_json:
        import json

        click.echo(json.dumps({"schema": 1, "logs": [str(path) for path in paths]}, indent=1))
    else:
        click.echo(f"{len(paths)} logs, their truth and robot.toml in {out}")
    return EXIT_DONE


def _logs_with_robots(log_paths: Sequence[Path], robot_path: Path | None) -> list[tuple[Path, Path | None]]:
    """Each log with its robot file: the one named, else the `robot.toml` of a folder given as a log."""
    import parsers

    pairs: list[tuple[Path, Path | None]] = []
    for path in log_paths:
        beside = path / "robot.toml"
        own = robot_path or (beside if path.is_dir() and beside.is_file() else None)
        pairs += [(log_path, own) for log_path in parsers.find_logs([path])]
    return pairs


def _judged(log_path: Path, robot_path: Path | None, limits: Limits) -> tuple[Analysis, ...]:
    from reports.names import safe_name
    from telemetry.judge import judge

    log, robot, guesses = _log_and_robot(log_path, robot_path, limits)
    name = safe_name(_stem(log_path))
    return judge(log, robot, name=name, guesses=guesses, settings=_settings(robot_path))


def _log_and_robot(
    log_path: Path, robot_path: Path | None, limits: Limits
) -> tuple[Log, Robot, tuple[Guess, ...]]:
    """The log, and the robot of the file or, without one, as guessed."""
    import parsers
    from telemetry.guessing import guess_robot
    from telemetry.robot_file import check_against, read_robot

    if robot_path is None:
        log = parsers.read_log(log_path, limits=limits)
        return (log, *guess_robot(log))
    robot = read_robot(robot_path)
    log = parsers.read_log(log_path, overrides=robot.log, limits=limits)
    check_against(robot, log.channels.keys(), path=robot_path, log_name=log_path.name)
    return log, robot, ()


def _limits(options: dict[str, float]) -> Limits:
    from parsers import Limits

    return Limits(
        file_bytes=int(options["max_file_mb"] * 1e6),
        unpacked_bytes=int(options["max_unpacked_mb"] * 1e6),
        channels=int(options["max_channels"]),
        samples=int(options["max_samples"]),
        line_bytes=int(options["max_line_kb"] * 1e3),
    )


def _settings(robot_path: Path | None) -> dict[str, object]:
    import hashlib
    from importlib.metadata import version

    robot_sha256 = hashlib.sha256(robot_path.read_bytes()).hexdigest() if robot_path else None
    return {"version": version("rattletrace"), "robot_sha256": robot_sha256}


def _stem(path: Path) -> str:
    name = path.name
    for suffix in (".gz", ".zst", ".csv", ".tsv", ".txt", ".parquet"):
        name = name.removesuffix(suffix)
    return name


def _told(log_path: Path, error: RattletraceError) -> list[Unusable]:
    """Say why a log cannot be used, and keep it for the event page."""
    from telemetry.event import Unusable

    lines = error.mistakes if isinstance(error, RobotFileError) and error.mistakes else (str(error),)
    for line in lines:
        _complain(line)
    return [Unusable(log_path.name, line) for line in lines]


def _print_verdicts(analyses: Sequence[Analysis], out: Path) -> None:
    from telemetry.plain import shown

    for analysis in analyses:
        counts = {level: sum(f.severity == level for f in analysis.findings) for level in _SEVERITIES}
        click.echo(f"{analysis.match.name}: {counts['fix']} to fix, {counts['watch']} to watch")
        for action in analysis.pit_list[:3]:
            click.echo(f"  {action.severity}: {shown(action.why, 160)}")
    click.echo(f"Open {out / 'index.html'}")


def _reached(analyses: Sequence[Analysis], fail_on: str | None) -> bool:
    if fail_on is None:
        return False
    grave = _SEVERITIES[: _SEVERITIES.index(fail_on) + 1]
    return any(finding.severity in grave for analysis in analyses for finding in analysis.findings)


def _with_progress(pairs: list[tuple[Path, Path | None]]) -> Iterator[tuple[Path, Path | None]]:
    """The same pairs, with a bar on a terminal where there are several."""
    if len(pairs) < 2 or not sys.stderr.isatty():
        yield from pairs
        return
    with click.progressbar(pairs, label="Reading", file=sys.stderr) as bar:
        yield from bar


def _where(error: Exception) -> str:
    """An unforeseen error on one line: what, and in which module and line."""
    import traceback

    from telemetry.plain import shown

    frame = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{Path(frame.filename).name}, line {frame.lineno}"
    return f"{type(error).__name__} in {place}: {shown(str(error), 160)}"


def _complain(line: str) -> None:
    click.echo(f"rattletrace: {line}", err=True)

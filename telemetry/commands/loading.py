"""From the paths of a call to logs, robots and analyses."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from telemetry.commands.options import complain
from telemetry.errors import RattletraceError, RobotFileError

if TYPE_CHECKING:
    from parsers import Limits
    from telemetry.analysis import Analysis, Guess
    from telemetry.event import Unusable
    from telemetry.log import Log
    from telemetry.robot import Robot

__all__ = ["judged", "log_and_robot", "logs_with_robots", "stem", "told_unusable"]


def logs_with_robots(log_paths: Sequence[Path], robot_path: Path | None) -> list[tuple[Path, Path | None]]:
    """Each log with its robot file: the one named, else the `robot.toml` of a folder given as a log."""
    import parsers

    pairs: list[tuple[Path, Path | None]] = []
    for path in log_paths:
        beside = path / "robot.toml"
        own = robot_path or (beside if path.is_dir() and beside.is_file() else None)
        pairs += [(log_path, own) for log_path in parsers.find_logs([path])]
    return pairs


def judged(log_path: Path, robot_path: Path | None, limits: Limits) -> tuple[Analysis, ...]:
    """Every match of a log, judged."""
    from reports.names import safe_name
    from telemetry.judge import judge

    log, robot, guesses = log_and_robot(log_path, robot_path, limits)
    name = safe_name(stem(log_path))
    return judge(log, robot, name=name, guesses=guesses, settings=_settings(robot_path))


def log_and_robot(
    log_path: Path, robot_path: Path | None, limits: Limits, settings: Sequence[str] = ()
) -> tuple[Log, Robot, tuple[Guess, ...]]:
    """The log, and the robot of the file or, without one, as guessed."""
    import parsers
    from telemetry.guessing import guess_robot
    from telemetry.robot_file import check_against, read_robot

    told = parsers.told_format(settings)
    if robot_path is None:
        log = parsers.read_log(log_path, limits=limits, told=told)
        return (log, *guess_robot(log))
    robot = read_robot(robot_path)
    log = parsers.read_log(log_path, overrides=robot.log, limits=limits, told=told)
    check_against(robot, log.channels.keys(), path=robot_path, log_name=log_path.name)
    return log, robot, ()


def _settings(robot_path: Path | None) -> dict[str, object]:
    import hashlib
    from importlib.metadata import version

    robot_sha256 = hashlib.sha256(robot_path.read_bytes()).hexdigest() if robot_path else None
    return {"version": version("rattletrace"), "robot_sha256": robot_sha256}


def stem(path: Path) -> str:
    """A log's name without the endings that tell its form."""
    name = path.name
    for suffix in (".gz", ".zst", ".csv", ".tsv", ".txt", ".parquet"):
        name = name.removesuffix(suffix)
    return name


def told_unusable(log_path: Path, error: RattletraceError) -> list[Unusable]:
    """Say why a log cannot be used, and keep it for the event page."""
    from telemetry.event import Unusable

    lines = error.mistakes if isinstance(error, RobotFileError) and error.mistakes else (str(error),)
    for line in lines:
        complain(line)
    return [Unusable(log_path.name, line) for line in lines]

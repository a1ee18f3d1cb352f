"""From the paths of a call to logs, robots and analyses."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from telemetry.errors import RattletraceError

if TYPE_CHECKING:
    from parsers import Limits
    from telemetry.analysis import Analysis
    from telemetry.log import Log
    from telemetry.match_sheet import MatchSheet
    from telemetry.records.guess import Guess
    from telemetry.records.start_heat import StartHeat
    from telemetry.robot import Robot

__all__ = [
    "judged",
    "judged_within_limits",
    "log_and_robot",
    "log_and_roles",
    "logs_with_robots",
    "sheet_for",
    "stem",
]


def logs_with_robots(log_paths: Sequence[Path], robot_path: Path | None) -> list[tuple[Path, Path | None]]:
    """Each log with its robot file: the one named, else the `robot.toml` of a folder given as a log."""
    import parsers

    pairs: list[tuple[Path, Path | None]] = []
    for path in log_paths:
        beside = path / "robot.toml"
        own = robot_path or (beside if path.is_dir() and beside.is_file() else None)
        pairs += [(log_path, own) for log_path in parsers.find_logs([path])]
    return pairs


def judged(
    log_path: Path,
    robot_path: Path | None,
    limits: Limits,
    *,
    name: str | None = None,
    start_heat: Sequence[StartHeat | None] = (),
) -> tuple[Analysis, ...]:
    """Every match of a log, judged; named after `name`, or after the file."""
    from reports.names import safe_name
    from telemetry.judge import judge

    log, robot, guesses = log_and_robot(log_path, robot_path, limits)
    safe = safe_name(stem(log_path)) if name is None else name
    settings = _settings(robot_path)
    return judge(log, robot, name=safe, guesses=guesses, settings=settings, start_heat=start_heat)


def judged_within_limits(log_path: Path, robot_path: Path | None) -> tuple[Analysis, ...]:
    """The same under the reader's usual limits."""
    from parsers import Limits

    return judged(log_path, robot_path, Limits())


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


def log_and_roles(
    log_path: Path, robot_path: Path | None, limits: Limits, settings: Sequence[str] = ()
) -> tuple[Log, dict[str, str]]:
    """The log and the role of each channel that has one, by its name; guesses need no robot."""
    import parsers
    from telemetry.guessing import guess_roles

    if robot_path is not None:
        log, robot, _ = log_and_robot(log_path, robot_path, limits, settings)
        return log, {channel: key for key, channel in robot.references()}
    log = parsers.read_log(log_path, limits=limits, told=parsers.told_format(settings))
    return log, guess_roles(log)


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


def sheet_for(log_paths: Sequence[Path], sheet_path: Path | None) -> tuple[MatchSheet | None, list[str]]:
    """The match sheet named, else those of the folders given as logs; and what was wrong with them."""
    import parsers
    from telemetry.match_sheet import MatchSheet

    beside = [path / "matches.csv" for path in log_paths if path.is_dir()]
    paths = [sheet_path] if sheet_path else [path for path in beside if path.is_file()]
    sheets, complaints = [], []
    for path in dict.fromkeys(paths):
        try:
            sheets.append(parsers.read_match_sheet(path))
        except RattletraceError as error:
            complaints.append(str(error))
    if not sheets:
        return None, complaints
    rows = [row for sheet in sheets for row in sheet.rows]
    return MatchSheet(tuple(rows), tuple(repair for sheet in sheets for repair in sheet.repairs)), complaints

"""Reading a robot file: TOML to `Robot`, every mistake of the file told in one run."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Collection
from pathlib import Path

from pydantic import ValidationError

from telemetry.errors import RobotFileError
from telemetry.plain import shown
from telemetry.robot import Robot
from telemetry.robot_mistakes import Mistake, Tree, dotted, model_mistakes
from telemetry.robot_references import channel_mistakes, reference_mistakes
from telemetry.toml_lines import key_lines, line_of

__all__ = ["MAX_ROBOT_FILE_BYTES", "check_against", "read_robot"]

MAX_ROBOT_FILE_BYTES = 262_144
_MOST_TOLD = 200


def read_robot(
    path: Path | str,
    *,
    channels: Collection[str] | None = None,
    log_name: str = "the log",
    max_bytes: int = MAX_ROBOT_FILE_BYTES,
) -> Robot:
    """The robot that a file describes.

    Args:
        path: a regular file in TOML, UTF-8 with or without byte-order mark.
        channels: the log's channel names, where known: then a channel that the log lacks is told along with
            every other mistake. `check_against` tells it afterwards.
        log_name: how to name the log in those sentences.
        max_bytes: a longer file is refused.

    Raises:
        RobotFileError: one line a mistake in `mistakes`: file, line, key, what was found and wanted.
    """
    text = _text(Path(path), max_bytes)
    tree = _tree(text, path)
    robot, mistakes = _validated(tree)
    mistakes += reference_mistakes(tree)
    if channels is not None:
        mistakes += channel_mistakes(tree, channels, shown(log_name))
    if robot is None or mistakes:
        raise _error(path, text, mistakes)
    return robot


def check_against(
    robot: Robot, channels: Collection[str], *, path: Path | str, log_name: str = "the log"
) -> None:
    """Refuses a robot file that names channels which a log lacks.

    `path` is where `robot` was read from, to name the lines. Raises `RobotFileError`, one line a channel.
    """
    mistakes = channel_mistakes(robot.model_dump(exclude_unset=True), channels, shown(log_name))
    if mistakes:
        try:
            text = _text(Path(path), MAX_ROBOT_FILE_BYTES)
        except RobotFileError:
            text = ""
        raise _error(path, text, mistakes)


def _text(path: Path, max_bytes: int) -> str:
    try:
        raw = _bytes(path, max_bytes)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _refusal(path, f"cannot be read ({reason}); name a readable robot file") from None
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        byte = f"0x{raw[error.start]:02x}"
        raise _refusal(path, f"byte {byte} is not UTF-8 text; save the file as UTF-8", line=line) from None


def _bytes(path: Path, max_bytes: int) -> bytes:
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with open(descriptor, "rb") as file:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise _refusal(path, "is not a regular file; name a robot file in TOML")
        raw = file.read(max_bytes + 1)
    if len(raw) > max_bytes:
        raise _refusal(path, f"is longer than {max_bytes:,} bytes; a robot file is a page or two of TOML")
    return raw


def _tree(text: str, path: Path | str) -> Tree:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax_refusal(path, text, str(error)) from None
    except RecursionError:
        raise _refusal(path, "lists or tables nested too deeply; three levels are enough") from None
    except ValueError as error:
        raise _refusal(path, f"not valid TOML: {shown(str(error), 60)}") from None


def _syntax_refusal(path: Path | str, text: str, message: str) -> RobotFileError:
    place = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    what = message[: place.start()] if place else message
    line = int(place[1]) if place and place[1] else text.count("\n") + 1
    column = f", column {place[2]}" if place and place[2] else ""
    return _refusal(path, f"not valid TOML: {shown(what)}; mend this line first", line=line, column=column)


def _validated(tree: Tree) -> tuple[Robot | None, list[Mistake]]:
    try:
        return Robot.model_validate(tree), []
    except ValidationError as error:
        return None, model_mistakes(error, tree)


def _error(path: Path | str, text: str, mistakes: list[Mistake]) -> RobotFileError:
    lines = key_lines(text)
    placed = [(line_of(lines, mistake.path), mistake) for mistake in mistakes]
    placed.sort(key=lambda item: item[0] or 0)
    told = [_sentence(path, line, mistake) for line, mistake in placed[:_MOST_TOLD]]
    if len(placed) > len(told):
        told.append(f"{_named(path)}: and {len(placed) - len(told)} more mistakes")
    more = f" (and {len(placed) - 1} more)" if len(placed) > 1 else ""
    return RobotFileError(told[0] + more, tuple(told))


def _sentence(path: Path | str, line: int | None, mistake: Mistake) -> str:
    return f"{_named(path, line)}: {dotted(mistake.path)}: {mistake.sentence()}"


def _refusal(path: Path | str, text: str, *, line: int | None = None, column: str = "") -> RobotFileError:
    sentence = f"{_named(path, line)}{column}: {text}"
    return RobotFileError(sentence, (sentence,))


def _named(path: Path | str, line: int | None = None) -> str:
    return shown(str(path), 200) + (f", line {line}" if line is not None else "")

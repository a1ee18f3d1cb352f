"""A folder given as a log stands for every log in it."""

from __future__ import annotations

from collections.abc import Iterable
from os import PathLike
from pathlib import Path

from telemetry.errors import LogError
from telemetry.plain import shown

__all__ = ["find_logs", "is_log_name"]

_LOG_SUFFIXES = (".csv", ".tsv", ".parquet")
_PACKED_SUFFIXES = (".gz", ".zst")
_OTHER_FILES = frozenset({"matches.csv", "robot.toml"})


def is_log_name(name: str) -> bool:
    """Whether a file of a folder counts as a log: `.csv`, `.tsv` or `.parquet`, packed or not."""
    lowered = name.lower()
    if lowered in _OTHER_FILES or lowered.startswith("."):
        return False
    for packed in _PACKED_SUFFIXES:
        lowered = lowered.removesuffix(packed)
    return lowered.endswith(_LOG_SUFFIXES)


def find_logs(paths: Iterable[str | PathLike[str]]) -> list[Path]:
    """The log files that `paths` name: files as given, a folder as the logs in it by name.

    Raises LogError for a folder without a log. A file that does not exist is left to the reader.
    """
    found: list[Path] = []
    for path in map(Path, paths):
        found.extend(_logs_of(path) if path.is_dir() else [path])
    return found


def _logs_of(folder: Path) -> list[Path]:
    name = shown(folder.name or str(folder))
    try:
        logs = sorted(entry for entry in folder.iterdir() if is_log_name(entry.name) and entry.is_file())
    except OSError as error:
        raise LogError(
            f"{name}: looked for logs, the folder cannot be read ({error.strerror}); check its rights"
        ) from error
    if not logs:
        raise LogError(
            f"{name}: looked for .csv, .tsv or .parquet logs in the folder, found none; name another folder"
        )
    return logs

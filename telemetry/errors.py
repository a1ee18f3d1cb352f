"""The errors a user can meet. Each message is one line: what, where, and what to do.

RattletraceError                exit status 2
├── LogError                    a file that is not a usable log
├── RobotFileError              a robot file with mistakes, all told at once
└── UsageError                  options that do not fit together
"""

from __future__ import annotations

__all__ = ["LogError", "RattletraceError", "RobotFileError", "UsageError"]


class RattletraceError(Exception):
    """Root of everything a user can be told; `str()` of it is one line."""

    exit_status = 2


class LogError(RattletraceError):
    """A file that is no log: names the file, what was looked for, what was found, what to do."""


class RobotFileError(RattletraceError):
    """A robot file that cannot be used.

    `mistakes` holds one sentence a mistake, each with key, line and the nearest valid name.
    """

    def __init__(self, message: str, mistakes: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.mistakes = mistakes


class UsageError(RattletraceError):
    """A call that cannot be carried out as asked."""

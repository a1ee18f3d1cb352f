"""Bytes to a Log: `read_log` is the door."""

from parsers.door import read_log
from parsers.folder import find_logs, is_log_name
from parsers.limits import Limits
from parsers.overrides import LogOverrides

__all__ = ["Limits", "LogOverrides", "find_logs", "is_log_name", "read_log"]

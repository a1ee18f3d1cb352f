"""The `log` object that every JSON result carries."""

from __future__ import annotations

from typing import Any

from telemetry.log import Log, Repair

__all__ = ["log_json", "repairs_json"]


def log_json(log: Log) -> dict[str, Any]:
    """File, hash, shape, size, span and repairs of a log, as JSON values."""
    return {
        "file": log.file,
        "sha256": log.sha256,
        "shape": log.shape,
        "rows": log.rows,
        "channels": len(log.channels),
        "span_s": log.span_s,
        "repairs": repairs_json(log.repairs),
    }


def repairs_json(repairs: tuple[Repair, ...]) -> list[dict[str, Any]]:
    """The repairs of a log, as JSON values."""
    return [
        {"kind": repair.kind, "count": repair.count, "line": repair.line, "text": repair.text}
        for repair in repairs
    ]

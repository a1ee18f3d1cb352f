"""Puts a recorded match into a file: wide CSV, long CSV or Parquet."""

import gzip
import io
import os
from pathlib import Path
from typing import Literal

import numpy as np
import polars as pl

from telemetry.simulator.logger import Column, LoggerSpec, LogTable, Steps

__all__ = ["Form", "put", "to_frame", "write_log"]

Form = Literal["wide", "long", "parquet"]

_PER_STEP = {"s": 1e-3, "ms": 1, "us": 1000}


def write_log(table: LogTable, logger: LoggerSpec, path: Path, form: Form) -> None:
    """Write the log; a path that ends in ``.gz`` is compressed."""
    frame = to_frame(table, logger, form)
    body = io.BytesIO()
    if form == "parquet":
        frame.write_parquet(body, compression="zstd")
    else:
        frame.write_csv(body, separator=logger.delimiter, line_terminator="\n")
    data = body.getvalue()
    put(path, gzip.compress(data, mtime=0) if path.suffix == ".gz" else data)


def put(path: Path, data: bytes) -> None:
    """Write a file whole or not at all: beside its place first, then moved over it."""
    beside = path.with_name(f".{path.name}.part")
    try:
        with beside.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def to_frame(table: LogTable, logger: LoggerSpec, form: Form) -> pl.DataFrame:
    """The table of the log in that form, as its file holds it."""
    return _long(table, logger) if form == "long" else _wide(table, logger, form)


def _wide(table: LogTable, logger: LoggerSpec, form: Form) -> pl.DataFrame:
    if len(table.steps) != len(table.switch_steps):
        raise ValueError("a wide log has one rate: switch_rate_hz needs the long form")
    sparse = logger.switches_on_change
    series = [_times(table.steps, logger)]
    for column in table.columns:
        changed = _changes(column) if sparse and column.kind != "number" else column.present
        series.append(_series(column).set(~pl.Series(changed), None))
    frame = pl.DataFrame(series)
    if logger.decimal_comma and form != "parquet":
        floats = [name for name, dtype in frame.schema.items() if dtype == pl.Float64]
        frame = frame.with_columns(
            pl.col(name).cast(pl.String).str.replace(".", ",", literal=True) for name in floats
        )
    return frame


def _series(column: Column) -> pl.Series:
    if column.kind != "number":
        return pl.Series(column.name, column.values.tolist())
    series = pl.Series(column.name, column.values)
    return series.cast(pl.Int64) if column.decimals <= 0 else series


def _times(steps: Steps, logger: LoggerSpec) -> pl.Series:
    """Time stamps as logged. A step is a millisecond."""
    clock = steps + round(logger.clock_start_s * 1000)
    if logger.time_unit == "s":
        return pl.Series(logger.time_name, np.round(clock * _PER_STEP["s"], 3))
    return pl.Series(logger.time_name, clock * int(_PER_STEP[logger.time_unit]))


def _changes(column: Column) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """True at the first row of a switch or text, and wherever it differs from the last one logged."""
    where = np.flatnonzero(column.present)
    values = column.values[where]
    changed = np.zeros(len(column.values), dtype=bool)
    changed[where] = np.concatenate([[True], values[1:] != values[:-1]])[: len(where)]
    return changed


def _long(table: LogTable, logger: LoggerSpec) -> pl.DataFrame:
    parts: list[pl.DataFrame] = []
    for order, column in enumerate(table.columns):
        numeric = column.kind == "number"
        steps = table.steps if numeric else table.switch_steps
        kept = np.flatnonzero(column.present if numeric else _changes(column))
        text = _series(column).cast(pl.String).str.strip_suffix(".0")
        if numeric and logger.decimal_comma:
            text = text.str.replace(".", ",", literal=True)
        channel = pl.Series("channel", [column.name]).new_from_index(0, len(kept))
        place = pl.Series("order", [order], dtype=pl.Int64).new_from_index(0, len(kept))
        parts.append(
            pl.DataFrame([pl.Series("step", steps[kept]), place, channel, text[kept].alias("value")])
        )
    rows = pl.concat(parts).sort("step", "order")
    times = _times(rows["step"].to_numpy(), logger)
    if logger.decimal_comma and times.dtype == pl.Float64:
        times = times.cast(pl.String).str.replace(".", ",", literal=True)
    return pl.DataFrame([times, rows["channel"], rows["value"]])

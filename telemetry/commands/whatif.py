"""`rattletrace whatif`: the log through other settings."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from telemetry.commands.loading import judged, logs_with_robots
from telemetry.commands.options import (
    EXIT_DONE,
    EXIT_UNUSABLE,
    HELP,
    complain,
    json_option,
    limit_options,
    logs_argument,
    reader_limits,
    robot_option,
)
from telemetry.errors import RattletraceError, UsageError

if TYPE_CHECKING:
    from telemetry.whatif import Replay

__all__ = ["whatif"]

_USUAL_DEBOUNCE_S = (0.001, 0.002, 0.005, 0.010, 0.020, 0.050, 0.100)


class _Values(click.ParamType):  # type: ignore[type-arg] # not generic in the oldest click that serves
    """`5ms,10ms`, `20A,40A`, `50mm,60mm`: numbers with their unit, parted by commas, as floats."""

    name = "values"

    def __init__(self, factors: dict[str, float], example: str) -> None:
        self._factors, self._example = factors, example

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not isinstance(value, str):
            return value
        return tuple(self._number(part, param, ctx) for part in value.split(","))

    def _number(self, part: str, param: click.Parameter | None, ctx: click.Context | None) -> float:
        read = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([A-Za-zµ]*)\s*", part)
        if read is None or read[2].lower() not in self._factors or float(read[1]) <= 0:
            self.fail(f"{part.strip()[:40]!r} is no value like {self._example}", param, ctx)
        return float(read[1]) * self._factors[read[2].lower()]


_TIMES = _Values({"ms": 0.001, "s": 1.0, "us": 1e-6}, "5ms or 0.25s")
_CURRENTS = _Values({"a": 1.0, "ma": 0.001, "": 1.0}, "20A or 40A")
_DISTANCES = _Values({"mm": 1.0, "": 1.0}, "60 or 60mm, as the sensor is logged")


@click.command(context_settings=HELP)
@logs_argument
@robot_option
@click.option("--debounce", type=_TIMES, metavar="5ms,10ms…", help="Debounce times for beams and limits.")
@click.option("--stall-current", type=_CURRENTS, metavar="40A,60A…", help="Current limits for motors.")
@click.option("--stall-time", type=_TIMES, default="250ms", show_default=True,
              help="How long above the limit stops a motor; the first is taken.")  # fmt: skip
@click.option("--distance", type=_DISTANCES, metavar="50,60…", help="Thresholds of distance sensors.")
@click.option("--hysteresis", type=click.FloatRange(min=0), default=0.0, show_default=True,
              help="How much farther than the threshold lets go again, as logged.")  # fmt: skip
@click.option("--figure", type=click.Path(path_type=Path), metavar="FILE.png", help="Draw it as well.")
@json_option
@limit_options
def whatif(
    log_paths: Sequence[Path], robot_path: Path | None, debounce: tuple[float, ...] | None,
    stall_current: tuple[float, ...] | None, stall_time: tuple[float, ...],
    distance: tuple[float, ...] | None, hysteresis: float, figure: Path | None, as_json: bool,
    **limits: float,
) -> int:  # fmt: skip
    """Replay LOG through candidate settings: what the robot would have counted, missed or tripped.

    Besides the settings asked for, a fine scale is tried; where the outcome stays at its best over a stretch
    of it, its middle is recommended with its margin. Without any setting, usual debounce times are tried.
    """
    from reports.json_values import json_text
    from reports.whatif import whatif_figure, whatif_json, whatif_text
    from telemetry.whatif import replay_debounce, replay_distance, replay_stall, sum_up

    if debounce is None and stall_current is None and distance is None:
        debounce = _USUAL_DEBOUNCE_S
    replays: list[Replay] = []
    files: list[str] = []
    unusable = False
    for log_path, robot in logs_with_robots(log_paths, robot_path):
        try:
            matches = judged(log_path, robot, reader_limits(limits))
        except RattletraceError as error:
            complain(str(error))
            unusable = True
            continue
        files.append(log_path.name)
        for known in matches:
            replays += replay_debounce(known, debounce) if debounce else []
            replays += replay_stall(known, stall_current, stall_time[0]) if stall_current else []
            replays += replay_distance(known, distance, hysteresis) if distance else []
    if not files:
        raise UsageError("no log could be read, so nothing was replayed; name a log that can be")
    summed = sum_up(replays)
    if figure is not None:
        _draw(figure, whatif_figure(summed))
    if as_json:
        click.echo(json_text(whatif_json(summed, files)), nl=False)
    else:
        click.echo(whatif_text(summed))
    return EXIT_UNUSABLE if unusable else EXIT_DONE


def _draw(path: Path, image: bytes) -> None:
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(image)
        part.replace(path)
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}); name another --figure") from error

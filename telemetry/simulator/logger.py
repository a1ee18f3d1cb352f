"""The logger: samples the trace as a real one would, late, noisy, rounded, with packets lost."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from telemetry.simulator.faults import DeviceSilent, DevicesLost, LogGap
from telemetry.simulator.machine import STEP_S
from telemetry.simulator.play import Play
from telemetry.simulator.specification import Level
from telemetry.simulator.streams import stream

__all__ = ["Column", "LogTable", "LoggerSpec", "record"]

Kind = Literal["number", "switch", "text"]
Steps = NDArray[np.int64]

_UNITS = {
    "A": ("_a", 1.0, 1),
    "mA": ("_ma", 1e3, -2),
    "V": ("_v", 1.0, 2),
    "mV": ("_mv", 1e3, -1),
    "rpm": ("_rpm", 30 / np.pi, 0),
    "rad_s": ("_rad_s", 1.0, 1),
    "g": ("_g", 1.0, 2),
    "m_s2": ("_m_s2", 9.80665, 1),
    "mm": ("_mm", 1.0, 0),
    "": ("", 1.0, 3),
}
"""Suffix of a name, factor from the trace's own unit, decimals kept."""


@dataclass(frozen=True, kw_only=True)
class LoggerSpec:
    """How a match is written down.

    ``names`` renames channels by key (``feed.current``, ``beam.entry``, ``accel.x``, ``battery.voltage``,
    ``total.current``, ``mode``, ``loaded``, ``time``); ``omit`` leaves keys out, a bare prefix
    (``accel``) all that begin with it.
    """

    rate_hz: float = 50.0
    switch_rate_hz: float | None = None
    jitter_s: float = 0.002
    lost_fraction: float = 0.002
    clock_start_s: float = 0.0
    time_unit: Literal["s", "ms", "us"] = "s"
    current_unit: Literal["A", "mA"] = "A"
    voltage_unit: Literal["V", "mV"] = "V"
    speed_unit: Literal["rpm", "rad_s"] = "rpm"
    acceleration_unit: Literal["g", "m_s2"] = "g"
    noise: float = 1.0
    names: Mapping[str, str] = field(default_factory=dict)
    omit: tuple[str, ...] = ()
    phase_words: Mapping[str, Level] = field(
        default_factory=lambda: {"disabled": "disabled", "autonomous": "auto", "teleop": "teleop"}
    )
    delimiter: str = ","
    decimal_comma: bool = False
    switches_on_change: bool = False

    def __post_init__(self) -> None:
        for rate_hz in (self.rate_hz, self.switch_rate_hz or self.rate_hz):
            if not 1 <= rate_hz <= 1 / STEP_S:
                raise ValueError(f"a logger runs at 1 to {1 / STEP_S:.0f} Hz, not {rate_hz:g}")

    def omits(self, key: str) -> bool:
        """Whether the channel of this key is left out."""
        return key in self.omit or key.split(".")[0] in self.omit

    def name(self, key: str) -> str:
        """The name a channel of this key has in the log."""
        return self.names.get(key, _default_name(self, key))

    def unit(self, key: str) -> str:
        """The unit a channel of this key is logged in; empty where it has none."""
        if key.startswith("accel."):
            return self.acceleration_unit
        if key.startswith("range."):
            return "mm"
        units = {"current": self.current_unit, "voltage": self.voltage_unit, "speed": self.speed_unit}
        return units.get(key.split(".")[-1], "")

    @property
    def time_name(self) -> str:
        """Name of the time column."""
        return self.names.get("time", f"time_{self.time_unit}")


@dataclass(frozen=True)
class Column:
    """One channel as logged. ``present`` is False where nothing of it reached the log."""

    key: str
    name: str
    kind: Kind
    values: NDArray[Any]
    present: NDArray[np.bool_]
    decimals: int = 0


@dataclass(frozen=True)
class LogTable:
    """A log before it is written: when packets came (in milliseconds of the match), and their channels.

    Switches and texts were polled at ``switch_steps``, which are the packets themselves unless the logger
    has a rate of its own for them.
    """

    steps: Steps
    switch_steps: Steps
    columns: tuple[Column, ...]

    def column(self, key: str) -> Column:
        """The channel of that key. Raises KeyError."""
        for column in self.columns:
            if column.key == key:
                return column
        raise KeyError(key)


def record(played: Play, logger: LoggerSpec) -> LogTable:
    """Write down a match. The first record always stands at 0 s."""
    length = len(played.trace.bus_v)
    rng = stream(played.seed, "logger")
    gaps = [fault for fault in played.faults if isinstance(fault, LogGap)]
    steps = _packets(logger.rate_hz, logger, length, gaps, rng)
    polled = steps
    if logger.switch_rate_hz is not None:
        polled = _packets(logger.switch_rate_hz, logger, length, gaps, rng)
    columns = [*_switches(played, logger, polled), *_numbers(played, logger, steps)]
    lost = [fault for fault in played.faults if isinstance(fault, (DevicesLost, DeviceSilent))]
    kept = (column for column in columns if not logger.omits(column.key))
    return LogTable(steps, polled, tuple(_lose(column, steps, polled, lost) for column in kept))


def _packets(
    rate_hz: float, logger: LoggerSpec, length: int, gaps: list[LogGap], rng: np.random.Generator
) -> Steps:
    """Steps of the packets that arrived: even but for the jitter, without the lost ones."""
    due = np.arange(0, length * STEP_S, 1 / rate_hz)
    most_s = max(0.0, 0.499 * (1 / rate_hz - STEP_S))  # two packets never share a step, nor change places
    late = np.clip(rng.normal(0.0, logger.jitter_s, len(due)), -most_s, most_s)
    lost = rng.random(len(due)) < logger.lost_fraction
    late[0], lost[0] = 0.0, False
    steps = np.round((due + late) / STEP_S).astype(np.int64)
    for gap in gaps:
        lost |= (due > 0) & (due >= gap.at_s) & (due < gap.at_s + gap.length_s)
    return np.unique(steps[~lost & (steps >= 0) & (steps < length)])


def _switches(played: Play, logger: LoggerSpec, steps: Steps) -> list[Column]:
    spec, trace, inputs = played.spec, played.trace, played.inputs
    phases = np.empty(len(trace.bus_v), dtype=object)
    for span in played.plan.spans:
        phases[round(span.start_s / STEP_S) : round(span.end_s / STEP_S)] = logger.phase_words[span.phase]
    columns = [_polled(logger, "mode", phases[steps], "text")]
    for beam, read in zip(spec.tower.beams, inputs.beams, strict=True):
        values = _levels(read[steps], beam.broken, beam.clear)
        columns.append(_polled(logger, f"beam.{beam.name}", values, "switch"))
    for bit, limit in enumerate((spec.arm.low, spec.arm.high)):
        values = _levels(inputs.limits[steps] >> bit & 1 == 1, limit.pressed, limit.released)
        columns.append(_polled(logger, f"limit.{limit.name}", values, "switch"))
    loaded = _levels(trace.loaded[steps], 1, 0)
    return [*columns, _polled(logger, "loaded", loaded, "switch")]


def _levels(on: NDArray[np.bool_], yes: Level, no: Level) -> NDArray[np.object_]:
    values = np.empty(len(on), dtype=object)
    values[on] = yes
    values[~on] = no
    return values


def _polled(logger: LoggerSpec, key: str, values: NDArray[np.object_], kind: Kind) -> Column:
    return Column(key, logger.name(key), kind, values, np.ones(len(values), dtype=bool))


def _numbers(played: Play, logger: LoggerSpec, steps: Steps) -> list[Column]:
    spec, trace = played.spec, played.trace

    def sampled(key: str, values: NDArray[np.float64], noise: float) -> Column:
        return _sampled(logger, key, values[steps], noise, stream(played.seed, f"noise {key}"))

    columns = [
        sampled("battery.voltage", trace.bus_v, 0.01),
        sampled("total.current", trace.supply_a, 0.3),
    ]
    for place, motor in enumerate(spec.motors):
        current = trace.current_a[place]
        if motor.current_side == "supply":
            current = current * np.abs(trace.duty[place])
        columns += [
            sampled(f"{motor.name}.current", current, 0.25),
            sampled(f"{motor.name}.duty", trace.told_duty[place], 0.0),
            sampled(f"{motor.name}.speed", trace.speed_rad_s[place], 0.15),
        ]
    if spec.tower.range_sensor is not None and played.inputs.range_mm is not None:
        columns.append(sampled(f"range.{spec.tower.range_sensor.name}", played.inputs.range_mm, 0.0))
    axes = zip("xyz", (played.felt.x, played.felt.y, played.felt.z), strict=True)
    return [*columns, *(sampled(f"accel.{axis}", values, 0.008) for axis, values in axes)]


def _sampled(
    logger: LoggerSpec, key: str, values: NDArray[np.float64], noise: float, rng: np.random.Generator
) -> Column:
    """A number as logged: noisy, in the logger's unit, rounded. ``noise`` is a standard deviation."""
    scale, decimals = _UNITS[logger.unit(key)][1:]
    logged = (values + rng.normal(0.0, 1.0, len(values)) * noise * logger.noise) * scale
    rounded = np.round(logged, decimals) + 0.0
    return Column(key, logger.name(key), "number", rounded, np.ones(len(values), dtype=bool), decimals)


def _default_name(logger: LoggerSpec, key: str) -> str:
    device, _, quantity = key.rpartition(".")
    if key == "mode":
        return "mode"
    if key == "loaded":
        return "loaded_light"
    if device in ("beam", "limit"):
        return f"{device}_{quantity}"
    suffix = _UNITS[logger.unit(key)][0]
    if device == "range":
        return f"{quantity}_range{suffix}"
    if quantity in ("voltage", "speed"):
        return f"{device}{suffix}"
    return f"{device}_{quantity}{suffix}"


def _lose(column: Column, steps: Steps, polled: Steps, faults: list[DevicesLost | DeviceSilent]) -> Column:
    """Leave out, or freeze, what a lost device would have sent."""
    times = (steps if column.kind == "number" else polled) * STEP_S
    values, present = column.values.copy(), column.present.copy()
    for fault in faults:
        first, _, second = column.key.partition(".")
        devices = (fault.device,) if isinstance(fault, DeviceSilent) else fault.devices
        if first not in devices and second not in devices:
            continue
        gone = (times >= fault.at_s) & (times < fault.at_s + fault.length_s)
        if fault.frozen and gone.any():
            values[gone] = values[max(int(np.argmax(gone)) - 1, 0)]
        else:
            present &= ~gone
    return Column(column.key, column.name, column.kind, values, present, column.decimals)

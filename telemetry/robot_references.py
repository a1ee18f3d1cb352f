"""Names of a robot file that are misspelled, and values that contradict each other."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from itertools import pairwise

from telemetry.robot_mistakes import Mistake, Tree, dotted, found, nearest, quoted
from telemetry.toml_lines import KeyPath
from telemetry.units import UNITS, unit_named

__all__ = ["channel_mistakes", "reference_mistakes"]

_SENSORS = ("beams", "limits", "ranges")


def reference_mistakes(tree: Tree) -> list[Mistake]:
    """Names that look like misspellings of others in the file, and values that contradict each other.

    A device that the file merely says nothing of (a harness may serve more than is logged) is no mistake.

    Works on the raw tree, so that a wrong type elsewhere hides none of them; what has a
    wrong type itself is skipped.
    """
    checks: tuple[Callable[[Tree], Iterator[Mistake]], ...] = (
        _unknown_motors, _harness_orders, _shared_signals, _shared_names, _shared_stations, _phase_values,
        _contradictions, _unknown_units, _breaker_curves,
    )  # fmt: skip
    return [mistake for check in checks for mistake in check(tree)]


def channel_mistakes(tree: Tree, channels: Collection[str], log_name: str) -> list[Mistake]:
    """Channels that the file names and the log lacks."""
    return [
        Mistake(path, f"{log_name} has no channel {quoted(name)}", name, channels)
        for path, name in _channel_references(tree)
        if name not in channels
    ]


def _section(tree: Tree, name: str) -> dict[str, object]:
    section = tree.get(name)
    return section if isinstance(section, dict) else {}


def _members(tree: Tree, name: str) -> Iterator[tuple[str, dict[str, object]]]:
    """The tables of a section such as `[motors.NAME]`, those that are tables."""
    for key, table in _section(tree, name).items():
        if isinstance(table, dict):
            yield key, table


def _harnesses(tree: Tree) -> Iterator[tuple[int, dict[str, object]]]:
    harnesses = tree.get("harnesses")
    for place, table in enumerate(harnesses if isinstance(harnesses, list) else []):
        if isinstance(table, dict):
            yield place, table


def _texts(value: object) -> Iterator[tuple[int, str]]:
    for place, item in enumerate(value if isinstance(value, list) else []):
        if isinstance(item, str):
            yield place, item


def _unknown_motors(tree: Tree) -> Iterator[Mistake]:
    motors = _section(tree, "motors")
    named: list[tuple[KeyPath, object]] = [(("launcher", "motor"), _section(tree, "launcher").get("motor"))]
    named += [(("limits", name, "motor"), limit.get("motor")) for name, limit in _members(tree, "limits")]
    drive = _section(tree, "contact").get("drive")
    named += [(("contact", "drive", place), name) for place, name in _texts(drive)]
    for path, name in named:
        if isinstance(name, str) and _misspelled(name, motors):
            yield Mistake(path, f"no motor of this file is named {quoted(name)}", name, list(motors))


def _misspelled(name: str, known: Collection[str]) -> bool:
    return name not in known and nearest(name, known) is not None


def _harness_orders(tree: Tree) -> Iterator[Mistake]:
    devices = [name for section in ("motors", *_SENSORS) for name in _section(tree, section)]
    for number, harness in _harnesses(tree):
        order = list(_texts(harness.get("order")))
        yield from _twice([(("harnesses", number, "order", place), name) for place, name in order], "device")
        for place, name in order:
            if _misspelled(name, devices):
                text = f"no motor, beam, limit or range of this file is named {quoted(name)}"
                yield Mistake(("harnesses", number, "order", place), text, name, devices)


def _shared_signals(tree: Tree) -> Iterator[Mistake]:
    signals = [
        ((section, name, "signal"), sensor.get("signal"))
        for section in _SENSORS
        for name, sensor in _members(tree, section)
    ]
    axes = _section(tree, "contact").get("accelerometer")
    yield from _twice(signals, "signal")
    yield from _twice([(("contact", "accelerometer", place), axis) for place, axis in _texts(axes)], "axis")


def _shared_names(tree: Tree) -> Iterator[Mistake]:
    """A beam, a limit and a range with one name could not be told apart in the results."""
    sensors: list[tuple[KeyPath, object]] = [
        ((section, name), name) for section in _SENSORS for name in _section(tree, section)
    ]
    yield from _twice(sensors, "name")
    yield from _twice(
        [(("harnesses", n, "name"), table.get("name")) for n, table in _harnesses(tree)], "name"
    )


def _shared_stations(tree: Tree) -> Iterator[Mistake]:
    stations = [(("beams", name, "station"), beam.get("station")) for name, beam in _members(tree, "beams")]
    yield from _twice(stations, "station")


def _phase_values(tree: Tree) -> Iterator[Mistake]:
    phases = _section(_section(tree, "match"), "values")
    spelled: list[tuple[KeyPath, object]] = [
        (("match", "values", phase, place), _spelled(value))
        for phase, values in phases.items()
        if isinstance(values, list)
        for place, value in enumerate(values)
    ]
    yield from _twice(spelled, "value")


def _spelled(value: object) -> object:
    return value.strip().lower() if isinstance(value, str) else value


def _twice(named: Sequence[tuple[KeyPath, object]], what: str) -> Iterator[Mistake]:
    """A mistake for every value that stood before, with the key where it stood first."""
    first: dict[tuple[bool, object], KeyPath] = {}
    for path, value in named:
        if not isinstance(value, str | int | float):
            continue
        before = first.setdefault((isinstance(value, bool), value), path)
        if before != path:
            owner = "above" if dotted(before) == dotted(path) else f"by {dotted(before)}"
            yield Mistake(path, f"{what} {found(value)} is already taken {owner}")


def _contradictions(tree: Tree) -> Iterator[Mistake]:
    rules = (
        ("match", "endgame_s", "teleop_s", "the endgame is the last part of teleop"),
        ("supply", "brownout_v", "dip_v", "a brownout is deeper than a dip"),
        ("robot", "preload", "capacity", "more aboard at the start than it can carry"),
    )
    for section, low, high, why in rules:
        yield from _above((section,), _section(tree, section), low, high, why)
    for name, motor in _members(tree, "motors"):
        why = "a stalled motor draws more than a free one"
        yield from _above(("motors", name), motor, "free_current_a", "stall_current_a", why, or_equal=True)


def _above(
    path: KeyPath, table: dict[str, object], low: str, high: str, why: str, *, or_equal: bool = False
) -> Iterator[Mistake]:
    """A mistake where both are written and the value of `low` exceeds that of `high`."""
    small, large = table.get(low), table.get(high)
    if not (isinstance(small, int | float) and isinstance(large, int | float)) or small < 0 or large <= 0:
        return
    if small > large or (or_equal and small == large):
        text = f"{low} is {found(small)} and {high} is {found(large)}, but {why}"
        yield Mistake((*path, low), text)


def _unknown_units(tree: Tree) -> Iterator[Mistake]:
    for channel, unit in _section(_section(tree, "log"), "units").items():
        if isinstance(unit, str) and unit_named(unit) is None:
            yield Mistake(("log", "units", channel), f"unknown unit {quoted(unit)}", unit, list(UNITS))


def _breaker_curves(tree: Tree) -> Iterator[Mistake]:
    for name, motor in _members(tree, "motors"):
        curve = motor.get("breaker_curve")
        points = [point for point in curve if _is_pair(point)] if isinstance(curve, list) else []
        if any(later[0] <= sooner[0] or later[1] > sooner[1] for sooner, later in pairwise(points)):
            text = "the multiples must rise from pair to pair, and the seconds must not"
            yield Mistake(("motors", name, "breaker_curve"), text)


def _is_pair(point: object) -> bool:
    return isinstance(point, list) and len(point) == 2 and all(isinstance(n, int | float) for n in point)


def _channel_references(tree: Tree) -> Iterator[tuple[KeyPath, str]]:
    """Every (key, channel) by which the file names a channel of the log."""
    candidates: list[tuple[KeyPath, object]] = [
        ((section, key), _section(tree, section).get(key))
        for section, key in (
            ("match", "phase"), ("supply", "voltage"), ("supply", "current"), ("indicator", "signal"),
        )
    ]  # fmt: skip
    for name, motor in _members(tree, "motors"):
        candidates += [(("motors", name, role), motor.get(role)) for role in ("current", "command", "speed")]
    for section in _SENSORS:
        candidates += [
            ((section, name, "signal"), sensor.get("signal")) for name, sensor in _members(tree, section)
        ]
    axes = _section(tree, "contact").get("accelerometer")
    candidates += [(("contact", "accelerometer", place), axis) for place, axis in _texts(axes)]
    units = _section(_section(tree, "log"), "units")
    candidates += [(("log", "units", name), name) for name in units]
    for path, channel in candidates:
        if isinstance(channel, str) and channel:
            yield path, channel

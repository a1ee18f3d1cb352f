"""The pit's functional test before queueing: what of the robot was seen to work in a short log, what was not.

Every sensor toggled both ways, every limit pressed and let go, every motor drew and turned both ways, the
battery charged at rest, the accelerometer alive. What was not tried is not seen; what answered falsely is
wrong.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.bursts import find_bursts, find_limit_bursts, shortest_honest_dwell_s
from telemetry.estimators.motors import trace_motors
from telemetry.estimators.switches import read_beams, read_limits
from telemetry.log import BoolArray, Log
from telemetry.records.motors import MotorTrace
from telemetry.records.sensors import Switching
from telemetry.robot import Motor, Robot
from telemetry.signals import at_instants, period_s, runs
from telemetry.wording import counted

__all__ = ["CAUTIONS", "Item", "passed", "precheck"]

CAUTIONS = (
    "Put the robot on blocks: wheels and rollers turn free, nothing it can climb or pull on is near.",
    "Hands, hair and sleeves clear of belts, rollers and the arm; one person drives and says so aloud.",
    "Keep the breaker or the stop key within reach of a second person.",
)

_LEAST_DRIVEN_S = 0.3
_LEAST_TURNING = 0.1
_NOTHING_A, _NOTHING_OF_FREE = 0.3, 0.25
_MOST_OF_STALL, _SPIN_UP_S = 0.5, 0.5
_OVERRUN_S = 0.5
_CHARGED, _EMPTY = 1.03, 0.95
"""Voltage at rest over the nominal: charged from the first, not fit below the second (common practice)."""
_LEAST_REST_S = 1.0


@dataclass(frozen=True)
class Item:
    """One line of the checklist: `state` is `seen`, `not seen` or `wrong`; `detail` says it in words."""

    subject: str
    role: str
    state: str
    detail: str


def precheck(log: Log, robot: Robot) -> tuple[Item, ...]:
    """The checklist of a functional test, in the order of the robot file; empty where it names nothing."""
    end_s = float(log.t_s[-1]) if len(log.t_s) else 0.0
    beams, limits = read_beams(log, robot, end_s), read_limits(log, robot, end_s)
    traces = trace_motors(log, robot)
    items = [_beam(name, beams.get(name), robot.robot.capacity) for name in robot.beams]
    items += [_range(log, name, robot) for name in robot.ranges]
    items += [
        _limit(name, limits.get(name), robot, traces.get(robot.limits[name].motor or ""))
        for name in robot.limits
    ]
    items += [_motor(name, motor, traces.get(name), log) for name, motor in robot.motors.items()]
    items += [*_battery(log, robot, [*traces.values()]), *_accelerometer(log, robot), *_indicator(log, robot)]
    return tuple(items)


def passed(items: tuple[Item, ...]) -> bool:
    """Whether everything was seen to work; an empty checklist is no pass."""
    return bool(items) and all(item.state == "seen" for item in items)


def _beam(name: str, beam: Switching | None, capacity: int | None) -> Item:
    if beam is None:
        return Item(name, "beam", "not seen", "its channel is not in the log")
    bursts = find_bursts(beam, shortest_honest_dwell_s(beam), capacity)
    if bursts:
        edges = sum(burst.edges for burst in bursts)
        return Item(
            name, "beam", "wrong", f"it chattered: {edges} extra edges; check its mount and connector"
        )
    return _toggled(name, "beam", beam, ("broken", "clear"), "pass a piece through it")


def _limit(name: str, limit: Switching | None, robot: Robot, trace: MotorTrace | None) -> Item:
    if limit is None:
        return Item(name, "limit", "not seen", "its channel is not in the log")
    if find_limit_bursts(limit, shortest_honest_dwell_s(limit)):
        return Item(name, "limit", "wrong", "it bounced; check its lever and mount")
    driven_s = _driven_into(limit, robot.limits[name].stops, trace)
    if driven_s > _OVERRUN_S:
        return Item(name, "limit", "wrong", f"its motor was driven on for {driven_s:.1f} s after it closed")
    return _toggled(name, "limit", limit, ("pressed", "released"), "drive or push the mechanism onto it")


def _toggled(name: str, role: str, signal: Switching, words: tuple[str, str], how: str) -> Item:
    """Seen where it went on and off again, or off and on again."""
    changes = signal.transitions
    if changes >= 2:
        on = int(np.count_nonzero(signal.on[1:]))
        return Item(
            name,
            role,
            "seen",
            f"{words[0]} {counted(on, 'time')}, {words[1]} {counted(changes - on, 'time')}",
        )
    state = words[0] if len(signal.on) and signal.on[-1] else words[1]
    if changes == 1:
        return Item(name, role, "not seen", f"it went {state} and never came back; {how} and take it off")
    return Item(name, role, "not seen", f"it read {state} throughout; {how}")


def _driven_into(limit: Switching, stops: str | None, trace: MotorTrace | None) -> float:
    """The longest that the motor was driven, the way it must stop, while the limit was pressed."""
    if trace is None or stops is None or not len(limit.t_s) or not len(trace.t_s):
        return 0.0
    sign = -1.0 if stops == "negative" else 1.0
    number = np.searchsorted(limit.t_s, trace.t_s, side="right") - 1
    pressed = (number >= 0) & limit.on[np.maximum(number, 0)]
    return _longest_s(trace, pressed & (np.nan_to_num(trace.command) * sign >= 0.2))


def _longest_s(trace: MotorTrace, flagged: BoolArray) -> float:
    first, past = runs(flagged)
    until = np.minimum(past, len(trace.t_s) - 1)
    return float((trace.t_s[until] - trace.t_s[first]).max(initial=0.0))


def _range(log: Log, name: str, robot: Robot) -> Item:
    sensor = robot.ranges[name]
    channel = log.channels.get(sensor.signal)
    values = channel.values[np.isfinite(channel.values)] if channel else np.empty(0)
    if not len(values):
        return Item(name, "range", "not seen", "its channel is not in the log")
    low, high = float(values.min()), float(values.max())
    if low == high:
        return Item(
            name, "range", "wrong", f"it read {low:g} throughout; hold a hand before it, then check its lead"
        )
    if sensor.near is None:
        return Item(name, "range", "seen", f"it moved between {low:g} and {high:g}")
    near = values < sensor.near
    if near.any() and not near.all():
        return Item(name, "range", "seen", f"near and far of {sensor.near:g}, {low:g} to {high:g}")
    side = "nearer" if near.all() else "farther"
    return Item(
        name,
        "range",
        "not seen",
        f"it stayed {side} than {sensor.near:g}; put a piece there and take it away",
    )


def _motor(name: str, motor: Motor, trace: MotorTrace | None, log: Log) -> Item:
    if trace is None or not len(trace.t_s):
        return Item(name, "motor", "not seen", "no current of it is in the log")
    if not np.isfinite(trace.command).any():
        return Item(name, "motor", "not seen", "no command is logged, so its directions cannot be told")
    ways = ((1.0, "forwards"), (-1.0, "backwards"))
    told = [(word, *_direction(motor, trace, log, sign)) for sign, word in ways]
    states = [state for _, state, _ in told]
    state = next((s for s in ("wrong", "not seen") if s in states), "seen")
    words: dict[str, list[str]] = {}
    for word, one, detail in told:
        if state in (one, "wrong"):
            words.setdefault(detail, []).append(word)
    details = [detail.replace("{}", " and ".join(which)) for detail, which in words.items()]
    return Item(name, "motor", state, "; ".join(details))


def _direction(motor: Motor, trace: MotorTrace, log: Log, sign: float) -> tuple[str, str]:
    """The state of one direction, and what to say with a gap where the direction's name goes."""
    driven = np.nan_to_num(trace.command) * sign >= 0.2
    if float(np.count_nonzero(driven)) * period_s(trace.t_s) < _LEAST_DRIVEN_S:
        return "not seen", "it was not driven {}"
    current_a = float(np.median(trace.current_a[driven]))
    if current_a < max(_NOTHING_A, _NOTHING_OF_FREE * (motor.free_current_a or 0.0)):
        return "wrong", f"driven {{}} it drew {current_a:.1f} A: check its leads and its breaker"
    strained = _strained(motor, trace, driven)
    if strained:
        return "wrong", f"driven {{}} it drew {current_a:.0f} A and hardly turned: it jams or is blocked"
    if _turned_against(motor, trace, log, driven):
        return "wrong", "driven {} its speed reads the other way: check its wiring or its sign"
    return "seen", f"{{}} at {current_a:.1f} A"


def _strained(motor: Motor, trace: MotorTrace, driven: BoolArray) -> bool:
    share = np.abs(np.nan_to_num(trace.speed_share, nan=np.inf))
    if np.isfinite(trace.speed_share[driven]).any():
        return _longest_s(trace, driven & (share < _LEAST_TURNING)) > _SPIN_UP_S
    if motor.stall_current_a is None:
        return False
    duty = np.abs(np.nan_to_num(trace.command))
    return (
        _longest_s(trace, driven & (trace.current_a > _MOST_OF_STALL * motor.stall_current_a * duty))
        > _SPIN_UP_S
    )


def _turned_against(motor: Motor, trace: MotorTrace, log: Log, driven: BoolArray) -> bool:
    """Whether the speed, as logged, has the other sign than the command; never for one without signs."""
    channel = log.channels.get(motor.speed) if motor.speed else None
    if channel is None or trace.speed_source != "channel" or not (channel.values < 0).any():
        return False
    speed = at_instants(channel.t_s, channel.canonical(), trace.t_s)[driven]
    speed = speed[np.isfinite(speed)]
    return bool(len(speed)) and bool(np.median(speed) * np.median(trace.command[driven]) < 0)


def _battery(log: Log, robot: Robot, traces: list[MotorTrace]) -> Iterator[Item]:
    if robot.supply.voltage is None:
        return
    channel = log.channels.get(robot.supply.voltage)
    if channel is None or not len(channel.values):
        yield Item("battery", "supply", "not seen", "its voltage is not in the log")
        return
    volts = channel.canonical()
    rest = _at_rest(channel.t_s, traces)
    if float(np.count_nonzero(rest)) * period_s(channel.t_s) < _LEAST_REST_S:
        yield Item("battery", "supply", "not seen", "the robot was never at rest for a second")
        return
    nominal_v = max((motor.nominal_v for motor in robot.motors.values()), default=12.0)
    rest_v = float(np.median(volts[rest]))
    fit = rest_v >= _CHARGED * nominal_v
    told = f"{rest_v:.2f} V at rest"
    change = "not charged" if rest_v >= _EMPTY * nominal_v else "empty, or not fit"
    yield Item(
        "battery", "supply", "seen" if fit else "wrong", told if fit else f"{told}: {change}; change it"
    )


def _at_rest(t_s: np.ndarray, traces: list[MotorTrace]) -> BoolArray:
    rest = np.ones(len(t_s), dtype=bool)
    for trace in traces:
        at = np.clip(np.searchsorted(trace.t_s, t_s, side="right") - 1, 0, max(len(trace.t_s) - 1, 0))
        if len(trace.t_s):
            rest &= ~(np.abs(np.nan_to_num(trace.command[at])) >= 0.05) & (trace.current_a[at] < 1.0)
    return rest


def _accelerometer(log: Log, robot: Robot) -> Iterator[Item]:
    for name in robot.contact.accelerometer:
        channel = log.channels.get(name)
        values = channel.canonical()[np.isfinite(channel.canonical())] if channel else np.empty(0)
        if not len(values):
            yield Item(name, "accelerometer", "not seen", "its channel is not in the log")
        elif float(values.max()) == float(values.min()):
            yield Item(name, "accelerometer", "wrong", f"it read {values[0]:g} throughout: it is dead")
        else:
            peak = float(np.abs(values - np.median(values)).max())
            yield Item(name, "accelerometer", "seen", f"it moves, {peak:.2f} g at most")


def _indicator(log: Log, robot: Robot) -> Iterator[Item]:
    if robot.indicator is None:
        return
    channel = log.channels.get(robot.indicator.signal)
    lit = channel.equals(robot.indicator.lit) if channel else np.empty(0, dtype=bool)
    if lit.any() and not lit.all():
        yield Item("indicator", "indicator", "seen", "lit and dark")
    else:
        yield Item(
            "indicator", "indicator", "not seen", "it was lit throughout" if lit.any() else "it was never lit"
        )

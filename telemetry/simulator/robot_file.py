"""The robot.toml that belongs to a simulated robot and its logger."""

import json
from collections.abc import Iterable

from telemetry.simulator.logger import LoggerSpec
from telemetry.simulator.plan import MatchPlan
from telemetry.simulator.specification import Level, MotorSpec, RobotSpec

__all__ = ["robot_toml"]

Value = str | int | float | bool | list[str] | list[Level]


def robot_toml(spec: RobotSpec, plan: MatchPlan, logger: LoggerSpec) -> str:
    """Text of the robot file: only of channels that the logger writes."""
    sections = [
        _robot(spec),
        _units(spec, logger),
        _match(plan, logger),
        *(_motor(motor, logger) for motor in spec.motors),
        *_beams(spec, logger),
        *_limits(spec, logger),
        _section("launcher", {"motor": spec.launcher.name}),
        _contact(spec, logger),
        _supply(spec, logger),
        {} if logger.omits("loaded") else _section("indicator", {"signal": logger.name("loaded")}),
        *_harnesses(spec),
    ]
    return "\n".join(_text(section) for section in sections if section)


Section = dict[str, dict[str, Value]]


def _section(title: str, values: dict[str, Value]) -> Section:
    return {title: values}


def _text(section: Section) -> str:
    [(title, values)] = section.items()
    head = title if title.startswith("[") else f"[{title}]"
    return "\n".join([head, *(f"{key} = {_value(value)}" for key, value in values.items())]) + "\n"


def _value(value: Value) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _key(name: str) -> str:
    bare = name.isascii() and name.replace("_", "").replace("-", "").isalnum()
    return name if bare else json.dumps(name, ensure_ascii=False)


def _robot(spec: RobotSpec) -> Section:
    return _section(
        "robot",
        {
            "name": spec.name,
            "piece": spec.piece,
            "capacity": spec.capacity,
            "preload": spec.preload,
            "piece_length_m": spec.tower.piece_length_m,
        },
    )


def _units(spec: RobotSpec, logger: LoggerSpec) -> Section:
    """Units that a channel's own name does not tell, as the log section wants them."""
    units = {"current": logger.current_unit, "voltage": logger.voltage_unit, "speed": logger.speed_unit}
    told: dict[str, Value] = {}
    if "time" in logger.names:
        told |= {"time": logger.time_name, "time_unit": logger.time_unit}
    renamed = [key for key in logger.names if key != "time" and not logger.omits(key)]
    pairs: list[str] = []
    for key in renamed:
        unit = logger.acceleration_unit if key.startswith("accel.") else units.get(key.split(".")[-1])
        if unit:
            pairs.append(f"{_key(logger.name(key))} = {json.dumps(unit)}")
    if pairs:
        told["units"] = _Raw("{ " + ", ".join(pairs) + " }")
    return _section("log", told) if told else {}


class _Raw(str):
    """Text that is TOML already."""


def _match(plan: MatchPlan, logger: LoggerSpec) -> Section:
    values: dict[str, Value] = {
        "autonomous_s": plan.autonomous_s,
        "teleop_s": plan.teleop_s,
        "endgame_s": plan.endgame_s,
    }
    if not logger.omits("mode"):
        words = ", ".join(f"{phase} = [{_value(word)}]" for phase, word in logger.phase_words.items())
        values = {"phase": logger.name("mode"), "values": _Raw("{ " + words + " }")} | values
    return _section("match", values)


def _motor(motor: MotorSpec, logger: LoggerSpec) -> Section:
    values: dict[str, Value] = {}
    if not logger.omits(f"{motor.name}.current"):
        values |= {"current": logger.name(f"{motor.name}.current"), "current_side": motor.current_side}
    for what, quantity in (("command", "duty"), ("speed", "speed")):
        if not logger.omits(f"{motor.name}.{quantity}"):
            values[what] = logger.name(f"{motor.name}.{quantity}")
    values |= {
        "mechanism": motor.mechanism,
        "nominal_v": motor.nominal_v,
        "free_speed_rpm": motor.free_speed_rpm,
        "free_current_a": motor.free_current_a,
        "stall_current_a": motor.stall_current_a,
        "stall_torque_nm": round(motor.stall_torque_nm, 3),
        "reduction": motor.reduction,
        "breaker_a": motor.breaker_a,
        "continuous_current_a": motor.continuous_current_a,
        "heating_time_constant_s": motor.heating_time_constant_s,
        "cooling_time_constant_s": motor.cooling_time_constant_s,
    }
    return _section(f"motors.{_key(motor.name)}", values)


def _beams(spec: RobotSpec, logger: LoggerSpec) -> Iterable[Section]:
    for station, beam in enumerate(spec.tower.beams, 1):
        if logger.omits(f"beam.{beam.name}"):
            continue
        values: dict[str, Value] = {
            "signal": logger.name(f"beam.{beam.name}"),
            "broken": beam.broken,
            "station": station,
            "unplugged": beam.unplugged,
        }
        if beam.harness is not None:
            values["harness"] = beam.harness
        yield _section(f"beams.{_key(beam.name)}", values)


def _limits(spec: RobotSpec, logger: LoggerSpec) -> Iterable[Section]:
    for limit, stops in ((spec.arm.low, "negative"), (spec.arm.high, "positive")):
        if not logger.omits(f"limit.{limit.name}"):
            yield _section(
                f"limits.{_key(limit.name)}",
                {
                    "signal": logger.name(f"limit.{limit.name}"),
                    "pressed": limit.pressed,
                    "motor": spec.hoist.name,
                    "stops": stops,
                },
            )


def _contact(spec: RobotSpec, logger: LoggerSpec) -> Section:
    axes = [logger.name(f"accel.{axis}") for axis in "xy" if not logger.omits(f"accel.{axis}")]
    values: dict[str, Value] = {"accelerometer": axes} if axes else {}
    values["drive"] = [spec.drive_left.name, spec.drive_right.name]
    return _section("contact", values)


def _supply(spec: RobotSpec, logger: LoggerSpec) -> Section:
    battery = spec.battery
    if logger.omits("battery.voltage"):
        return {}
    values: dict[str, Value] = {"voltage": logger.name("battery.voltage")}
    if not logger.omits("total.current"):
        values["current"] = logger.name("total.current")
    values |= {"battery": battery.name, "dip_v": battery.dip_v, "brownout_v": battery.brownout_v}
    return _section("supply", values)


def _harnesses(spec: RobotSpec) -> Iterable[Section]:
    looms: dict[str, list[str]] = {}
    for beam in spec.tower.beams:
        if beam.harness is not None:
            looms.setdefault(beam.harness, []).append(beam.name)
    for name, order in looms.items():
        yield _section("[[harnesses]]", {"name": name, "kind": "star", "order": list(order)})
    motors = list(spec.motor_names)
    yield _section("[[harnesses]]", {"name": "motor bus", "kind": "chain", "order": motors})

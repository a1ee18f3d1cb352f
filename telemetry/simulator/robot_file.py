"""The robot.toml that belongs to a simulated robot and its logger."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict

from telemetry.simulator.logger import LoggerSpec
from telemetry.simulator.plan import MatchPlan
from telemetry.simulator.specification import Level, MotorSpec, RobotSpec

__all__ = ["robot_toml"]

Value = Level | float | Sequence["Value"] | Mapping[str, "Value"]
Section = dict[str, dict[str, Value]]


def robot_toml(spec: RobotSpec, plan: MatchPlan, logger: LoggerSpec) -> str:
    """Text of the robot file: only of channels that the logger writes."""
    sections = [
        _robot(spec),
        _units(logger),
        _match(plan, logger),
        *(_motor(motor, logger) for motor in spec.motors),
        *_beams(spec, logger),
        *_limits(spec, logger),
        _range(spec, logger),
        _section("launcher", {"motor": spec.launcher.name}),
        _contact(spec, logger),
        _supply(spec, logger),
        {} if logger.omits("loaded") else _section("indicator", {"signal": logger.name("loaded")}),
        *_harnesses(spec),
    ]
    return "\n".join(_text(section) for section in sections if section)


def _section(title: str, values: dict[str, Value]) -> Section:
    return {title: values}


def _text(section: Section) -> str:
    [(title, values)] = section.items()
    head = title if title.startswith("[") else f"[{title}]"
    return "\n".join([head, *(f"{key} = {_value(value)}" for key, value in values.items())]) + "\n"


def _value(value: Value) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, Sequence):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
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


def _units(logger: LoggerSpec) -> Section:
    """Units that a channel's own name does not tell, as the log section wants them."""
    told: dict[str, Value] = {}
    if "time" in logger.names:
        told |= {"time": logger.time_name, "time_unit": logger.time_unit}
    renamed = [key for key in logger.names if logger.unit(key) and not logger.omits(key)]
    if renamed:
        told["units"] = {logger.name(key): logger.unit(key) for key in renamed}
    return _section("log", told) if told else {}


def _match(plan: MatchPlan, logger: LoggerSpec) -> Section:
    values: dict[str, Value] = {}
    if not logger.omits("mode"):
        values["phase"] = logger.name("mode")
        values["values"] = {phase: [word] for phase, word in logger.phase_words.items()}
    values["autonomous_s"] = plan.autonomous_s
    values["teleop_s"] = plan.teleop_s
    values["endgame_s"] = plan.endgame_s
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
    if motor.chain is not None:
        values["chain"] = asdict(motor.chain)
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


def _range(spec: RobotSpec, logger: LoggerSpec) -> Section:
    sensor = spec.tower.range_sensor
    if sensor is None or logger.omits(f"range.{sensor.name}"):
        return {}
    values: dict[str, Value] = {"signal": logger.name(f"range.{sensor.name}"), "near": sensor.near_mm}
    return _section(f"ranges.{_key(sensor.name)}", values)


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

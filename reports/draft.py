"""A robot file to start from: the guesses filled in, each with its reason, and what is left to fill in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from telemetry.guessing import likely_phase
from telemetry.log import Log
from telemetry.plain import shown
from telemetry.records.guess import Guess
from telemetry.robot import Beam, Limit, Motor, Range, Robot

__all__ = ["draft_text"]

_BARE = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-")
_WIDTH = 30
_ROBOT = """\
# [robot]
# name = "Jay"
# piece = "acorn"               # this season's game piece
# capacity = 3                  # most pieces aboard
# preload = 1                   # aboard when the match starts
# piece_length_m = 0.18         # along its path
"""
_SCHEDULE = """\
# autonomous_s = 15
# teleop_s = 135
# endgame_s = 30                # the last part of teleop
"""
_MOTOR = """\
# mechanism = "tower"           # motors of one mechanism share its load
# nominal_v = 12.0              # from the data sheet, as are the next four
# free_speed_rpm = 5300
# free_current_a = 1.8
# stall_current_a = 130
# stall_torque_nm = 2.4
# reduction = 5.0               # motor turns per output turn
# breaker_a = 40
# continuous_current_a = 32     # what it carries for ever without overheating
# heating_time_constant_s = 90
# cooling_time_constant_s = 400
# chain = { sprocket_teeth = 22, pitch_in = 0.25, breaking_load_lbf = 780 }
"""
_BEAM = """\
# unplugged = "clear"           # what it reads with the receiver unplugged: clear or broken
# harness = "tower loom"
"""
_SUPPLY = """\
# battery = "B3"                # which battery, or the channel that says so
# dip_v = 9.0
# brownout_v = 7.0
"""
_HARNESSES = """\
# [[harnesses]]
# name = "motor bus"
# kind = "chain"                # chain: one after the other; star: each on its own lead
# order = ["motor", "sensor"]   # names of this file, nearest first
"""


def draft_text(log: Log, robot: Robot, guesses: Sequence[Guess]) -> str:
    """A robot file in TOML that reads back as `robot`, a guessed robot, with each guess explained.

    Constants that no log can tell stand as comments with numbers of no real motor. Every name of the log is
    escaped, in values as TOML does it and in comments as `shown` does it, so that the text is safe to print.
    """
    why = {(guess.key, guess.channel): guess.why for guess in guesses}
    parts = [
        _heading(log),
        _ROBOT,
        _match(log, robot, why),
        *(_motor(name, motor, why) for name, motor in robot.motors.items()),
        *(_beam(name, robot.beams[name], why) for name in robot.beams_in_order()),
        *(_limit(name, limit, why) for name, limit in robot.limits.items()),
        *(_range(name, sensor, why) for name, sensor in robot.ranges.items()),
        _launcher(robot, why),
        _contact(robot, why),
        _supply(robot, why),
        _indicator(robot, why),
        _HARNESSES,
        _left_over(log, robot, guesses),
    ]
    return "\n".join(part for part in parts if part)


_Reasons = Mapping[tuple[str, str], str]


def _heading(log: Log) -> str:
    return (
        f"# A robot file drafted from {shown(log.file)}: check every line.\n"
        "# Lines that begin with # are still to be filled in or hold the reason of a guess.\n"
    )


def _match(log: Log, robot: Robot, why: _Reasons) -> str:
    lines = ["[match]"]
    phase = robot.match.phase
    if phase is not None:
        lines.append(_entry("phase", phase, why.get(("match.phase", phase))))
        lines.append(_entry("values", robot.match.values))
    elif (numbered := likely_phase(log)) is not None:
        lines.append(f"# phase = {_value(numbered)}  # named like a phase, but only you know its numbers:")
        lines.append("# values = { disabled = [0], autonomous = [1], teleop = [2] }")
    else:
        lines.append('# phase = "mode"                # the channel that tells the phase, and its values:')
        lines.append('# values = { disabled = ["disabled"], autonomous = ["auto"], teleop = ["teleop"] }')
    return "\n".join(lines) + "\n" + _SCHEDULE


def _motor(name: str, motor: Motor, why: _Reasons) -> str:
    key = f"motors.{name}"
    lines = [_table("motors", name)]
    roles = {"current": motor.current, "command": motor.command, "speed": motor.speed}
    for role, channel in roles.items():
        if channel is not None:
            lines.append(_entry(role, channel, why.get((f"{key}.{role}", channel))))
        else:
            lines.append(f"# {role} = {_value(name + '_' + role)}")
    side = motor.current_side
    lines.append(
        _entry("current_side", side, "winding, or supply where it was measured before the controller")
    )
    return "\n".join(lines) + "\n" + _MOTOR


def _beam(name: str, beam: Beam, why: _Reasons) -> str:
    lines = [
        _table("beams", name),
        _entry("signal", beam.signal, why.get((f"beams.{name}.signal", beam.signal))),
        _entry("broken", beam.broken, "the value that means something blocks the beam"),
    ]
    if beam.station is not None:
        lines.append(_entry("station", beam.station, "order along the piece path, 1 = where pieces come in"))
    return "\n".join(lines) + "\n" + _BEAM


def _limit(name: str, limit: Limit, why: _Reasons) -> str:
    lines = [
        _table("limits", name),
        _entry("signal", limit.signal, why.get((f"limits.{name}.signal", limit.signal))),
        _entry("pressed", limit.pressed),
        _entry("motor", limit.motor) if limit.motor else '# motor = "arm"',
    ]
    if limit.stops:
        lines.append(_entry("stops", limit.stops, "the sign of the command it must stop"))
    else:
        lines.append('# stops = "negative"            # the sign of the command it must stop')
    return "\n".join(lines) + "\n"


def _range(name: str, sensor: Range, why: _Reasons) -> str:
    signal = _entry("signal", sensor.signal, why.get((f"ranges.{name}.signal", sensor.signal)))
    near = "# near = 60                     # nearer than this, as logged, means a piece is there\n"
    return f"{_table('ranges', name)}\n{signal}\n{near}"


def _launcher(robot: Robot, why: _Reasons) -> str:
    if robot.launcher is None:
        return '# [launcher]\n# motor = "launcher"            # pieces leave here\n'
    motor = robot.launcher.motor
    return f"[launcher]\n{_entry('motor', motor, why.get(('launcher.motor', motor)))}\n"


def _contact(robot: Robot, why: _Reasons) -> str:
    lines = ["[contact]"]
    for key, names in (("accelerometer", robot.contact.accelerometer), ("drive", robot.contact.drive)):
        reason = why.get((f"contact.{key}", names[0])) if names else "none guessed"
        lines.append(_entry(key, names, reason))
    return "\n".join(lines) + "\n# threshold_g = 2.0\n"


def _supply(robot: Robot, why: _Reasons) -> str:
    lines = ["[supply]"]
    for key, channel in (("voltage", robot.supply.voltage), ("current", robot.supply.current)):
        if channel is None:
            lines.append(f'# {key} = "battery_{key}"')
        else:
            lines.append(_entry(key, channel, why.get((f"supply.{key}", channel))))
    return "\n".join(lines) + "\n" + _SUPPLY


def _indicator(robot: Robot, why: _Reasons) -> str:
    if robot.indicator is None:
        return ""
    signal = robot.indicator.signal
    lines = ["[indicator]", _entry("signal", signal, why.get(("indicator.signal", signal)))]
    return "\n".join([*lines, _entry("lit", robot.indicator.lit)]) + "\n"


def _left_over(log: Log, robot: Robot, guesses: Sequence[Guess]) -> str:
    taken = {channel for _, channel in robot.references()} | {guess.channel for guess in guesses}
    left = [name for name in log.channels if name not in taken]
    if not left:
        return ""
    return "\n".join(["# Channels without a role:", *(f"#   {shown(name, 100)}" for name in left)]) + "\n"


def _table(section: str, name: str) -> str:
    return f"[{section}.{_key(name)}]"


def _entry(key: str, value: object, reason: str | None = None) -> str:
    line = f"{_key(key)} = {_value(value)}"
    return f"{line:<{_WIDTH}}  # {shown(reason, 200)}" if reason else line


def _key(name: str) -> str:
    return name if name and _BARE.issuperset(name) else _text(name)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list):
        return f"[{_joined(map(_value, value))}]"
    if isinstance(value, Mapping):
        return f"{{ {_joined(f'{_key(key)} = {_value(item)}' for key, item in value.items())} }}"
    return repr(value)


def _joined(parts: Iterable[str]) -> str:
    return ", ".join(parts)


def _text(text: str) -> str:
    return '"' + "".join(_escaped(text)) + '"'


def _escaped(text: str) -> Iterator[str]:
    """TOML basic string: quotes, backslashes and whatever is not printable are escaped."""
    for character in text:
        if character in '"\\':
            yield "\\" + character
        elif character.isprintable():
            yield character
        else:
            yield f"\\U{ord(character):08x}"

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from telemetry.errors import RobotFileError
from telemetry.robot import Chain, Robot
from telemetry.robot_file import check_against, read_robot

JAY = """\
[robot]
name = "Jay"
piece = "acorn"
capacity = 3
preload = 1
piece_length_m = 0.18

[log]
units = { arm_current = "mA" }

[match]
phase = "mode"
values = { disabled = ["disabled", 0], autonomous = ["auto", 1], teleop = ["teleop", 2] }

[motors.feed]
current = "feed_current_a"
command = "feed_duty"
mechanism = "tower"
free_speed_rpm = 5300
free_current_a = 1.8
stall_current_a = 130
stall_torque_nm = 2.4
reduction = 5.0
breaker_a = 40
breaker_curve = [[1.35, 60], [2.0, 4], [6.0, 0.5]]
chain = { sprocket_teeth = 22, pitch_in = 0.25, breaking_load_lbf = 780 }

[motors.arm]
current = "arm_current"

[beams.entry]
signal = "beam_entry"
broken = 0
station = 1
unplugged = "clear"
harness = "tower loom"

[beams.gate]
signal = "beam_gate"
broken = "blocked"
station = 3

[limits.arm_low]
signal = "limit_arm_low"
pressed = true
motor = "arm"
stops = "negative"

[ranges.hopper]
signal = "hopper_range_mm"
near = 60

[launcher]
motor = "feed"

[contact]
accelerometer = ["accel_x_g", "accel_y_g"]
drive = ["feed"]

[supply]
voltage = "battery_v"
battery = "B3"

[[harnesses]]
name = "motor bus"
kind = "chain"
order = ["feed", "arm", "entry", "arm_low"]
"""
CHANNELS = (
    "mode", "feed_current_a", "feed_duty", "arm_current", "beam_entry", "beam_gate", "limit_arm_low",
    "hopper_range_mm", "accel_x_g", "accel_y_g", "battery_v",
)  # fmt: skip


@pytest.fixture
def write(tmp_path: Path) -> object:
    def write_text(text: str | bytes) -> Path:
        path = tmp_path / "robot.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write_text


def mistakes_of(path: Path, **settings: object) -> list[str]:
    with pytest.raises(RobotFileError) as caught:
        read_robot(path, **settings)
    mistakes = list(caught.value.mistakes)
    assert all(line.isprintable() and line.startswith(str(path)) for line in mistakes)
    assert str(caught.value).startswith(mistakes[0])
    return [line.removeprefix(str(path)).removeprefix(", ").removeprefix(": ") for line in mistakes]


def test_a_right_file_becomes_a_robot(write) -> None:
    robot = read_robot(write(JAY), channels=CHANNELS)
    assert robot.robot.name == "Jay"
    assert robot.motors["feed"].breaker_curve == [(1.35, 60), (2.0, 4), (6.0, 0.5)]
    assert robot.motors["feed"].chain == Chain(sprocket_teeth=22, pitch_in=0.25, breaking_load_lbf=780)
    assert robot.beams["entry"].broken == 0
    assert robot.beams["gate"].broken == "blocked"
    assert robot.limits["arm_low"].pressed is True
    assert robot.match.values["teleop"] == ["teleop", 2]
    assert robot.harnesses[0].order[-1] == "arm_low"


def test_an_empty_file_is_a_robot_of_which_nothing_is_known(write) -> None:
    assert read_robot(write("")) == Robot()


@pytest.mark.parametrize(
    "encode", [lambda t: b"\xef\xbb\xbf" + t.encode(), lambda t: t.replace("\n", "\r\n").encode()]
)
def test_what_editors_on_other_systems_write_reads_the_same(write, encode) -> None:
    assert read_robot(write(encode(JAY))) == read_robot(write(JAY))


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[motors.feed]", "[motor.feed]", 'line 15: motor: unknown key; did you mean "motors"?'),
        ("command =", "comand =", 'line 17: motors.feed.comand: unknown key; did you mean "command"?'),
        (
            "pitch_in = 0.25",
            "pich_in = 0.25",
            'motors.feed.chain.pich_in: unknown key; did you mean "pitch_in"?',
        ),
        (
            'voltage = "b',
            'brownout_v = 6\nstation = 2\nvoltage = "b',
            "line 62: supply.station: unknown key here; it belongs in [beams.NAME]",
        ),
        ("capacity = 3", "capacity = 2.5", "line 4: robot.capacity: found 2.5, wanted a whole number"),
        ("capacity = 3", "capacity = 0", "line 4: robot.capacity: found 0, wanted at least 1"),
        ("capacity = 3", "capacity = 21", "line 4: robot.capacity: found 21, wanted at most 20"),
        ("capacity = 3", "capacity = true", "line 4: robot.capacity: found true, wanted a whole number"),
        ('name = "Jay"', "name = 7", "line 2: robot.name: found 7, wanted text in quotes"),
        ("reduction = 5.0", 'reduction = "5"', 'line 23: motors.feed.reduction: found "5", wanted a number'),
        ("reduction = 5.0", "reduction = -5", "line 23: motors.feed.reduction: found -5, wanted more than 0"),
        (
            "reduction = 5.0",
            "reduction = inf",
            "line 23: motors.feed.reduction: found inf, wanted a finite number",
        ),
        (
            "reduction = 5.0",
            "reduction = 1979-05-27",
            "line 23: motors.feed.reduction: found a date or time, wanted a number",
        ),
        (
            "[2.0, 4]",
            "[2.0]",
            "line 25: motors.feed.breaker_curve: found a list, wanted pairs [multiple of rating, seconds]",
        ),
        ("[2.0, 4]", "[1.2, 4]", "the multiples must rise from pair to pair, and the seconds must not"),
        ("[2.0, 4]", "[2.0, 61]", "the multiples must rise from pair to pair, and the seconds must not"),
        ("[2.0, 4]", '[2.0, "4"]', 'line 25: motors.feed.breaker_curve: found "4", wanted a number'),
        (
            'signal = "beam_entry"\n',
            "",
            "line 31: beams.entry.signal: is missing; wanted the name of a channel",
        ),
        (
            "broken = 0",
            "broken = [0]",
            "line 33: beams.entry.broken: found a list, wanted 0, 1, true, false or a word",
        ),
        (
            "broken = 0",
            "broken = nan",
            "line 33: beams.entry.broken: found nan, wanted 0, 1, true, false or a word",
        ),
        (
            'unplugged = "clear"',
            'unplugged = "cleared"',
            'line 35: beams.entry.unplugged: found "cleared", wanted clear or broken; did you mean "clear"?',
        ),
        (
            "{ disabled =",
            "{ disabeld =",
            'found the key "disabeld", wanted disabled or autonomous or teleop or '
            'endgame; did you mean "disabled"?',
        ),
        (
            '["feed", "arm", "entry", "arm_low"]',
            "[]",
            "line 67: harnesses.order: found an empty list, wanted at least one entry",
        ),
        ('kind = "chain"', 'kind = "ring"', 'line 66: harnesses.kind: found "ring", wanted chain or star'),
        ("[motors.arm]", "[motors]\narm = 3\n[motors.other]", "motors.arm: found 3, wanted a table"),
    ],
)
def test_a_wrong_key_type_or_value_is_named_with_line_and_remedy(write, old, new, told) -> None:
    text = JAY.replace("[motors.feed]\n", "") if new.startswith("[motors]\n") else JAY
    assert old in text
    told_lines = mistakes_of(write(text.replace(old, new, 1)))
    assert any(line.endswith(told) for line in told_lines), told_lines


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('motor = "feed"', 'motor = "flywheel"'),
        ('drive = ["feed"]', 'drive = ["left", "right"]'),
        ('motor = "arm"', 'motor = "winch"'),
        ('phase = "mode"', 'phase = "mode"\nteleop_s = 20'),
    ],
)
def test_a_device_of_which_the_file_says_no_more_is_no_mistake(write, old, new) -> None:
    assert old in JAY
    read_robot(write(JAY.replace(old, new, 1)))


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            'motor = "arm"',
            'motor = "amr"',
            'line 46: limits.arm_low.motor: no motor of this file is named "amr"; did you mean "arm"?',
        ),
        (
            'motor = "feed"',
            'motor = "fed"',
            'line 54: launcher.motor: no motor of this file is named "fed"; did you mean "feed"?',
        ),
        (
            'drive = ["feed"]',
            'drive = [\n"feed",\n"feet"]',
            'line 60: contact.drive: no motor of this file is named "feet"; did you mean "feed"?',
        ),
        (
            '"arm_low"]',
            '"arm_lo"]',
            "line 67: harnesses.order: no motor, beam, limit or range of this file is named "
            '"arm_lo"; did you mean "arm_low"?',
        ),
        (
            '"arm_low"]',
            '"feed"]',
            'line 67: harnesses.order: device "feed" is already taken above',
        ),
        (
            'signal = "beam_gate"',
            'signal = "beam_entry"',
            'line 39: beams.gate.signal: signal "beam_entry" is already taken by beams.entry.signal',
        ),
        (
            'signal = "limit_arm_low"',
            'signal = "beam_entry"',
            'line 44: limits.arm_low.signal: signal "beam_entry" is already taken by beams.entry.signal',
        ),
        (
            "[ranges.hopper]",
            "[ranges.gate]",
            'line 49: ranges.gate: name "gate" is already taken by beams.gate',
        ),
        (
            "station = 3",
            "station = 1",
            "line 41: beams.gate.station: station 1 is already taken by beams.entry.station",
        ),
        (
            'teleop = ["teleop", 2]',
            'teleop = ["Auto", 2]',
            'line 13: match.values.teleop: value "auto" is already taken by match.values.autonomous',
        ),
        (
            'phase = "mode"',
            "endgame_s = 200\nteleop_s = 135",
            "line 12: match.endgame_s: endgame_s is 200 and teleop_s is 135, but the endgame is the last "
            "part of teleop",
        ),
        (
            'battery = "B3"',
            "brownout_v = 9.5\ndip_v = 9",
            "line 62: supply.brownout_v: brownout_v is 9.5 and dip_v is 9, but a brownout is deeper "
            "than a dip",
        ),
        (
            "preload = 1",
            "preload = 4",
            "line 5: robot.preload: preload is 4 and capacity is 3, but more aboard at the "
            "start than it can carry",
        ),
        (
            "free_current_a = 1.8",
            "free_current_a = 130",
            "line 20: motors.feed.free_current_a: free_current_a is 130 "
            "and stall_current_a is 130, but a stalled motor draws more than a free one",
        ),
        (
            'arm_current = "mA"',
            'arm_current = "mAh"',
            'line 9: log.units.arm_current: unknown unit "mAh"; did you mean "mA"?',
        ),
    ],
)
def test_what_contradicts_itself_is_told(write, old, new, told) -> None:
    assert old in JAY
    assert mistakes_of(write(JAY.replace(old, new, 1))) == [told]


def test_all_mistakes_of_a_file_are_told_in_one_run_in_the_order_of_lines(write) -> None:
    text = JAY.replace("capacity = 3", "capacity = -3").replace("command =", "comand =")
    text = text.replace('motor = "arm"', 'motor = "amr"').replace('"beam_gate"', '"beam_gat"')
    told = mistakes_of(write(text), channels=CHANNELS, log_name="match-07.csv")
    assert [line.split(": ")[:2] for line in told] == [
        ["line 4", "robot.capacity"],
        ["line 17", "motors.feed.comand"],
        ["line 39", "beams.gate.signal"],
        ["line 46", "limits.arm_low.motor"],
    ]
    assert told[2].endswith('match-07.csv has no channel "beam_gat"; did you mean "beam_gate"?')


def test_the_error_itself_tells_the_first_mistake_and_how_many_more(write) -> None:
    path = write('[robot]\nnam = "Jay"\npice = "acorn"\n')
    with pytest.raises(RobotFileError) as caught:
        read_robot(path)
    assert str(caught.value) == f'{path}, line 2: robot.nam: unknown key; did you mean "name"? (and 1 more)'


def test_a_channel_that_a_log_lacks_is_told_afterwards_too(write) -> None:
    path = write(JAY)
    robot = read_robot(path)
    check_against(robot, CHANNELS, path=path)
    lacking = [name for name in CHANNELS if name not in ("mode", "accel_y_g")]
    with pytest.raises(RobotFileError) as caught:
        check_against(robot, lacking, path=path, log_name="match-02.csv")
    assert list(caught.value.mistakes) == [
        f'{path}, line 12: match.phase: match-02.csv has no channel "mode"; there is '
        '"hopper_range_mm", "feed_duty", "beam_gate", "beam_entry", "arm_current", "limit_arm_low", '
        '"feed_current_a", "accel_x_g" and 1 more',
        f'{path}, line 57: contact.accelerometer: match-02.csv has no channel "accel_y_g"; '
        'did you mean "accel_x_g"?',
    ]


def test_every_channel_the_model_refers_to_is_checked(write) -> None:
    path = write(JAY)
    robot = read_robot(path)
    with pytest.raises(RobotFileError) as caught:
        check_against(robot, [], path=path)
    told = {line.split(": ")[1] for line in caught.value.mistakes}
    assert told == {key for key, _ in robot.references()} | {"log.units.arm_current"}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"[robot]\nname = Jay\n", "line 2, column 8: not valid TOML: Invalid value; mend this line first"),
        (b"[robot]\n[robot]\n", "line 2, column 7: not valid TOML: Cannot declare ('robot',) twice; mend"),
        (b'name = "Jay', "line 1: not valid TOML: "),
        (
            b'[robot]\nname = "\x00"\n',
            "line 2, column 9: not valid TOML: Illegal character '\\x00'; mend this",
        ),
        (b'[robot]\nname = "J\xe4y"\n', "line 2: byte 0xe4 is not UTF-8 text; save the file as UTF-8"),
        (JAY.encode("utf-16"), "line 1: byte 0xff is not UTF-8 text; save the file as UTF-8"),
        (b"a = " + b"[" * 100_000, "lists or tables nested too deeply; three levels are enough"),
        (b"a = " + b"{a = " * 20_000, "lists or tables nested too deeply; three levels are enough"),
        (b"a = " + b"9" * 5_000, "not valid TOML: Exceeds the limit"),
        (b"#" * 300_000, "is longer than 262,144 bytes"),
    ],
)
def test_what_is_not_toml_is_one_line(write, text, told) -> None:
    told_lines = mistakes_of(write(text))
    assert len(told_lines) == 1
    assert told_lines[0].startswith(told)


def test_nesting_that_toml_allows_but_a_robot_file_does_not_is_one_line(write) -> None:
    assert len(mistakes_of(write("a = " + "[" * 200 + "]" * 200))) == 1
    assert len(mistakes_of(write("[robot]\nname = " + "[" * 200 + "]" * 200))) == 1
    assert len(mistakes_of(write("[" + ".".join("abcde" * 500) + "]"))) == 1


def test_the_size_limit_can_be_raised(write) -> None:
    assert read_robot(write(b"#" * 300_000), max_bytes=300_000) == Robot()


def test_names_that_would_steer_a_terminal_are_shown_harmless(write) -> None:
    path = write('[beams."\\u001b[2Jx\\u202e"]\nsignal = "\\u001b]0;x"\nbad = 1\n')
    told = mistakes_of(path, channels=["\x1b[31m", "\u2028"])
    assert len(told) == 2
    assert "\\x1b[2Jx\\u202e" in told[0]


def test_a_flood_of_mistakes_is_cut_with_the_number_left_out(write) -> None:
    told = mistakes_of(write("".join(f"k{number} = 1\n" for number in range(5_000))))
    assert len(told) == 201
    assert told[-1] == "and 4800 more mistakes"


def test_a_folder_a_pipe_and_a_missing_file_are_one_line(tmp_path) -> None:
    assert mistakes_of(tmp_path)[0].startswith("cannot be read (Is a directory)")
    assert mistakes_of(tmp_path / "none.toml")[0].startswith("cannot be read (No such file or directory)")
    os.mkfifo(tmp_path / "pipe")
    found: list[str] = []
    reader = threading.Thread(target=lambda: found.extend(mistakes_of(tmp_path / "pipe")), daemon=True)
    reader.start()
    reader.join(timeout=5)
    assert found == ["is not a regular file; name a robot file in TOML"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_without_permission_is_one_line(write) -> None:
    path = write(JAY)
    path.chmod(0)
    assert mistakes_of(path)[0].startswith("cannot be read (Permission denied)")


def test_a_path_with_a_nul_byte_is_one_line() -> None:
    with pytest.raises(RobotFileError, match="cannot be read"):
        read_robot("robot\x00.toml")

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.guessing import guess_robot, guess_roles, likely_phase
from telemetry.log import Channel, Kind, Log
from telemetry.units import UNITS
from tests.telemetry.logs import log_of, numbers, switch, words

PHASES = words("mode", ["disabled", "auto", "teleop", "disabled"], [0, 10, 25, 160])


def why(log: Log, key: str) -> str:
    return next(guess.why for guess in guess_robot(log)[1] if guess.key == key)


class TestPhase:
    @pytest.mark.parametrize(
        ("spelled", "values"),
        [
            (["disabled", "auto"], {"disabled": ["disabled"], "autonomous": ["auto"]}),
            (["DISABLED", "Autonomous"], {"disabled": ["DISABLED"], "autonomous": ["Autonomous"]}),
            (["Tele Disabled", "Tele Enabled"], {"disabled": ["Tele Disabled"], "teleop": ["Tele Enabled"]}),
            (["disabled", "enabled"], {"disabled": ["disabled"], "teleop": ["enabled"]}),
            (["disabled", "driver control", "endgame"],
             {"disabled": ["disabled"], "teleop": ["driver control"], "endgame": ["endgame"]}),
        ],
    )  # fmt: skip
    def test_is_told_by_words_in_any_spelling(self, spelled, values) -> None:
        robot, _ = guess_robot(log_of(words("anything", spelled)))
        assert robot.match.phase == "anything"
        assert robot.match.values == values

    def test_the_channel_with_more_phases_wins_over_one_mechanism_with_an_auto_mode(self) -> None:
        arm = words("arm_mode", ["auto", "manual"])
        assert guess_robot(log_of(arm, PHASES))[0].match.phase == "mode"

    def test_a_word_alone_in_a_channel_named_otherwise_is_no_phase(self) -> None:
        assert guess_robot(log_of(words("gearbox", ["automatic", "low"])))[0].match.phase is None

    def test_a_switch_named_enabled_serves(self) -> None:
        robot, _ = guess_robot(log_of(switch("robot_enabled", [0, 1, 0], labels=("false", "true"))))
        assert robot.match.values == {"disabled": [0], "teleop": [1]}

    def test_numbers_are_not_guessed_only_pointed_at(self) -> None:
        log = log_of(numbers("mode", [0, 1, 2]), switch("phase_sensor", [0, 1]))
        robot, guesses = guess_robot(log)
        assert robot.match.phase is None
        assert "mode" not in {guess.channel for guess in guesses}
        assert likely_phase(log) == "mode"


class TestMotors:
    def test_channels_with_a_common_stem_are_one_motor(self) -> None:
        names = [
            "feed_current_a",
            "feed_duty",
            "feed_rpm",
            "driveLeftCurrent [A]",
            "driveLeftCommand",
            "arm current (mA)",
        ]
        robot, _ = guess_robot(log_of(*(numbers(name, [0, 0.5, -0.5]) for name in names)))
        roles = {name: (motor.current, motor.command, motor.speed) for name, motor in robot.motors.items()}
        assert roles == {
            "feed": ("feed_current_a", "feed_duty", "feed_rpm"),
            "drive_left": ("driveLeftCurrent [A]", "driveLeftCommand", None),
            "arm": ("arm current (mA)", None, None),
        }

    def test_data_sheet_numbers_stay_unknown(self) -> None:
        motor = guess_robot(log_of(numbers("feed_current_a", [1.0])))[0].motors["feed"]
        assert (
            motor.stall_current_a
            is motor.free_speed_rpm
            is motor.breaker_a
            is motor.continuous_current_a
            is None
        )

    def test_the_whole_robots_current_is_no_motor(self) -> None:
        for name in ("total_current_a", "battery current [A]", "supply_current_a", "total current"):
            robot, _ = guess_robot(log_of(numbers(name, [1.0, 80.0])))
            assert robot.motors == {}
            assert robot.supply.current == name

    def test_a_current_before_the_controller_is_named_as_such(self) -> None:
        robot, _ = guess_robot(
            log_of(numbers("feed_supply_current_a", [1.0]), numbers("arm_current_a", [1.0]))
        )
        assert robot.motors["feed"].current_side == "supply"
        assert robot.motors["arm"].current_side == "winding"

    def test_a_wish_or_a_percentage_to_a_hundred_is_no_command(self) -> None:
        log = log_of(
            numbers("feed_current_a", [1.0]),
            numbers("feed_target_speed", [1.0]),
            numbers("feed_output", [0.0, 100.0]),
        )
        motor = guess_robot(log)[0].motors["feed"]
        assert motor.command is None
        assert motor.speed is None

    def test_launcher_and_drive_are_told_by_their_words(self) -> None:
        names = ["launcher_current_a", "drive_left_current_a", "drive_right_current_a", "arm_current_a"]
        robot, _ = guess_robot(log_of(*(numbers(name, [1.0]) for name in names)))
        assert robot.launcher is not None
        assert robot.launcher.motor == "launcher"
        assert robot.contact.drive == ["drive_left", "drive_right"]


class TestBeams:
    def test_the_rarer_level_while_enabled_is_broken(self) -> None:
        # High for 20 of the 150 s enabled, and for 70 of the 70 s disabled.
        signal = switch("beam_entry", [1, 0, 1, 0, 1], [0, 10, 30, 50, 160])
        log = log_of(PHASES, signal, numbers("battery_v", [12, 12], [0, 220]))
        robot, _ = guess_robot(log)
        assert robot.beams["entry"].broken == 1
        assert "1 is taken for broken: it is the rarer level while enabled (13% of the time)" in why(
            log, "beams.entry.signal"
        )

    def test_without_a_phase_the_whole_log_counts(self) -> None:
        robot, _ = guess_robot(log_of(switch("beam_entry", [1, 0, 1, 0, 1], [0, 10, 30, 50, 160])))
        assert robot.beams["entry"].broken == 1
        robot, _ = guess_robot(log_of(switch("beam_entry", [1, 0, 1], [0, 10, 12])))
        assert robot.beams["entry"].broken == 0

    def test_its_last_state_counts_to_the_end_of_the_log(self) -> None:
        log = log_of(switch("beam_entry", [1, 0], [0, 10]), numbers("battery_v", [12, 12], [0, 100]))
        assert guess_robot(log)[0].beams["entry"].broken == 1

    @pytest.mark.parametrize(
        ("labels", "broken"),
        [
            (("blocked", "clear"), "blocked"),
            (("clear", "blocked"), "blocked"),
            (("low", "high"), "high"),
            (("false", "true"), True),
            (("OFF", "ON"), "ON"),
            (("1x", "2x"), 1),
        ],
    )
    def test_the_level_is_spelled_as_the_log_spells_it(self, labels, broken) -> None:
        rarely_high = switch("beam_entry", [0, 1, 0, 0], [0, 10, 12, 100], labels)
        assert guess_robot(log_of(rarely_high))[0].beams["entry"].broken == broken

    def test_its_label_counts_more_than_how_long_it_lasted(self) -> None:
        mostly_blocked = switch("beam_entry", [1, 0, 1], [0, 10, 12], ("clear", "blocked"))
        log = log_of(mostly_blocked)
        assert guess_robot(log)[0].beams["entry"].broken == "blocked"
        assert "its label says so" in why(log, "beams.entry.signal")

    @pytest.mark.parametrize(
        ("spelled", "broken"),
        [
            (["open", "blocked", "open"], "blocked"),
            (["piece detected", "occupied", "free"], None),
            (["up", "down", "up"], None),
        ],
    )
    def test_a_text_of_two_words_that_tell_of_a_beam_is_one(self, spelled, broken) -> None:
        robot, _ = guess_robot(log_of(words("tower in", spelled)))
        assert [beam.broken for beam in robot.beams.values()] == ([broken] if broken else [])

    def test_a_beam_that_stuck_broken_follows_the_others(self) -> None:
        lively = [
            switch(f"beam_{name}", [1, 0, 1, 0, 1, 1], [0, 10, 12, 20, 22, 100]) for name in ("entry", "gate")
        ]
        stuck = switch("beam_middle", [1, 0], [0, 10])
        log = log_of(*lively, stuck)
        assert {name: beam.broken for name, beam in guess_robot(log)[0].beams.items()} == dict.fromkeys(
            ("entry", "middle", "gate"), 0
        )
        assert "0 is taken for broken: as for the other beams" in why(log, "beams.middle.signal")

    def test_a_lively_beam_wired_the_other_way_is_believed(self) -> None:
        entry = switch("beam_entry", [1, 0, 1, 0, 1, 1], [0, 10, 12, 20, 22, 100])
        gate = switch("beam_gate", [0, 1, 0, 1, 0, 0], [0, 10, 12, 20, 22, 100])
        robot, _ = guess_robot(log_of(entry, gate))
        assert (robot.beams["entry"].broken, robot.beams["gate"].broken) == (0, 1)

    def test_a_name_that_says_broken_counts_too(self) -> None:
        assert guess_robot(log_of(switch("beam_entry_broken", [1, 1, 0, 1])))[0].beams["entry"].broken == 1

    def test_the_order_is_that_of_the_words(self) -> None:
        beams = [switch(f"beam_{name}", [0, 1, 0]) for name in ("gate", "entry", "middle")]
        robot, _ = guess_robot(log_of(*beams))
        assert robot.beams_in_order() == ["entry", "middle", "gate"]
        assert [robot.beams[name].station for name in robot.beams_in_order()] == [1, 2, 3]

    def test_numbers_in_the_names_order_them(self) -> None:
        robot, _ = guess_robot(log_of(*(switch(f"beam{n}", [0, 1]) for n in (10, 2, 1))))
        assert robot.beams_in_order() == ["1", "2", "10"]

    def test_names_that_do_not_tell_are_ordered_by_the_first_change(self) -> None:
        late = switch("beam_a", [0, 1, 0], [0, 20, 21])
        soon = switch("beam_b", [0, 1, 0], [0, 5, 6])
        never = switch("beam_c", [0], [0])
        log = log_of(late, never, soon)
        robot, _ = guess_robot(log)
        assert [robot.beams[name].signal for name in robot.beams_in_order()] == ["beam_b", "beam_a", "beam_c"]
        assert "the order in which they change" in why(log, "beams.a.signal")

    def test_what_was_aboard_at_the_start_does_not_put_the_last_beam_first(self) -> None:
        inward = switch("beam_a", [0, 1, 0, 1, 0, 1, 0], [0, 5, 6, 7, 8, 20, 21])
        outward = switch("beam_b", [1, 0, 1, 0, 1, 0], [0, 2, 10, 11, 12, 30])
        robot, _ = guess_robot(log_of(outward, inward))
        assert [robot.beams[name].signal for name in robot.beams_in_order()] == ["beam_a", "beam_b"]

    def test_what_they_read_unplugged_stays_unknown(self) -> None:
        assert guess_robot(log_of(switch("beam_entry", [0, 1])))[0].beams["entry"].unplugged is None


class TestOtherRoles:
    def test_limits_with_the_motor_of_their_name(self) -> None:
        log = log_of(
            numbers("arm_current_a", [1.0]),
            switch("limit_arm_low", [1, 0, 0, 0]),
            switch("arm_upper_lim", [0, 0, 1, 0]),
            switch("hoist end switch", [0, 1, 0, 0]),
            switch("emergency_stop", [0, 0, 0, 1]),
        )
        robot, _ = guess_robot(log)
        told = {name: (limit.signal, limit.motor, limit.stops) for name, limit in robot.limits.items()}
        assert told == {
            "arm_low": ("limit_arm_low", "arm", "negative"),
            "arm_upper": ("arm_upper_lim", "arm", "positive"),
            "hoist": ("hoist end switch", None, None),
        }

    def test_a_mechanism_that_rests_on_a_limit_does_not_turn_its_meaning(self) -> None:
        # The arm rests low for all but 10 s and never gets to the upper end.
        low = switch("arm_low_limit", [1, 0, 1], [0, 90, 100])
        high = switch("arm_high_limit", [0], [0])
        log = log_of(low, high, numbers("battery_v", [12, 12], [0, 160]))
        robot, _ = guess_robot(log)
        assert [limit.pressed for limit in robot.limits.values()] == [1, 1]
        assert "both ends of the mechanism hold it together least" in why(log, "limits.arm_low.signal")

    def test_limits_that_read_low_when_pressed_are_told_by_both_ends_too(self) -> None:
        low = switch("arm_low_limit", [0, 1, 1], [0, 10, 100])
        high = switch("arm_high_limit", [1, 0, 1], [0, 12, 20])
        home = switch("turret_limit", [0, 1, 0], [0, 12, 20])
        robot, _ = guess_robot(log_of(low, high, home))
        assert {name: limit.pressed for name, limit in robot.limits.items()} == {
            "arm_low": 0,
            "arm_high": 0,
            "turret": 0,
        }

    def test_horizontal_axes_of_one_accelerometer(self) -> None:
        log = log_of(
            *(numbers(f"accel_{axis}_g", [0.0, 1.0]) for axis in "zyx"), numbers("imu2_accel_y_g", [0.0])
        )
        assert guess_robot(log)[0].contact.accelerometer == ["accel_x_g", "accel_y_g"]

    def test_a_channel_named_for_both_axes_is_taken_once(self) -> None:
        assert guess_robot(log_of(numbers("x_y_g", [0.0])))[0].contact.accelerometer == ["x_y_g"]

    def test_a_vertical_axis_alone_is_not_taken(self) -> None:
        assert guess_robot(log_of(numbers("accel_z_g", [0.0])))[0].contact.accelerometer == []

    def test_supply_voltage_by_name_or_as_the_only_one(self) -> None:
        log = log_of(numbers("feed_voltage_v", [3.0]), numbers("battery_v", [12.4]))
        assert guess_robot(log)[0].supply.voltage == "battery_v"
        assert guess_robot(log_of(numbers("sense_v", [12.4])))[0].supply.voltage == "sense_v"
        assert guess_robot(log_of(numbers("sense_v", [3.3])))[0].supply.voltage is None

    def test_a_light_and_a_distance(self) -> None:
        log = log_of(
            switch("status_led", [0, 1]), switch("loaded_light", [0, 1]), numbers("hopper_range_mm", [80.0])
        )
        robot, _ = guess_robot(log)
        assert robot.indicator is not None
        assert robot.indicator.signal == "loaded_light"
        assert {name: spec.signal for name, spec in robot.ranges.items()} == {"hopper": "hopper_range_mm"}
        assert robot.ranges["hopper"].near is None

    def test_a_log_without_channels_gives_a_robot_of_which_nothing_is_known(self) -> None:
        robot, guesses = guess_robot(log_of())
        assert robot.references() == []
        assert guesses == ()


_PIECES = st.sampled_from(
    [
        "beam",
        "entry",
        "gate",
        "limit",
        "arm",
        "low",
        "high",
        "feed",
        "drive",
        "left",
        "current",
        "duty",
        "rpm",
        "speed",
        "battery",
        "total",
        "range",
        "mode",
        "phase",
        "accel",
        "x",
        "y",
        "z",
        "light",
        "sensor",
        "stop",
        "voltage",
        "supply",
        "launcher",
        "",
        "-",
        ".",
        "a",
        "A",
        "[A]",
        "(mA)",
        "g",
        "mm",
        "1",
        "2",
    ]
)
_NAMES = st.one_of(st.lists(_PIECES, min_size=1, max_size=4).map("_".join), st.text(max_size=12))
_WORDS = ["disabled", "auto", "teleop", "enabled", "blocked", "clear", "true", "0", "1", "ON"]
_LABELS = st.one_of(st.sampled_from(_WORDS), st.text(max_size=6))


@st.composite
def any_channels(draw: st.DrawFn, name: str) -> Channel:
    kind = draw(st.sampled_from(Kind))
    size = draw(st.integers(0, 6))
    t_s = np.sort(draw(st.lists(st.floats(0, 300), min_size=size, max_size=size)))
    if kind is Kind.NUMBER:
        values = draw(st.lists(st.floats(width=32), min_size=size, max_size=size))
        unit = draw(st.sampled_from([None, *UNITS]))
        return Channel(name, kind, unit, t_s, np.asarray(values, dtype=float))
    most = 2 if kind is Kind.SWITCH else 4
    labels = draw(st.lists(_LABELS, min_size=2, max_size=most, unique=True))
    codes = draw(st.lists(st.integers(0, len(labels) - 1), min_size=size, max_size=size))
    return Channel(name, kind, None, t_s, np.asarray(codes, dtype=float), tuple(labels))


@st.composite
def any_logs(draw: st.DrawFn) -> Log:
    names = draw(st.lists(_NAMES, max_size=8, unique=True))
    return log_of(*(draw(any_channels(name)) for name in names), file=draw(st.text(max_size=8)))


@given(any_logs())
def test_whatever_the_log_no_channel_gets_two_roles_and_every_guess_has_a_reason(log: Log) -> None:
    robot, guesses = guess_robot(log)
    taken = Counter(channel for _, channel in robot.references())
    assert all(count == 1 and name in log.channels for name, count in taken.items())
    assert set(taken) <= {guess.channel for guess in guesses}
    assert all(guess.key and guess.why for guess in guesses)
    assert {guess.channel for guess in guesses} <= set(taken) | set(robot.motors)


def test_a_log_of_two_thousand_channels_is_no_trouble() -> None:
    channels = [switch("limit" + "." * n, [0.0, 1.0]) for n in range(190)]
    channels += [switch(f"beam{n}", [0.0, 1.0]) for n in range(600)]
    channels += [numbers(f"motor{n}_current_a", [1.0]) for n in range(1_200)]
    robot, _ = guess_robot(log_of(*channels))
    assert (len(robot.limits), len(robot.beams), len(robot.motors)) == (100, 100, 1_200)


def test_the_roles_are_those_of_the_guessed_robot() -> None:
    names = ("feed_current_a", "feed_duty", "battery_v", "accel_x_g", "launcher_current_a", "launcher")
    log = log_of(
        *(numbers(name, [0.0, 0.5, -0.5]) for name in names), switch("beam_entry", [1, 0, 1], [0, 1, 2])
    )
    assert guess_roles(log) == {channel: key for key, channel in guess_robot(log)[0].references()}

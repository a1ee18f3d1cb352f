"""A made-up Analysis of one match of Jay at the Oakmere Trial: what the pages are tried on.

Nothing here is judged by a detector: every part is written out or drawn from a seeded generator, so that
the pages can be made, and hostile names slipped in, without reading a log.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telemetry.analysis import Action, Analysis, Contact, Guess
from telemetry.finding import Check, Finding, Severity, Verdict
from telemetry.log import Channel, Dialect, Kind, Log, Repair
from telemetry.match import Match, Phase
from telemetry.records.motors import MotorTrace, MotorUse
from telemetry.records.pieces import BeamHealth, Count, Cycle, Pieces, PieceStep
from telemetry.records.sensors import SensorState, Switching
from telemetry.records.supply import Dip, Supply
from telemetry.robot import Robot
from telemetry.statistics import RateComparison

START_S = 3.1
END_S = 153.1
LOG_END_S = 162.4

ROBOT = {
    "robot": {"name": "Jay", "piece": "acorn", "capacity": 3, "preload": 1, "piece_length_m": 0.18},
    "match": {"phase": "mode"},
    "motors": {
        name: {"current": f"{name}_current_a", "command": f"{name}_duty", "mechanism": mechanism,
               "free_speed_rpm": 5300, "free_current_a": 1.8, "stall_current_a": 130, "stall_torque_nm": 2.4,
               "breaker_a": 40, "continuous_current_a": 32}
        for name, mechanism in (
            ("drive_left", "drive"), ("drive_right", "drive"), ("feed", "tower"), ("launcher", "launcher"),
            ("arm", "hoist"),
        )
    },
    "beams": {
        name: {"signal": f"beam_{name}", "broken": 0, "station": station, "unplugged": "clear",
               "harness": "tower loom"}
        for station, name in enumerate(("entry", "middle", "gate"), 1)
    },
    "limits": {
        "arm_low": {"signal": "limit_arm_low", "pressed": 1, "motor": "arm", "stops": "negative"},
        "arm_high": {"signal": "limit_arm_high", "pressed": 1, "motor": "arm", "stops": "positive"},
    },
    "launcher": {"motor": "launcher"},
    "contact": {"accelerometer": ["accel_x_g", "accel_y_g"]},
    "supply": {"voltage": "battery_v", "battery": "B3"},
    "harnesses": [
        {"name": "motor bus", "kind": "chain", "order": ["drive_left", "drive_right", "feed", "arm"]},
    ],
}  # fmt: skip

ENTRIES_S = (21.0, 23.4, 26.2, 41.5, 44.0, 58.3, 76.0, 78.9, 80.1, 97.2, 99.0, 101.7, 116.0, 118.4, 131.0)
RELEASES_S = (8.2, 33.0, 33.9, 34.9, 51.0, 52.1, 68.4, 88.0, 88.9, 90.0, 109.5, 110.4, 111.6, 125.0, 126.1)


def synthetic_analysis(*, rate_hz: float = 50.0, seed: int = 1, name: str = "match-07") -> Analysis:
    """The whole record of one match, at any sampling rate."""
    generator = np.random.default_rng(seed)
    t_s = np.arange(0.0, LOG_END_S, 1.0 / rate_hz)
    motors = _motors(t_s, generator)
    supply = _supply(t_s, motors, generator)
    beams, limits = _beams(), _limits()
    log = _log(t_s, motors, supply, name)
    return Analysis(
        log=log,
        part=log,
        robot=Robot.model_validate(ROBOT),
        match=_match(name),
        gaps_s=np.array([[95.0, 96.4]]),
        contacts=_contacts(),
        beams=beams,
        limits=limits,
        motors=motors,
        motor_use=_motor_use(motors),
        supply=supply,
        pieces=_pieces(),
        cycles=_cycles(),
        findings=_findings(),
        checks=_checks(),
        sensors=_sensors(beams, limits),
        pit_list=_pit_list(),
        settings={"version": "0.1.0", "robot_sha256": "b" * 64, "stall_share": 0.05, "stall_s": 0.25,
                  "contact_threshold_g": 2.0},
    )  # fmt: skip


def hostile_analysis() -> Analysis:
    """The same match, its names and words written by somebody who wishes the reader ill."""
    plain = synthetic_analysis()
    ran = "document.title='ran'"
    evil = f'<img src=x onerror="{ran}">\'"&\u202e\u0000</script><script>{ran}</script>'
    robot = plain.robot.model_copy(
        update={
            "robot": plain.robot.robot.model_copy(update={"name": evil, "piece": evil}),
            "beams": {
                evil if beam == "entry" else beam: sensor for beam, sensor in plain.robot.beams.items()
            },
            "motors": {evil if motor == "feed" else motor: m for motor, m in plain.robot.motors.items()},
        }
    )
    findings = tuple(
        replace(finding, subject=evil if finding.subject in ("entry", "feed") else finding.subject,
                text=f"{evil} {finding.text}", advice=f"=cmd|' /c calc'!A0 {evil}",
                evidence={evil: evil, **finding.evidence})
        for finding in plain.findings
    )  # fmt: skip
    return replace(
        plain,
        log=replace(plain.log, file=f"{evil}.csv", repairs=(Repair("unreadable_row", 1, 4, evil),)),
        robot=robot,
        match=replace(plain.match, name="evil"),
        beams={evil if beam == "entry" else beam: trace for beam, trace in plain.beams.items()},
        motors={evil if motor == "feed" else motor: trace for motor, trace in plain.motors.items()},
        sensors={evil if name == "entry" else name: state for name, state in plain.sensors.items()},
        findings=findings,
        guesses=(Guess("beams.entry.signal", evil, evil),),
        checks=(*plain.checks, Check("dropout", evil, Verdict.NOT_EVALUATED, evil)),
        pit_list=tuple(replace(action, text=evil, why=evil, cautions=(evil,)) for action in plain.pit_list),
        failures=(evil,),
        settings={**plain.settings, evil: evil},
    )


def bare_analysis() -> Analysis:
    """A match of which nothing could be told: no motors, beams, supply or pieces, and no findings."""
    plain = synthetic_analysis()
    return Analysis(
        log=plain.log,
        part=plain.part,
        robot=Robot(),
        match=replace(plain.match, source="whole log", phases=(Phase("disabled", 0.0, LOG_END_S),)),
        checks=tuple(
            Check(check.kind, check.subject, Verdict.NOT_EVALUATED, "no channel tells it")
            for check in plain.checks
        ),
        settings=plain.settings,
    )


def _match(name: str) -> Match:
    phases = (
        Phase("disabled", 0.0, 3.1), Phase("autonomous", 3.1, 18.1), Phase("teleop", 18.1, 123.1),
        Phase("endgame", 123.1, 153.1), Phase("disabled", 153.1, LOG_END_S),
    )  # fmt: skip
    return Match(name, START_S, END_S, (0.0, LOG_END_S), phases, "channel")


def _log(t_s: np.ndarray, motors: dict[str, MotorTrace], supply: Supply, name: str) -> Log:
    channels = {
        f"{motor}_current_a": Channel(f"{motor}_current_a", Kind.NUMBER, "A", t_s, trace.current_a)
        for motor, trace in motors.items()
    }
    channels["battery_v"] = Channel("battery_v", Kind.NUMBER, "V", supply.t_s, supply.voltage_v)
    repairs = (
        Repair("truncated_tail", 1, 8122, "The last line was half written and was left out.", 31),
        Repair("unreadable_cell", 3, 411, "3 cells held no number and were left out.", 3),
    )
    return Log(
        file=f"{name}.csv", sha256="a" * 64, dialect=Dialect("utf-8", ",", ".", "time_s", "s", "wide"),
        rows=len(t_s), t_s=t_s, channels=channels, repairs=repairs,
    )  # fmt: skip


def _bumps(t_s: np.ndarray, spans: list[tuple[float, float, float]], rise_s: float = 0.15) -> np.ndarray:
    level = np.zeros_like(t_s)
    for start, end, height in spans:
        inside = np.clip((t_s - start) / rise_s, 0, 1) * np.clip((end - t_s) / rise_s, 0, 1)
        level = np.maximum(level, height * inside)
    return level


def _trace(t_s: np.ndarray, spans: list[tuple[float, float, float]], generator: np.random.Generator,
           heat_scale: float, *, noise_a: float = 1.5) -> MotorTrace:  # fmt: skip
    current = np.abs(_bumps(t_s, spans) + generator.normal(0, noise_a, len(t_s)) * (_bumps(t_s, spans) > 1))
    command = np.clip(_bumps(t_s, [(a, b, 0.9) for a, b, _ in spans]), 0, 1)
    share = np.clip(command * (1 - current / 130), 0, 1)
    step_s = t_s[1] - t_s[0]
    heat = np.cumsum(current**2) * step_s * heat_scale * 1e-6
    heat = heat / (1 + 0.5 * heat)
    return MotorTrace(
        t_s=t_s, current_a=current, command=command, speed_rad_s=share * 555.0, speed_share=share, heat=heat,
        applied_v=command * 12.0, driven=command >= 0.2, speed_source="back-EMF",
    )  # fmt: skip


def _motors(t_s: np.ndarray, generator: np.random.Generator) -> dict[str, MotorTrace]:
    pushes = [(float(a), float(a) + 2.6, 18 + 30 * float(generator.random())) for a in np.arange(5, 150, 3.7)]
    right = [(a, b, height * 1.25) for a, b, height in pushes]
    feeding = [(entry - 0.4, entry + 1.2, 14.0) for entry in ENTRIES_S]
    jam = (61.4, 62.9, 108.0)
    shots = [(release - 1.5, release + 0.4, 35.0) for release in RELEASES_S]
    return {
        "drive_left": _trace(t_s, pushes, generator, 4.0),
        "drive_right": _trace(t_s, right, generator, 4.6),
        "feed": _trace(t_s, [*feeding, jam], generator, 12.0),
        "launcher": _trace(t_s, shots, generator, 3.0),
        "arm": _trace(t_s, [(5, 6.4, 22), (126, 134, 64), (136, 149, 71)], generator, 14.0),
    }


def _supply(t_s: np.ndarray, motors: dict[str, MotorTrace], generator: np.random.Generator) -> Supply:
    total = sum(trace.current_a for trace in motors.values())
    voltage = 12.7 - 0.6 * t_s / LOG_END_S - 0.019 * total + generator.normal(0, 0.02, len(t_s))
    voltage = np.where((t_s > 95.0) & (t_s < 96.4), np.nan, voltage)
    voltage = voltage - _bumps(t_s, [(61.5, 62.8, 1.9)])
    return Supply(
        t_s, voltage, 12.71, 0.0192, float(np.nanmin(voltage)), (Dip(61.62, 62.74, 8.41),), 21.04,
    )  # fmt: skip


def _switching(spans: list[tuple[float, float]]) -> Switching:
    times = [0.0, *(edge for span in sorted(spans) for edge in span)]
    on = [index % 2 == 1 for index in range(len(times))]
    return Switching(np.array(times), np.array(on), LOG_END_S, 0.0)


def _beams() -> dict[str, Switching]:
    entry = [(t, t + 0.32) for t in ENTRIES_S if not 61.3 <= t < 81.0]
    entry += [(100.0 + 0.021 * k, 100.012 + 0.021 * k) for k in range(24)]
    middle = [(t + 0.6, t + 1.4) for t in ENTRIES_S]
    gate = [(t - 0.35, t) for t in RELEASES_S]
    return {"entry": _switching(entry), "middle": _switching(middle), "gate": _switching(gate)}


def _limits() -> dict[str, Switching]:
    return {
        "arm_low": _switching([(0.5, 5.1), (6.5, 126.1)]),
        "arm_high": _switching([(133.2, 135.8), (147.9, 160.0)]),
    }


def _contacts() -> tuple[Contact, ...]:
    hits = [
        (19.4, 2.3),
        (36.8, 3.4),
        (47.1, 2.1),
        (61.24, 5.1),
        (84.2, 2.8),
        (84.9, 2.2),
        (99.9, 4.2),
        (121.0, 6.4),
    ]
    return (
        *(Contact(t, g, 0.04 + 0.02 * g, "accelerometer", 40.0 * i) for i, (t, g) in enumerate(hits)),
        Contact(140.3, None, 0.2, "drive current"),
    )


def _pieces() -> Pieces:
    events = sorted([(t, 1) for t in ENTRIES_S] + [(t, -1) for t in RELEASES_S])
    steps = [PieceStep(0.0, 1, 0.99, 1, 1)]
    aboard = 1
    for t, change in events:
        aboard = min(max(aboard + change, 0), 3)
        sure = 0.72 if 61.3 <= t < 82 else 0.98
        low, high = (max(aboard - 1, 0), min(aboard + 1, 3)) if sure < 0.9 else (aboard, aboard)
        steps.append(PieceStep(t, aboard, sure, low, high))
    health = {"entry": (BeamHealth(61.3, 81.0, "stuck_clear", 0.97),)}
    return Pieces(Count(15, 14, 16), Count(15, 14, 15), tuple(steps), ENTRIES_S, RELEASES_S, health)


def _cycles() -> tuple[Cycle, ...]:
    rows = [
        (3.1, 8.2, 1, (0.0, 0.0, 5.1, 0.0)), (8.2, 34.9, 3, (12.8, 5.2, 6.8, 1.9)),
        (34.9, 52.1, 2, (6.6, 2.5, 7.0, 1.1)), (52.1, 68.4, 1, (6.2, 0.0, 10.1, 0.0)),
        (68.4, 90.0, 3, (7.6, 4.1, 7.9, 2.0)), (90.0, 111.6, 3, (7.2, 4.5, 7.8, 2.1)),
        (111.6, 126.1, 2, (4.4, 2.4, 6.6, 1.1)), (126.1, 153.1, 1, (4.9, 0.0, 22.1, 0.0)),
    ]  # fmt: skip
    names = ("collect", "load", "carry", "release")
    return tuple(
        Cycle(number, start, end, pieces, dict(zip(names, stages, strict=True)), open=number == len(rows))
        for number, (start, end, pieces, stages) in enumerate(rows, 1)
    )


def _findings() -> tuple[Finding, ...]:
    return (
        Finding("load_share", "drive", "mechanism", 5.0, 150.0, Severity.WATCH, 0.83,
                "drive_right carries 56 % of the drive's current, drive_left 44 %.",
                "Spin both sides by hand with the robot off; look for a dragging bearing on the right.",
                {"share_right": 0.56, "share_left": 0.44, "mean_right_a": 27.4, "mean_left_a": 21.5}, 6.0),
        Finding("dropout", "entry", "beam", 61.3, 81.0, Severity.FIX, 0.97,
                "The entry beam read clear for 19.7 s from 0:58.2, 0.06 s after a hit of 5.1 g, "
                "while 3 acorns passed the middle beam.",
                "Push the entry beam's receiver plug home and tug its signal lead, watching the light.",
                {"silent_s": 19.7, "pieces_downstream": 3, "contact_before_s": 0.06, "contact_g": 5.1,
                 "state": "stuck_clear"}, 3.0),
        Finding("stall", "feed", "motor", 61.45, 62.85, Severity.FIX, 0.92,
                "The feed motor stood still for 1.4 s at 108 A.",
                "Turn the tower by hand and look for a jammed acorn or a loose belt before the next match.",
                {"stall_s": 1.4, "peak_a": 108.2, "speed_share": 0.02}, 4.0, ("hot motor",)),
        Finding("brownout", "supply", "supply", 61.62, 62.74, Severity.WATCH, 0.88,
                "The supply fell to 8.4 V for 1.1 s while the feed motor stood still.",
                "Put in a rested battery and check that both battery lugs are tight.",
                {"lowest_v": 8.41, "duration_s": 1.12, "margin_v": 1.41}, 2.0),
        Finding("log_gap", "log", "log", 95.0, 96.4, Severity.NOTE, 1.0,
                "The voltage channel holds no values for 1.4 s.", "Nothing to mend on the robot.",
                {"gap_s": 1.4}, 0.0),
        Finding("chatter", "entry", "beam", 100.0, 100.5, Severity.WATCH, 0.64,
                "The entry beam changed 48 times in 0.5 s, 0.1 s after a hit of 4.2 g.",
                "Check that emitter and receiver of the entry beam face each other and do not shake.",
                {"extra_edges": 48, "shortest_s": 0.009, "median_s": 0.0105}, 3.0),
        Finding("overheat", "arm", "motor", 139.0, 149.0, Severity.FIX, 0.71,
                "The arm motor reached 1.04 of its heat limit while raising the robot.",
                "Let the arm motor cool for 12 min; check the hoist for binding.",
                {"peak_heat": 1.04, "end_heat": 0.97}, 12.0, ("hot motor", "raised arm")),
        Finding("limit_overrun", "arm_high", "limit", 147.9, 148.6, Severity.WATCH, 0.9,
                "The arm was driven on for 0.7 s after its upper limit closed.",
                "Check the code that stops the arm at the upper limit.",
                {"driven_on_s": 0.7, "charge_c": 44.0}, 10.0, ("raised arm",)),
    )  # fmt: skip


def _checks() -> tuple[Check, ...]:
    found = [Check(finding.kind, finding.subject, Verdict.FOUND) for finding in _findings()]
    clear = [
        Check(kind, subject, Verdict.CLEAR)
        for kind, subjects in (
            ("dropout", ("middle", "gate")), ("chatter", ("middle", "gate", "arm_low", "arm_high")),
            ("stall", ("drive_left", "drive_right", "launcher", "arm")),
            ("no_draw", ("drive_left", "drive_right", "feed", "launcher", "arm")),
            ("limit_conflict", ("arm_low", "arm_high")), ("source_resistance", ("supply",)),
        )
        for subject in subjects
    ]  # fmt: skip
    not_judged = [
        Check("chain_risk", "arm", Verdict.NOT_EVALUATED, "the robot file tells no chain for it"),
        Check("friction_trend", "feed", Verdict.NOT_EVALUATED, "one match tells no trend"),
        Check("friction_trend", "arm", Verdict.NOT_EVALUATED, "one match tells no trend"),
        Check("indicator_tell", "indicator", Verdict.NOT_EVALUATED, "the robot file names no indicator"),
    ]
    return (*found, *clear, *not_judged)


def _motor_use(motors: dict[str, MotorTrace]) -> dict[str, MotorUse]:
    stalls = {"feed": (1.4, 0.3)}
    return {
        name: MotorUse(
            float(trace.current_a.max()), *stalls.get(name, (0.0, 0.0)), float(trace.heat.max()),
            float(trace.heat[-1]), float(trace.current_a.sum() * 12 * (trace.t_s[1] - trace.t_s[0]) / 3600),
        )
        for name, trace in motors.items()
    }  # fmt: skip


def _sensors(beams: dict[str, Switching], limits: dict[str, Switching]) -> dict[str, SensorState]:
    states = {name: SensorState("beam", beam.transitions, "alive") for name, beam in beams.items()}
    states["entry"] = SensorState(
        "beam", beams["entry"].transitions, "intermittent", 61.3, (58.62, 61.9),
        RateComparison(18.0, 4.1, 96.0, 0.0004),
    )  # fmt: skip
    states |= {name: SensorState("limit", limit.transitions, "alive") for name, limit in limits.items()}
    return states


def _pit_list() -> tuple[Action, ...]:
    return (
        Action("Push the entry beam's receiver plug home and tug its signal lead.", "entry",
               "It read clear for 19.7 s after a hit of 5.1 g while 3 acorns passed.", 61.3, "fix", 3.0,
               (), (1, 5)),
        Action("Turn the tower by hand; look for a jammed acorn or a loose belt.", "feed",
               "The feed motor stood still for 1.4 s at 108 A.", 61.45, "fix", 4.0, ("hot motor",), (2,)),
        Action("Let the arm motor cool and check the hoist for binding.", "arm",
               "It reached 1.04 of its heat limit while raising the robot.", 139.0, "fix", 12.0,
               ("hot motor", "raised arm: block it before reaching in"), (6,)),
        Action("Put in a rested battery; check that both lugs are tight.", "supply",
               "The supply fell to 8.4 V for 1.1 s.", 61.62, "watch", 2.0, ("battery",), (3,)),
        Action("Check the code that stops the arm at the upper limit.", "arm_high",
               "The arm was driven on for 0.7 s after the limit closed.", 147.9, "watch", 10.0,
               ("raised arm: block it before reaching in",), (7,)),
        Action("Spin both sides of the drive by hand; look for a dragging bearing on the right.", "drive",
               "drive_right carries 56 % of the current.", 5.0, "watch", 6.0, (), (0,)),
    )  # fmt: skip

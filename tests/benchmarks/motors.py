"""What motor and supply work costs beside reading the file: `python -m tests.benchmarks.motors`.

A log of 160 s at 250 Hz with 24 motors, each with current, duty and speed, twelve of them in pairs. Both are
timed in turns, warm; the medians and their ratio are printed, by the clock (on a quiet machine) and by
processor time.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter, process_time

import numpy as np
import polars as pl

import parsers
from telemetry.analysis import Analysis
from telemetry.detectors import DETECTORS
from telemetry.estimators.interruptions import find_interruptions
from telemetry.estimators.motors import trace_motors
from telemetry.estimators.protection import propose_limits
from telemetry.estimators.stalls import find_stalls
from telemetry.estimators.supply import judge_supply
from telemetry.estimators.use import sum_up_use
from telemetry.log import Log
from telemetry.match import Match, Phase
from telemetry.robot import Robot
from tests.telemetry.bench import STEP_S, Bench, draw_motors, run
from tests.telemetry.building import robot_of

MOTORS, LENGTH_S, RATE_HZ, ROUNDS = 24, 160.0, 250.0, 5
KINDS = (
    "stall", "near_stall", "no_draw", "breaker_cycling", "overheat", "breaker_risk", "chain_risk",
    "load_share", "voltage_dip", "brownout", "source_resistance",
)  # fmt: skip


def main() -> None:
    """Write the log, then time reading and judging it by turns."""
    bench = _bench()
    robot = _robot(bench)
    with tempfile.TemporaryDirectory() as folder:
        path = _write(bench, Path(folder))
        rounds = [_round(path, robot) for _ in range(ROUNDS + 1)][1:]
    for clock, place in (("by the clock", 0), ("by processor time", 1)):
        read_s, work_s = median(one[place][0] for one in rounds), median(one[place][1] for one in rounds)
        print(
            f"{clock}: reading {read_s:.3f} s, motors and supply {work_s:.3f} s, ratio {work_s / read_s:.2f}"
        )


def _round(path: Path, robot: Robot) -> list[tuple[float, float]]:
    """What reading and the work take, by the clock and in processor time (all threads)."""
    start = perf_counter(), process_time()
    log = parsers.read_log(path)
    read = perf_counter(), process_time()
    _work(log, robot)
    done = perf_counter(), process_time()
    return [(b - a, c - b) for a, b, c in zip(start, read, done, strict=True)]


def _bench() -> Bench:
    """Starts, reversals and loads, every fifth motor held for a moment."""
    rng = np.random.default_rng(1)
    steps = round(LENGTH_S / STEP_S)
    duty = np.repeat(rng.choice([0.0, 0.4, 0.7, 1.0, -0.6], (steps // 400 + 1, MOTORS)), 400, axis=0)[:steps]
    load = np.repeat(rng.uniform(0, 0.1, (steps // 400 + 1, MOTORS)), 400, axis=0)[:steps]
    load[30_000:30_750, ::5] = np.inf
    return run(draw_motors(MOTORS, seed=1), duty, load)


def _robot(bench: Bench) -> Robot:
    sheet = bench.motors
    return robot_of(
        '[supply]\nvoltage = "battery_v"\ncurrent = "total_a"\n'
        + "".join(
            f'[motors.m{number}]\ncurrent = "m{number}_a"\ncommand = "m{number}_duty"\n'
            f'speed = "m{number}_rad_s"\nmechanism = "pair {number // 2}"\n'
            f"free_speed_rpm = {sheet.free_rpm[number]}\nfree_current_a = {sheet.free_a[number]}\n"
            f"stall_current_a = {sheet.stall_a[number]}\nbreaker_a = 40\ncontinuous_current_a = 30\n"
            "heating_time_constant_s = 90\ncooling_time_constant_s = 400\n"
            "chain = { sprocket_teeth = 22, pitch_in = 0.25, breaking_load_lbf = 780 }\n"
            for number in range(MOTORS)
        )
    )


def _write(bench: Bench, folder: Path) -> Path:
    every = np.arange(0, len(bench.duty), round(1 / RATE_HZ / STEP_S))
    total_a = (bench.duty * bench.current_a)[every].sum(axis=1)
    columns = {
        "time_s": every * STEP_S,
        "battery_v": np.round(12.6 - 0.01 * total_a, 2),
        "total_a": total_a.round(1),
    }
    for number in range(MOTORS):
        columns[f"m{number}_a"] = bench.current_a[every, number].round(1)
        columns[f"m{number}_duty"] = bench.duty[every, number].round(3)
        columns[f"m{number}_rad_s"] = bench.speed[every, number].round(1)
    path = folder / "long.csv"
    pl.DataFrame(columns).write_csv(path)
    return path


def _work(log: Log, robot: Robot) -> None:
    whole = Phase("teleop", 0.0, LENGTH_S)
    match = Match("m", 0.0, LENGTH_S, (0.0, LENGTH_S), (whole,), "whole log")
    motors = trace_motors(log, robot)
    states = find_stalls(robot, motors, LENGTH_S)
    known = Analysis(
        log,
        log,
        robot,
        match,
        motors=motors,
        motor_states=states,
        motor_use=sum_up_use(robot, motors, states, match),
        interruptions=find_interruptions(robot, motors, match, LENGTH_S),
        protections=propose_limits(robot, motors, states),
        supply=judge_supply(log, robot, motors, match),
    )
    for detector in DETECTORS:
        if detector.kind in KINDS:
            for subject in detector.subjects(robot):
                detector.judge(known, subject)


if __name__ == "__main__":
    main()

"""How the motors of one mechanism share its load."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from telemetry.dataclass import dataclass
from telemetry.estimators.motors import supply_current_a
from telemetry.log import BoolArray, FloatArray
from telemetry.motor_model import RAD_S_PER_RPM, MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor, Robot
from telemetry.signals import filled, hold_s

__all__ = ["LEAST_LOAD", "LoadShare", "Pieces", "load_at", "mechanisms", "pieces_of", "share_load"]

_LIKE_DUTY = 0.05
LEAST_LOAD = 0.03
"""Of the stall current: with less on all its motors a mechanism tells nothing (our choice)."""
_CHUNK_S = 1.0
_MOVING = 0.15
_SAME_SPEED = {"channel": 0.05, "back-EMF": 0.15}
_MOSTLY_COUPLED = 0.9
_LEAST_SPREAD = 0.02
_ALWAYS_ALIKE = 0.98
_LEAST_UNLIKE = 20


@dataclass(frozen=True, eq=False)
class LoadShare:
    """The motors of a mechanism compared in pieces of time in which all were driven, alike, and loaded.

    `ratio` is each motor's current over the mean of the others', both as shares of their stall currents,
    shape (motors, k); `gives_back` how much of each piece it fed energy back and `duty` its mean duty, same
    shape; `start_s` and `end_s` have shape (k,). A piece is one second of such time, which need not be in one
    go. Motors that turn together at one speed are on one shaft: those are compared under any duties.

    `volts` is the voltage applied as a share of the nominal one, `opposed` how much of each piece the command
    had the other sign than the first motor's; both (motors, k). `coupled` says whether they are on one shaft.
    `fair` is the load that each motor should bear at the speed at which the others turn, `borne` what it
    does, with its sign; with their products, means over each piece, shape (motors, k). `own` is the load that
    its own logged speed asks of it, NaN without one. `one_command` says whether they are always driven alike.
    """

    motors: tuple[str, ...]
    start_s: FloatArray
    end_s: FloatArray
    ratio: FloatArray
    gives_back: FloatArray
    duty: FloatArray
    volts: FloatArray
    opposed: FloatArray
    coupled: bool
    fair: FloatArray
    borne: FloatArray
    fair_squared: FloatArray
    borne_squared: FloatArray
    own: FloatArray
    one_command: bool

    def duty_share(self, place: int) -> FloatArray:
        """A motor's duty over the greatest of the others', shape (k,)."""
        others = np.delete(self.duty, place, axis=0).max(axis=0)
        return np.asarray(self.duty[place] / np.maximum(others, 1e-9))

    def slope(self, place: int, pieces: BoolArray) -> float | None:
        """How much more a motor bears for each bit that it should, in some pieces; None where all are alike.

        A bad joint lowers it. A motor of other winding, as no two are quite equal, is only shifted. Spread
        over spread (reduced major axis), so that noise on both sides does not lower it.
        """
        fair, borne = self.fair[place, pieces], self.borne[place, pieces]
        fair_spread = float(np.sqrt(max(self.fair_squared[place, pieces].mean() - fair.mean() ** 2, 0.0)))
        borne_spread = float(np.sqrt(max(self.borne_squared[place, pieces].mean() - borne.mean() ** 2, 0.0)))
        return borne_spread / fair_spread if fair_spread >= _LEAST_SPREAD else None


def mechanisms(robot: Robot) -> Mapping[str, tuple[str, ...]]:
    """The motors of every mechanism that has more than one, in the robot file's order."""
    found: dict[str, tuple[str, ...]] = {}
    for name, motor in robot.motors.items():
        if motor.mechanism is not None:
            found[motor.mechanism] = (*found.get(motor.mechanism, ()), name)
    return {mechanism: names for mechanism, names in found.items() if len(names) > 1}


@dataclass(frozen=True, eq=False)
class _Together:
    """The motors of a mechanism on one clock; arrays have shape (motors, n).

    `load` is the current as a share of the stall current, `signed` the same, negative where it gives back,
    `volts` the voltage applied as a share of the nominal one, `way` the sign of the command, `own` the load
    that its own speed asks of it.
    """

    t_s: FloatArray
    duty: FloatArray
    way: FloatArray
    load: FloatArray
    signed: FloatArray
    volts: FloatArray
    own: FloatArray


@dataclass(frozen=True, eq=False)
class Pieces:
    """Seconds of usable time: its samples, and of each piece the first and last place among them, (k,)."""

    at: NDArray[np.intp]
    first: NDArray[np.intp]
    last: NDArray[np.intp]

    def mean(self, values: FloatArray) -> FloatArray:
        """Means over each piece, shape (motors, k), of values of shape (motors, n)."""
        counts = self.last - self.first + 1
        return np.asarray(np.stack([np.add.reduceat(row[self.at], self.first) for row in values]) / counts)


def pieces_of(step_s: FloatArray, usable: BoolArray) -> Pieces | None:
    """Usable samples, (n,), in pieces of one second each, which need not be in one go; None without one."""
    spent_s = np.cumsum(step_s[usable])
    whole = int(spent_s[-1] / _CHUNK_S) if len(spent_s) else 0
    if whole == 0:
        return None
    first = np.searchsorted(spent_s, np.arange(whole) * _CHUNK_S)
    used = int(np.searchsorted(spent_s, whole * _CHUNK_S))
    return Pieces(np.flatnonzero(usable)[:used], first, np.append(first[1:], used) - 1)


def share_load(robot: Robot, traces: Mapping[str, MotorTrace], names: Sequence[str]) -> LoadShare | None:
    """Compare the motors of one mechanism; None where they were never driven alike under load."""
    t_s = traces[names[0]].t_s
    together = _together(robot, traces, names, t_s)
    alike = _apart(together.duty) <= _LIKE_DUTY
    driven = np.any([_at(t_s, traces[name], traces[name].driven.astype(float)) > 0 for name in names], axis=0)
    one_way = alike & (_apart(together.way) == 0)
    one_command = float(one_way[driven].mean()) >= _ALWAYS_ALIKE if driven.any() else False
    coupled = _coupled(robot, traces, names, together)
    if coupled:
        alike = np.ones(len(t_s), dtype=bool)
    usable = traces[names[0]].driven & alike & (together.load.max(axis=0) >= LEAST_LOAD)
    step_s = np.minimum(np.diff(t_s, append=t_s[-1:]), hold_s(t_s))
    speeds = np.array([_turns_per_volt(robot.motors[name]) for name in names])
    return _by_chunk(
        tuple(names),
        together,
        step_s,
        _fair(together, speeds),
        usable,
        coupled=coupled,
        one_command=one_command,
    )


def _together(
    robot: Robot, traces: Mapping[str, MotorTrace], names: Sequence[str], t_s: FloatArray
) -> _Together:
    parts = [traces[name] for name in names]
    load = np.stack([load_at(robot, t_s, trace, name) for trace, name in zip(parts, names, strict=True)])
    back = np.stack([_at(t_s, trace, supply_current_a(trace)) < 0.0 for trace in parts])
    volts = [
        _at(t_s, trace, filled(trace.applied_v)) / robot.motors[name].nominal_v
        for trace, name in zip(parts, names, strict=True)
    ]
    duty = np.stack([_at(t_s, trace, np.abs(trace.command)) for trace in parts])
    way = np.stack([np.sign(_at(t_s, trace, trace.command)) for trace in parts])
    own = np.stack([_at(t_s, traces[name], _own_load(robot.motors[name], traces[name])) for name in names])
    return _Together(t_s, duty, way, load, np.where(back, -load, load), np.stack(volts), own)


def _apart(rows: Sequence[FloatArray] | FloatArray) -> FloatArray:
    """The greatest less the least of several motors at each instant, shape (n,)."""
    return np.asarray(reduce(np.maximum, rows) - reduce(np.minimum, rows))


def _own_load(motor: Motor, trace: MotorTrace) -> FloatArray:
    """Its voltage less its own back-EMF, as a share of the nominal one; NaN where no speed is logged."""
    model = MotorModel.from_motor(motor)
    if model is None or trace.speed_source != "channel":
        return np.full(len(trace.t_s), np.nan)
    back_emf_v = model.k_v_s_per_rad * trace.speed_rad_s
    return np.asarray((filled(trace.applied_v) - back_emf_v) / model.nominal_v)


def _at(t_s: FloatArray, trace: MotorTrace, values: FloatArray) -> FloatArray:
    return values if trace.t_s is t_s else np.interp(t_s, trace.t_s, values)


def load_at(robot: Robot, t_s: FloatArray, trace: MotorTrace, name: str) -> FloatArray:
    """Current at each instant as a share of the stall current, or of 100 A where that is not known, (n,)."""
    return _at(t_s, trace, trace.current_a) / (robot.motors[name].stall_current_a or 100.0)


def _turns_per_volt(motor: Motor) -> float:
    """How fast its output turns without load, 1 where the data sheet is not known."""
    return motor.free_speed_rpm / motor.reduction if motor.free_speed_rpm is not None else 1.0


def _fair(together: _Together, speeds: FloatArray) -> FloatArray:
    """The load each should bear: its voltage less the back-EMF that the others' speed would make in it."""
    turns = (together.volts - together.signed) * speeds[:, None]
    others = (turns.sum(axis=0) - turns) / (len(turns) - 1)
    return np.asarray(together.volts - others / speeds[:, None])


def _coupled(
    robot: Robot, traces: Mapping[str, MotorTrace], names: Sequence[str], together: _Together
) -> bool:
    """Whether they turn in one proportion wherever they move, as on one shaft, whatever their duties.

    Where their duties differ for long enough it must be so there too: a drive mostly goes straight.
    """
    sources = {traces[name].speed_source for name in names}
    if any(robot.motors[name].free_speed_rpm is None for name in names) or len(sources) != 1:
        return False
    source = sources.pop()
    if source == "none":
        return False
    free = [_turns_per_volt(robot.motors[name]) * RAD_S_PER_RPM for name in names]
    turns = [
        _at(together.t_s, traces[name], np.abs(traces[name].speed_rad_s)) / robot.motors[name].reduction
        for name in names
    ]
    moving = np.flatnonzero(
        np.all([one > _MOVING * most for one, most in zip(turns, free, strict=True)], axis=0)
    )
    if not len(moving):
        return False
    moved = [one[moving] for one in turns]
    like = [moved[0], *(one / np.median(one / moved[0]) for one in moved[1:])]
    apart = _apart(like) / (sum(like) / len(like))
    unlike = _apart(together.duty)[moving] > _LIKE_DUTY
    parts = [apart, apart[unlike]] if np.count_nonzero(unlike) >= _LEAST_UNLIKE else [apart]
    return all(float((part <= _SAME_SPEED[source]).mean()) >= _MOSTLY_COUPLED for part in parts)


def _by_chunk(
    names: tuple[str, ...],
    together: _Together,
    step_s: FloatArray,
    fair: FloatArray,
    usable: BoolArray,
    *,
    coupled: bool,
    one_command: bool,
) -> LoadShare | None:
    pieces = pieces_of(step_s, usable)
    if pieces is None:
        return None
    mean = pieces.mean
    carried = mean(together.load)
    others = (carried.sum(axis=0) - carried) / (len(names) - 1)
    return LoadShare(
        motors=names,
        start_s=together.t_s[pieces.at[pieces.first]],
        end_s=together.t_s[pieces.at[pieces.last]],
        ratio=carried / np.maximum(others, 1e-9),
        gives_back=mean((together.signed < 0).astype(float)),
        duty=mean(together.duty),
        volts=mean(together.volts),
        opposed=mean((together.way * together.way[:1] < 0).astype(float)),
        coupled=coupled,
        fair=mean(fair),
        borne=mean(together.signed),
        fair_squared=mean(fair**2),
        borne_squared=mean(together.signed**2),
        own=mean(together.own),
        one_command=one_command,
    )

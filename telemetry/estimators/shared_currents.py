"""How the motors of one mechanism share its load by their currents alone, where no command is logged.

Motors on one shaft under one command draw currents that rise and fall together. One behind a bad joint draws
less than the others in proportion; what they draw less by a fixed amount may be a gear or a duty of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from telemetry.dataclass import dataclass
from telemetry.estimators.load_share import LEAST_LOAD, load_at, pieces_of
from telemetry.log import BoolArray, FloatArray
from telemetry.records.motors import MotorTrace
from telemetry.robot import Robot
from telemetry.signals import hold_s

__all__ = ["CurrentShare", "share_currents"]

_TOGETHER, _IN_PROPORTION = 0.95, 0.75
_LEAST_PIECES = 10
_LEAST_SPREAD = 0.1
_FAIR = 0.8


@dataclass(frozen=True, eq=False)
class CurrentShare:
    """The motors of a mechanism in pieces of one second in which one of them was loaded.

    `load` is each motor's mean current as a share of its stall current and `ratio` that over the mean of the
    others', shape (motors, k); `start_s` and `end_s` have shape (k,).
    """

    motors: tuple[str, ...]
    start_s: FloatArray
    end_s: FloatArray
    load: FloatArray
    ratio: FloatArray

    def goes_with_others(self, place: int, pieces: BoolArray) -> bool:
        """Whether a motor's load rises and falls with the mean of the others' in some pieces."""
        return _together(self.load[place, pieces], self._others(place)[pieces])

    def in_proportion(self, place: int, pieces: BoolArray) -> bool:
        """Whether it bears a smaller share of any load, rather than a fixed amount less, by their spreads."""
        own, others = self.load[place, pieces], self._others(place)[pieces]
        return bool(own.std() < _IN_PROPORTION * others.std())

    def shares_usually(self, place: int) -> bool:
        """Whether in enough pieces it bears its part, and goes with the others there."""
        fair = np.asarray(self.ratio[place] >= _FAIR)
        return self.goes_with_others(place, fair)

    def others_agree(self, place: int, pieces: BoolArray) -> bool:
        """Whether the others, two at least, share fairly among each other in some pieces."""
        rest = [self.load[other, pieces] for other in range(len(self.motors)) if other != place]
        alike = all(_together(rest[0], one) and one.mean() >= _FAIR * rest[0].mean() for one in rest[1:])
        return len(rest) > 1 and alike

    def _others(self, place: int) -> FloatArray:
        return np.asarray(np.delete(self.load, place, axis=0).mean(axis=0))


def share_currents(
    robot: Robot, traces: Mapping[str, MotorTrace], names: Sequence[str]
) -> CurrentShare | None:
    """Compare the currents of the motors of one mechanism; None where none was loaded for long enough."""
    t_s = traces[names[0]].t_s
    load = np.stack([load_at(robot, t_s, traces[name], name) for name in names])
    step_s = np.minimum(np.diff(t_s, append=t_s[-1:]), hold_s(t_s))
    pieces = pieces_of(step_s, load.max(axis=0) >= LEAST_LOAD)
    if pieces is None or len(pieces.first) < _LEAST_PIECES:
        return None
    carried = pieces.mean(load)
    others = (carried.sum(axis=0) - carried) / (len(names) - 1)
    return CurrentShare(
        motors=tuple(names),
        start_s=t_s[pieces.at[pieces.first]],
        end_s=t_s[pieces.at[pieces.last]],
        load=carried,
        ratio=carried / np.maximum(others, 1e-9),
    )


def _together(one: FloatArray, other: FloatArray) -> bool:
    if len(one) < _LEAST_PIECES or min(one.std(), other.std()) < _LEAST_SPREAD * max(other.mean(), 1e-9):
        return False
    return float(np.corrcoef(one, other)[0, 1]) >= _TOGETHER

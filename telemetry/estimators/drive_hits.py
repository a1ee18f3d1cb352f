"""Whether a jolt that a drive's motors do not explain is a hit, or wheels that slip, or a turn."""

from __future__ import annotations

import numpy as np

from telemetry.analysis import Contact
from telemetry.dataclass import dataclass
from telemetry.estimators.drive_balance import balance_width_s
from telemetry.log import BoolArray, FloatArray

__all__ = ["USUAL_WIDTH_S", "Driven", "is_hit", "step_size", "within"]

USUAL_WIDTH_S = 0.06
_LONGEST_S = 0.2
"""Bumpers meet for about a tenth of a second (common practice, no source); a seldom read one looks longer."""
_SLIPS_S = 0.45
"""Time that tyres need to take up a change as large as the free speed: 4.5 m/s at 1 g (our choice)."""
_JUST_S, _LONG_BEFORE_S = (0.03, 0.1), 0.3
_CALM = 0.6
_QUIET_S, _SETTLED_S = (0.3, 0.2), (0.3, 0.4)
_STAYS, _STAYS_SLIPPING, _STAYS_TOGETHER = 0.5, 0.85, 0.7
"""How much of the greatest change must be left when all is over; more where wheels may have slipped, less of
it where both sides changed alike, since mostly those of one side slip."""
_AHEAD, _AGAINST, _TOGETHER = 0.4, -0.5, 0.9
_SLIPPED_S, _REGAINED = 0.8, 0.4
"""Wheels slip for most of a second (our choice): what is then near where it was has gripped again."""


@dataclass(frozen=True, eq=False)
class Driven:
    """A drive in short: `unexplained` and `current_a` have shape (sides, n), the others (n,).

    `steady` says where the commands are, `heavy` where the motors pull so hard that wheels may slip.
    """

    t_s: FloatArray
    unexplained: FloatArray
    current_a: FloatArray
    steady: BoolArray
    heavy: BoolArray


def is_hit(driven: Driven, jolt: Contact) -> bool:
    """Whether a jolt is a hit: brief, out of the calm, and the robot is faster or slower afterwards.

    Wheels that slip wander before, and come back. They run ahead with their current, so a jolt with a heavy
    current must leave more behind than one against it. One that only turns the robot counts while the
    commands are steady and the current is light: tyres that turn on the spot scrub in ways no motor explains.
    """
    start_s, over_s = jolt.t_s, jolt.t_s + jolt.duration_s
    steps, step = _steps(driven, start_s, over_s), step_size(driven, jolt)
    if jolt.duration_s > _longest_s(driven, step) or _wandered(driven, start_s) > _CALM * step:
        return False
    inside = within(driven.t_s, start_s, over_s)
    heavy = bool(driven.heavy[inside].any())
    turns_only = abs(float(steps.mean())) < _AHEAD * step
    if turns_only and (heavy or not driven.steady[inside].all()):
        return False
    together = abs(float(steps.mean())) > _TOGETHER * step
    least = _STAYS
    if heavy and not _goes_against(driven, start_s, steps):
        least = _STAYS_TOGETHER if together else _STAYS_SLIPPING
    return _stays(driven, start_s, over_s) >= least and not _grips_again(driven, start_s, over_s)


def step_size(driven: Driven, jolt: Contact) -> float:
    """How much the speed differs just after a jolt from just before, as a share of the free speed."""
    return float(np.sqrt(np.mean(_steps(driven, jolt.t_s, jolt.t_s + jolt.duration_s) ** 2)))


def within(t_s: FloatArray, start_s: float, end_s: float) -> slice:
    """The readings of an interval, at least one."""
    first, last = np.searchsorted(t_s, (start_s, end_s)).tolist()
    first = min(first, len(t_s) - 1)
    return slice(first, max(min(last, len(t_s) - 1), first) + 1)


def _steps(driven: Driven, start_s: float, over_s: float) -> FloatArray:
    """How much faster each side is just after a jolt than just before, shape (sides,)."""
    before = within(driven.t_s, start_s - _JUST_S[1], start_s - _JUST_S[0])
    after = within(driven.t_s, over_s + _JUST_S[0], over_s + _JUST_S[1])
    unexplained = driven.unexplained
    return np.asarray(np.median(unexplained[:, after], axis=1) - np.median(unexplained[:, before], axis=1))


def _longest_s(driven: Driven, step: float) -> float:
    """The longest that a hit can look: the wheels slip on until they turn with the robot again."""
    read_s = balance_width_s(driven.t_s) - USUAL_WIDTH_S
    return _LONGEST_S + _SLIPS_S * step + read_s + 1e-9


def _wandered(driven: Driven, start_s: float) -> float:
    """How far the unexplained speed moved about in the moments before a jolt."""
    before = driven.unexplained[:, within(driven.t_s, start_s - _LONG_BEFORE_S, start_s - _JUST_S[0])]
    return float(np.sqrt(np.mean(np.ptp(before, axis=1) ** 2)))


def _goes_against(driven: Driven, start_s: float, steps: FloatArray) -> bool:
    """Whether the sides were pushed against the way in which their motors pulled."""
    around = within(driven.t_s, start_s - _JUST_S[1] / 2, start_s + _JUST_S[1] / 2)
    pulled_a = driven.current_a[:, around].mean(axis=1)
    size = float(np.linalg.norm(steps) * np.linalg.norm(pulled_a))
    return float(steps @ pulled_a) < _AGAINST * size


def _stays(driven: Driven, start_s: float, over_s: float) -> float:
    """How much of the greatest change around a jolt is left when all has settled, 0 to 1."""
    before = within(driven.t_s, start_s - _QUIET_S[0], start_s - _QUIET_S[1])
    step = _settled(driven, over_s) - np.median(driven.unexplained[:, before], axis=1)
    return float(np.linalg.norm(step)) / _most(driven, start_s, over_s)


def _grips_again(driven: Driven, start_s: float, over_s: float) -> bool:
    """Whether a jolt takes the wheels back to where they had been before they slipped away."""
    before = driven.unexplained[:, within(driven.t_s, start_s - _SLIPPED_S, start_s - _QUIET_S[1])]
    apart = np.linalg.norm(before - _settled(driven, over_s)[:, None], axis=0)
    return float(apart.min()) < _REGAINED * _most(driven, start_s, over_s)


def _settled(driven: Driven, over_s: float) -> FloatArray:
    """The unexplained speed when all is over, shape (sides,)."""
    after = within(driven.t_s, over_s + _SETTLED_S[0], over_s + _SETTLED_S[1])
    return np.asarray(np.median(driven.unexplained[:, after], axis=1))


def _most(driven: Driven, start_s: float, over_s: float) -> float:
    """The greatest change of the unexplained speed around a jolt, over both sides, above zero."""
    around = within(driven.t_s, start_s - _QUIET_S[0], over_s + _SETTLED_S[1])
    return max(float(np.linalg.norm(np.ptp(driven.unexplained[:, around], axis=1))), 1e-12)

"""The figures that are followed from match to match: faults, running currents, resistances, cycle times."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from statistics import median

from telemetry.dataclass import dataclass
from telemetry.match_facts import MatchFacts, MotorFacts

__all__ = ["Series", "fault_count", "series_of"]

_LEAST_FAULTS = 3
_USUAL_MATCH_S = 150.0
_LEAST_DUTY_TIME_S = 2.0
_MOST_SPREAD = 0.25
"""A motor whose lower currents lie farther apart within a match has no floor of friction (our choice)."""


@dataclass(frozen=True)
class Series:
    """One figure by match; None where a match does not tell it. `unit` is spelled after the figure.

    A series of counts also holds the counts themselves, and what each was counted over: the seconds played,
    or the hits (and one more, for those not seen) where most of the faults began just after one (`by_hits`).
    `suspected` of each match's count were too weakly shown for a finding.
    """

    kind: str
    subject: str
    role: str
    unit: str
    values: tuple[float | None, ...]
    counts: tuple[int | None, ...] = ()
    exposures: tuple[float, ...] = ()
    by_hits: bool = False
    suspected: tuple[int, ...] = ()


def series_of(facts: Sequence[MatchFacts], batteries: Sequence[str | None]) -> list[Series]:
    """Every figure that is followed from match to match, in a fixed order."""
    cycles = tuple(one.summary.median_cycle_s for one in facts)
    found = [*_fault_series(facts), *_friction_series(facts), *_battery_series(facts, batteries)]
    return [*found, Series("cycle_time", "robot", "robot", "s", cycles)]


def _fault_series(facts: Sequence[MatchFacts]) -> Iterator[Series]:
    """Faults a usual match, of what was met at least three times; a match's length is allowed for.

    Dropouts that are only suspected count too where one was found: what is too weak for one match may show in
    many, and what is suspected by mistake is so in the first match as in the last.
    """
    roles = {(f.kind, f.subject): f.role for one in facts for f in one.faults}
    for (kind, subject), role in sorted(roles.items()):
        counts = [fault_count(one, kind, subject, role) for one in facts]
        told = [f for one in facts if (f := one.told(kind, subject))]
        found, suspected = sum(f.count for f in told), [_suspected(one, kind, subject) for one in facts]
        if kind != "friction_trend" and found and found + sum(suspected) >= _LEAST_FAULTS:
            usual_s = median([one.active_s for one in facts if one.active_s > 0] or [_USUAL_MATCH_S])
            values = tuple(_per_match(c, one, usual_s) for c, one in zip(counts, facts, strict=True))
            most_after_hits = 2 * sum(f.after_hits for f in told) > found
            by_hits = most_after_hits and all(one.contacts > 0 for one in facts)
            exposures = tuple(one.contacts + 1.0 if by_hits else one.active_s for one in facts)
            yield Series(
                kind, subject, role, "a match", values, tuple(counts), exposures, by_hits, tuple(suspected)
            )


def _suspected(one: MatchFacts, kind: str, subject: str) -> int:
    told = one.told(kind, subject)
    return told.suspected if told else 0


def fault_count(one: MatchFacts, kind: str, subject: str, role: str) -> int | None:
    """Faults of a match, suspected ones counted; None where they could not be judged.

    A harness has no check of its own: it is clear where its devices could be judged.
    """
    told = one.told(kind, subject)
    if told is None and role == "harness" and any(f.kind == kind for f in one.faults):
        return 0
    return None if told is None else told.count + told.suspected


def _per_match(count: int | None, one: MatchFacts, usual_s: float) -> float | None:
    if count is None or one.active_s < 0.2 * usual_s:
        return None
    return count * usual_s / one.active_s if abs(one.active_s / usual_s - 1) > 0.1 else float(count)


def _friction_series(facts: Sequence[MatchFacts]) -> Iterator[Series]:
    """Motors that have a floor of friction; a drive's current tells of its driver, and is left out."""
    for name in sorted({name for one in facts for name in one.motors}):
        motors = [one.motors.get(name) for one in facts]
        values = _running_index(motors) if _spread_share(motors) <= _MOST_SPREAD else None
        if values:
            yield Series("friction_trend", name, "motor", "A", values)


def _spread_share(motors: Sequence[MotorFacts | None]) -> float:
    """How much the running current varies within one match, as a share, in the median over all duties."""
    running = [r for motor in motors if motor for r in motor.running if r.time_s >= _LEAST_DUTY_TIME_S]
    return median([r.spread_a / r.current_a for r in running if r.current_a > 0] or [0.0])


def _running_index(motors: Sequence[MotorFacts | None]) -> tuple[float | None, ...] | None:
    """Running current of one motor by match at a like command, in amperes; None where there is none.

    Duties are compared each with itself: a match's index is the mean of its ratios to the duty's median over
    the matches, weighted by time, times the current at the duty that ran longest.
    """
    by_match = [
        {r.duty_tenths: (r.current_a, r.time_s) for r in motor.running if r.time_s >= _LEAST_DUTY_TIME_S}
        if motor
        else {}
        for motor in motors
    ]
    usual: dict[int, float] = {}
    time_s: dict[int, float] = {}
    for duty in sorted({duty for one in by_match for duty in one}):
        met = [one[duty] for one in by_match if duty in one]
        typical = median(current for current, _ in met)
        if len(met) >= max(3, len(motors) / 2) and typical > 0:
            usual[duty], time_s[duty] = typical, sum(lasted for _, lasted in met)
    if not usual:
        return None
    scale = usual[max(time_s, key=lambda duty: time_s[duty])]
    return tuple(_index(one, usual, scale) for one in by_match)


def _index(
    running: Mapping[int, tuple[float, float]], usual: Mapping[int, float], scale: float
) -> float | None:
    shared = [(running[d][0] / usual[d], running[d][1]) for d in usual if d in running]
    total_s = sum(lasted for _, lasted in shared)
    return scale * sum(ratio * lasted for ratio, lasted in shared) / total_s if total_s > 0 else None


def _battery_series(facts: Sequence[MatchFacts], batteries: Sequence[str | None]) -> Iterator[Series]:
    for battery in sorted({name or "" for name in batteries}):
        values = tuple(
            one.resistance_ohm * 1000 if one.resistance_ohm and (name or "") == battery else None
            for one, name in zip(facts, batteries, strict=True)
        )
        yield Series("source_resistance", battery or "supply", "supply", "mΩ", values)

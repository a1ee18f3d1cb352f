"""Motors of one mechanism that do not share its load: one open, one behind a bad joint, two that fight."""

from __future__ import annotations

import numpy as np

from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.harnesses import explained_by_harness
from telemetry.estimators.load_share import LoadShare, mechanisms, share_load
from telemetry.estimators.shared_currents import CurrentShare, share_currents
from telemetry.finding import Finding, Severity
from telemetry.log import BoolArray
from telemetry.robot import Robot
from telemetry.wording import HANDS_IN, when

__all__ = ["LOAD_SHARE"]

_OPEN, _WEAK, _PLAINLY_WEAK = 0.1, 0.8, 0.72
_JOINT_SLOPE, _LEAST_SLOPE, _LEAST_MISSING = 0.75, 0.8, 0.08
"""Two good motors of one kind differ by some per cent in free speed: a shift, not a slope (our choice)."""
_LESS_DUTY, _LITTLE = 0.93, 0.6
_DRAGS, _HOLDS, _ALWAYS = 0.5, 0.6, 0.8
_FIGHTS = 0.6
_LOADED_PARTNER = 5.0
_LEAST_PIECES = {"open": 2, "bad joint": 8, "fighting": 3, "less duty": 3}
_LEAST_BY_CURRENT = 10
_MOSTLY = {"open": 0.75, "bad joint": 0.75, "fighting": 0.5, "less duty": 0.5}
_WORDS = {
    "open": "carried nothing of the load of mechanism {mechanism}",
    "bad joint": "carried only {ratio:.0%} of what its partner did in mechanism {mechanism}",
    "less duty": "was driven at only {duty:.0%} of the duty of its partner in mechanism {mechanism}, and "
    "left the load to it",
    "fighting": "was dragged by its partner in mechanism {mechanism}, the two fighting each other",
}
_ADVICE = {
    "open": "Tug the leads of motor {motor}; look at its breaker and controller: its partner carries all.",
    "bad joint": "Look for a loose lug or a burnt contact on the leads of motor {motor}; run it free too.",
    "less duty": "Give the motors of {mechanism} one command: {motor} gets less, and its partner drives it.",
    "fighting": "Compare gears, duty and direction of the motors of {mechanism}: {motor} is turned by it.",
}


@dataclass(frozen=True)
class _Uneven:
    """One motor's part in uneven sharing: which, why, and in which pieces of the comparison."""

    motor: str
    cause: str
    pieces: BoolArray
    ratio: float


def _judge(known: Analysis, subject: str) -> Judgement:
    names = mechanisms(known.robot)[subject]
    if any(name not in known.motors for name in names):
        return NotEvaluated("the current of one of its motors is not in the log")
    if any(not np.isfinite(known.motors[name].command).any() for name in names):
        return _judge_by_currents(known, subject, names)
    shared = share_load(known.robot, known.motors, names)
    if shared is None:
        return NotEvaluated("its motors were never driven alike under load")
    uneven = [found for place in range(len(names)) if (found := _uneven(shared, place)) is not None]
    uneven = [found for found in uneven if not _lost_with_its_harness(known, shared, found)]
    if any(found.cause in ("fighting", "less duty") for found in uneven):
        uneven = [found for found in uneven if found.cause != "bad joint"]
    return [_finding(known, subject, shared, found) for found in uneven]


def _judge_by_currents(known: Analysis, subject: str, names: tuple[str, ...]) -> Judgement:
    """Without commands, as far as currents that rise and fall together go."""
    unlogged = "the command of one of its motors is not logged"
    shared = share_currents(known.robot, known.motors, names)
    if shared is None:
        return NotEvaluated(unlogged)
    uneven = [found for place in range(len(names)) if (found := _uneven_current(shared, place)) is not None]
    if not uneven:
        apart = [place for place in range(len(names)) if not shared.shares_usually(place)]
        if apart:
            ratio, least = min((float(np.median(shared.ratio[place])), place) for place in apart)
            return NotEvaluated(
                f"{unlogged}, and the currents do not rise and fall together: {names[least]} draws "
                f"{ratio:.0%} of what the others do"
            )
    return [
        _finding(known, subject, shared, found)
        for found in uneven
        if not _lost_with_its_harness(known, shared, found)
    ]


def _uneven_current(shared: CurrentShare, place: int) -> _Uneven | None:
    """A motor that draws less of any load than the others, or nothing while they share it."""
    ratio = shared.ratio[place]
    pieces = _lasting(np.asarray(ratio < _OPEN), _LEAST_BY_CURRENT, _MOSTLY["open"])
    if pieces is not None and (shared.others_agree(place, pieces) or shared.shares_usually(place)):
        return _Uneven(shared.motors[place], "open", pieces, float(np.median(ratio[pieces])))
    pieces = _lasting(np.asarray(ratio < _PLAINLY_WEAK), _LEAST_BY_CURRENT, _MOSTLY["bad joint"])
    if (
        pieces is None
        or not shared.goes_with_others(place, pieces)
        or not shared.in_proportion(place, pieces)
    ):
        return None
    return _Uneven(shared.motors[place], "bad joint", pieces, float(np.median(ratio[pieces])))


def _lost_with_its_harness(known: Analysis, shared: LoadShare | CurrentShare, found: _Uneven) -> bool:
    """Whether it carries nothing because its harness lost it: then that is told in its place."""
    start_s, end_s = float(shared.start_s[found.pieces][0]), float(shared.end_s[found.pieces][-1])
    return found.cause == "open" and explained_by_harness(known, found.motor, start_s, end_s)


def _uneven(shared: LoadShare, place: int) -> _Uneven | None:
    ratio = shared.ratio[place]
    alone = shared.gives_back.mean(axis=0) < _FIGHTS
    less = (shared.duty_share(place) < _LESS_DUTY) & (ratio < _LITTLE)
    back = (shared.gives_back[place] >= _FIGHTS) & alone & (ratio < _LOADED_PARTNER)
    for cause, flagged in (
        ("open", (ratio < _OPEN) & ~less & ~_dragged(shared, place)),
        ("fighting", back | _opposed(shared, place)),
        ("less duty", less),
        ("bad joint", (ratio < _WEAK) & ~back & ~less),
        ("fighting", _dragged(shared, place)),
    ):
        pieces = _lasting(flagged, _LEAST_PIECES[cause], _MOSTLY[cause])
        excused = (
            cause == "bad joint"
            and pieces is not None
            and (_only_shifted(shared, place, pieces) or _slower_asks(shared, place, pieces))
        )
        if pieces is not None and not excused:
            return _Uneven(shared.motors[place], cause, pieces, float(np.median(ratio[pieces])))
    return None


def _opposed(shared: LoadShare, place: int) -> BoolArray:
    """Where it is commanded the other way than the first motor, and both all but stand whenever it is."""
    opposed = np.asarray(shared.opposed[place] >= _FIGHTS)
    pairs = np.stack((shared.borne[0], shared.borne[place])) / np.maximum(shared.volts[[0, place]], 1e-9)
    stand = np.asarray(np.abs(pairs).min(axis=0) >= _HOLDS)
    if not opposed.any() or float(stand[opposed].mean()) < _ALWAYS:
        return np.zeros(len(opposed), dtype=bool)
    return np.asarray(opposed & stand, dtype=np.bool_)


def _dragged(shared: LoadShare, place: int) -> BoolArray:
    """Where it bears little, and less by a fixed part of its voltage, as with a wrong gear on one shaft."""
    missing = shared.fair[place] - shared.borne[place]
    dragged = np.asarray((shared.ratio[place] < _DRAGS) & (missing >= _LEAST_MISSING * shared.volts[place]))
    slope = shared.slope(place, dragged) if dragged.any() else None
    if slope is None and dragged.any():
        slope = shared.slope(place, np.ones(len(dragged), dtype=bool))
    plain = (shared.coupled or shared.one_command) and slope is not None and slope > _LEAST_SLOPE
    return dragged if plain else np.zeros(len(dragged), dtype=bool)


def _slower_asks(shared: LoadShare, place: int, pieces: BoolArray) -> bool:
    """Whether its own speed asks no more of it than it bears, beside the others, as in a turn of the drive.

    Told of motors on different shafts whose speeds are logged.
    """
    if shared.coupled or shared.one_command or not np.isfinite(shared.own[:, pieces]).all():
        return False
    met = shared.borne[:, pieces].mean(axis=1) / np.maximum(shared.own[:, pieces].mean(axis=1), 1e-9)
    others = np.delete(met, place)
    return bool(met[place] > _WEAK * float(np.median(others)))


def _only_shifted(shared: LoadShare, place: int, pieces: BoolArray) -> bool:
    """Whether it bears less by a fixed amount, as two windings that differ a little do, not in proportion."""
    slope = shared.slope(place, pieces)
    if slope is not None:
        return slope > _JOINT_SLOPE
    missing = (shared.fair[place] - shared.borne[place])[pieces]
    weak = float(np.median(shared.ratio[place][pieces])) < _PLAINLY_WEAK
    return not weak or float(np.median(missing)) < _LEAST_MISSING


def _lasting(flagged: BoolArray, least: int, mostly: float) -> BoolArray | None:
    """The flagged pieces, where there are enough and from first to last few are otherwise; else None."""
    at = np.flatnonzero(flagged)
    if len(at) < least:
        return None
    for first in range(len(at) - least + 1):
        if (len(at) - first) / (at[-1] - at[first] + 1) >= mostly:
            kept = flagged.copy()
            kept[: at[first]] = False
            return kept
    return None


def _finding(known: Analysis, subject: str, shared: LoadShare | CurrentShare, uneven: _Uneven) -> Finding:
    start_s = float(shared.start_s[uneven.pieces][0])
    end_s = float(shared.end_s[uneven.pieces][-1])
    place = shared.motors.index(uneven.motor)
    commanded, duty_share = isinstance(shared, LoadShare), None
    if isinstance(shared, LoadShare):
        duty_share = float(np.median(shared.duty_share(place)[uneven.pieces]))
    words = {"motor": uneven.motor, "mechanism": subject, "ratio": uneven.ratio, "duty": duty_share}
    unsure = "" if commanded else " Its command is not logged: look whether it is asked for as much."
    return Finding(
        kind="load_share",
        subject=subject,
        role="mechanism",
        start_s=start_s,
        end_s=end_s,
        severity=Severity.FIX if uneven.cause != "bad joint" else Severity.WATCH,
        confidence=min(0.95 if commanded else 0.85, 0.7 + 0.02 * int(uneven.pieces.sum())),
        text=(
            f"Motor {uneven.motor} {_WORDS[uneven.cause].format(**words)}, "
            f"{when(known.match, start_s, end_s)}."
        ),
        advice=_ADVICE[uneven.cause].format(**words) + unsure,
        evidence={
            "motor": uneven.motor,
            "cause": uneven.cause,
            "ratio": uneven.ratio,
            "ratios": {
                name: float(np.median(shared.ratio[place][uneven.pieces]))
                for place, name in enumerate(shared.motors)
            },
            "duty_share": duty_share,
            "compared_s": len(shared.start_s),
            "uneven_s": int(uneven.pieces.sum()),
            "phase": known.match.phase_at(start_s),
        },
        minutes=5.0,
        cautions=(HANDS_IN,),
    )


def _subjects(robot: Robot) -> tuple[str, ...]:
    return tuple(mechanisms(robot))


LOAD_SHARE = Detector("load_share", "Load shared unevenly", _subjects, _judge, needs=("motors",))

"""When the lead of a beam makes or breaks: moments at which it reads what no piece could have done.

A loose lead flickers as it parts and as it meets again, and whatever stands there then, a beam changes though
nothing has moved. Neither is proof by itself.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.analysis import Analysis
from telemetry.estimators.belt import belt_direction
from telemetry.estimators.bursts import LONGEST_PASS_S, shows_a_pass, without_bursts
from telemetry.estimators.piece_evidence import SHAKEN_S, may_carry_pieces
from telemetry.log import BoolArray, FloatArray
from telemetry.records.sensors import Switching
from telemetry.signals import at_instants, dwells

__all__ = ["changes_at_rest", "lead_signs"]

_SHARE_OF_PASS, _MOST_SHORT_S = 0.4, 0.1
_WITHIN_S, _LEAST, _MOST = 0.6, 2, 6
_CHATTERS, _MOST_EDGES = 2, 12
_LEAVES_WITHIN_S, _LEAST_PULLED = 0.5, 3
_REGULAR, _UNUSUAL = 1 / 3, 0.05
"""What moves pieces without the belt does so for a third of a beam's changes and more; where the other beams
change at rest in a twentieth of theirs, that the belt rests says nothing of a change (both our choice)."""


def lead_signs(known: Analysis, beam: str, resting: Mapping[str, FloatArray]) -> FloatArray:
    """From when until when a lead seems to make or break, (k, 2), in order and apart from each other.

    Two to six dwells that are too short for any piece, close together, or one just after a hit; and changes
    while the belt stands still (`resting`, of `changes_at_rest`). None of a beam that chatters again and
    again, nor within a long burst.
    """
    signal, bursts = known.beams[beam], known.bursts.get(beam, ())
    long_ones = [burst for burst in bursts if burst.edges > _MOST_EDGES]
    if len(long_ones) >= _CHATTERS:
        return np.empty((0, 2))
    short = _too_short(known, beam)
    lasting_s = dwells(signal.t_s, signal.end_s)
    still_s = resting.get(beam, np.empty(0))
    signs = np.column_stack((signal.t_s, signal.t_s + lasting_s))[short]
    marks_s = np.concatenate((signs, np.column_stack((still_s, still_s))))
    marks_s = marks_s[np.argsort(marks_s[:, 0], kind="stable")]
    grouped = _grouped(marks_s, _hits_s(known))
    apart = [not any(a < one.end_s and one.start_s < b for one in long_ones) for a, b in grouped.tolist()]
    found: FloatArray = grouped[np.asarray(apart, dtype=bool)]
    return found


def _hits_s(known: Analysis) -> FloatArray:
    return np.array([contact.t_s for contact in known.contacts])


def _too_short(known: Analysis, beam: str) -> BoolArray:
    """The dwells that no piece makes, (n,): broken for far less than this beam's usual pass, and as briefly
    clear beside such a one. Two pieces that touch leave a short clear moment between whole passes.

    None where readings are so far apart that a pass looks like a blink.
    """
    signal = known.beams[beam]
    usual_s = _usual_pass_s(known, beam)
    brief = dwells(signal.t_s, signal.end_s) < min(_SHARE_OF_PASS * usual_s, _MOST_SHORT_S)
    if len(brief) < 3 or not shows_a_pass(known.beams, beam):
        return np.zeros(len(brief), dtype=bool)
    brief[[0, -1]] = False
    broken = brief & signal.on
    beside = np.zeros(len(brief), dtype=bool)
    beside[1:-1] = broken[:-2] | broken[2:]
    return np.asarray(broken | (brief & beside))


def _usual_pass_s(known: Analysis, beam: str) -> float:
    """For how long a piece breaks this beam; 0 where none did.

    By the passes that end as pieces leave, where the launcher pulls them through, in the median; else by the
    upper quartile, since the blinks of a bad lead are brief and may outnumber the passes.
    """
    bursts, honest_s = known.bursts.get(beam, ()), known.honest_dwell_s.get(beam, 0.0)
    signal = without_bursts(known.beams[beam], bursts, honest_s)
    lasting_s = dwells(signal.t_s, signal.end_s)
    passes = signal.on & (lasting_s < LONGEST_PASS_S)
    left_s = signal.t_s + lasting_s
    releases_s = np.array(known.pieces.releases_s if known.pieces else ())
    near = np.searchsorted(releases_s, left_s + _LEAVES_WITHIN_S) > np.searchsorted(
        releases_s, left_s - _LEAVES_WITHIN_S
    )
    pulled_s, all_s = lasting_s[passes & near], lasting_s[passes]
    if len(pulled_s) >= _LEAST_PULLED and beam == known.robot.beams_in_order()[-1]:
        return float(np.median(pulled_s))
    return float(np.percentile(all_s, 75)) if len(all_s) else 0.0


def changes_at_rest(known: Analysis) -> dict[str, FloatArray]:
    """When each beam changed though the belt stood still and no hit shook the robot, (k,); empty where either
    says nothing of it.
    """
    releases_s = np.array(known.pieces.releases_s if known.pieces else ())
    belt = belt_direction(may_carry_pieces(known.robot, known.motors), known.beams, releases_s)
    if belt is None:
        return {}
    resting = {name: _at_rest(known, signal, belt) for name, signal in known.beams.items()}
    share = {name: _moments(at_s) / max(_moments(known.beams[name].t_s), 1) for name, at_s in resting.items()}
    return {name: at_s for name, at_s in resting.items() if _tells(share, name)}


def _tells(share: Mapping[str, float], beam: str) -> bool:
    """Whether a beam's changes at rest say anything, by their share of its changes, and that of others'."""
    others = sorted(of for name, of in share.items() if name != beam)
    usual = others[(len(others) - 1) // 2] if others else 0.0
    return share[beam] < _REGULAR and usual <= _UNUSUAL


def _moments(at_s: FloatArray) -> int:
    """How many changes there are, those close together counted once."""
    return int((np.diff(at_s, prepend=-np.inf) > _WITHIN_S).sum())


def _at_rest(known: Analysis, signal: Switching, belt: tuple[FloatArray, FloatArray]) -> FloatArray:
    at_s, hits_s = signal.t_s[1:], _hits_s(known)
    since_hit_s = np.nan_to_num(at_s - at_instants(hits_s, hits_s, at_s), nan=np.inf)
    inside = (at_s >= known.match.start_s) & (at_s <= known.match.end_s)
    return np.asarray(at_s[inside & (at_instants(*belt, at_s) == 0) & (since_hit_s > SHAKEN_S)])


def _grouped(marks_s: FloatArray, hits_s: FloatArray) -> FloatArray:
    """Marks close together as one, (k, 2), where there are enough of them and not too many of either sort.

    A change at rest, which takes no time, is enough by itself; so is a short dwell just after a hit.
    """
    if not len(marks_s):
        return marks_s
    first = np.flatnonzero(np.concatenate(([True], marks_s[1:, 0] - marks_s[:-1, 1] > _WITHIN_S)))
    last = np.append(first[1:], len(marks_s)) - 1
    number = last - first + 1
    still = np.add.reduceat((marks_s[:, 0] == marks_s[:, 1]).astype(int), first)
    groups = np.column_stack((marks_s[first, 0], marks_s[last, 1]))
    since_hit_s = np.nan_to_num(groups[:, 0] - at_instants(hits_s, hits_s, groups[:, 0]), nan=np.inf)
    least = np.where((still > 0) | (since_hit_s <= SHAKEN_S), 1, _LEAST)
    return np.asarray(groups[(number >= least) & (np.maximum(still, number - still) <= 2 * _MOST)])

"""Beams that stop telling the truth: unplugged, dead or blocked, by the whole story of the pieces."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from telemetry.analysis import Analysis, Contact
from telemetry.dataclass import dataclass
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.detectors.lost_beams import is_accounted_for, missing_beam_findings
from telemetry.estimators.bursts import shows_a_pass
from telemetry.estimators.contacts import contact_before, contacts_between
from telemetry.estimators.loose_leads import changes_at_rest, lead_signs
from telemetry.estimators.silences import unseen_onset
from telemetry.finding import Finding, Severity
from telemetry.log import BoolArray, FloatArray
from telemetry.records.pieces import BeamHealth
from telemetry.records.sensors import Burst, Switching
from telemetry.wording import HANDS_IN, counted, match_clock, when

__all__ = ["DROPOUT"]

_SURE = 0.8
_MOST_BY_FLICKER = 0.85
"""How sure a dropout can be that only its flicker after a contact tells."""
_MOST_HARDLY_RESOLVED = 0.75
"""The same where readings are so far apart that a pass may fall between them."""
_ONSET_WITHIN_S, _TICK_S = 1.0, 0.25
_LEAST_FLICKER, _FLICKER_WITHIN_S = 2, 0.5
_SIDE = {
    "stuck_clear": "the receiver and its signal lead",
    "stuck_broken": "the emitter, its supply, and a dirty, blocked or shifted lens",
}
_READ = {"stuck_clear": "clear", "stuck_broken": "broken"}


@dataclass(frozen=True)
class _Dropout:
    """A stretch of bad health worth telling, with its onset and the contact just before, if any.

    `unseen`: between what it fell silent, where no edge shows when: then no contact is just before it.
    `parted_and_met`: its lead shows signs of breaking as it began, and of making as it ended.
    """

    stretch: BeamHealth
    onset_s: float
    contact: Contact | None
    unseen: tuple[float, float] | None
    open_at_end: bool
    hardly_resolved: bool
    parted_and_met: bool = False

    @property
    def confidence(self) -> float:
        """The chance that it is true."""
        most = 0.99 if self.stretch.contradictions_s else _MOST_BY_FLICKER
        return min(self.stretch.probability, _MOST_HARDLY_RESOLVED if self.hardly_resolved else most)


def _judge(known: Analysis, subject: str) -> Judgement:
    if subject not in known.beams:
        return NotEvaluated("its signal is not in the log")
    missing = missing_beam_findings(known, subject)
    if known.pieces is None:
        told = "the story of the pieces could not be told, so that nothing gainsays the beam"
        return missing or NotEvaluated(told)
    if subject not in known.pieces.beam_health:
        return missing or NotEvaluated("there are too many beams to follow pieces past all of them")
    if known.guesses:
        return missing or NotEvaluated("no robot file: its unplugged state is unknown")
    bursts = known.bursts.get(subject, ())
    beam = known.beams[subject]
    health = [_gainsaid(one, beam, bursts) for one in known.pieces.beam_health.get(subject, ())]
    stretches = _joined(health, beam)
    dropouts = [_dropout(known, subject, stretch) for stretch in stretches]
    contradicted = [
        _finding(known, subject, dropout)
        for dropout in dropouts
        if _worth_telling(dropout)
        and not _is_chatter(dropout, bursts)
        and not is_accounted_for(known, subject, dropout.onset_s, dropout.stretch.end_s)
    ]
    return sorted(missing + contradicted, key=lambda finding: finding.start_s)


def _gainsaid(stretch: BeamHealth, beam: Switching, bursts: Sequence[Burst]) -> BeamHealth:
    """Without what gainsays the beam while it chatters, or as it leaves its stuck level: it is not blind."""
    answers_s = beam.t_s[1:][beam.on[1:] == (stretch.state == "stuck_clear")]
    lively = [(one.start_s, one.end_s) for one in bursts] + [(at_s, at_s) for at_s in answers_s.tolist()]
    told_s = tuple(
        at_s
        for at_s in stretch.contradictions_s
        if not any(start_s - _TICK_S <= at_s <= end_s + _TICK_S for start_s, end_s in lively)
    )
    return replace(stretch, contradictions_s=told_s)


def _joined(stretches: Sequence[BeamHealth], beam: Switching) -> list[BeamHealth]:
    """Stretches of one state between which the beam never switched are one."""
    joined: list[BeamHealth] = []
    for stretch in stretches:
        before = joined[-1] if joined else None
        if before is None or before.state != stretch.state or _switched_again(beam, before, stretch.start_s):
            joined.append(stretch)
            continue
        joined[-1] = replace(
            before,
            end_s=stretch.end_s,
            probability=max(before.probability, stretch.probability),
            contradictions_s=before.contradictions_s + stretch.contradictions_s,
        )
    return joined


def _dropout(known: Analysis, subject: str, stretch: BeamHealth) -> _Dropout:
    beam = known.beams[subject]
    onset_s, by_edge = _onset(beam, stretch, known.honest_dwell_s.get(subject, 0.0))
    first_s = min(stretch.contradictions_s, default=None)
    unseen = None if by_edge else unseen_onset(known, beam, onset_s, first_s)
    contact = contact_before(known.contacts, onset_s) if unseen is None else None
    open_at_end = stretch.end_s >= known.match.end_s or not _switched_again(known.beams[subject], stretch)
    resolved = shows_a_pass(known.beams, subject)
    signs_s = lead_signs(known, subject, changes_at_rest(known)) if resolved else np.empty((0, 2))
    parted_and_met = resolved and _parted_and_met(signs_s, onset_s, stretch)
    return _Dropout(stretch, onset_s, contact, unseen, open_at_end, not resolved, parted_and_met)


def _parted_and_met(signs_s: FloatArray, onset_s: float, stretch: BeamHealth) -> bool:
    """Whether one sign of the lead meets the onset and a later one the end."""
    begins_s, ends_s = signs_s.T
    began = (begins_s <= stretch.start_s + _TICK_S) & (ends_s >= onset_s - _TICK_S)
    near = begins_s <= stretch.end_s + _FLICKER_WITHIN_S
    over = near & (ends_s >= stretch.end_s - _FLICKER_WITHIN_S)
    return bool(began.any() and (over & (np.cumsum(began) > 0) & ~began).any())


def _switched_again(beam: Switching, stretch: BeamHealth, until_s: float = math.inf) -> bool:
    """Whether it changed once the stretch was over: only that shows that a beam came back."""
    changes_s = beam.t_s[1:]
    return bool(((changes_s >= stretch.end_s - _TICK_S) & (changes_s < until_s)).any())


def _onset(beam: Switching, stretch: BeamHealth, honest_s: float) -> tuple[float, bool]:
    """The flicker that ends in the silence, or the first change to the stuck level around its start.

    The start of the stretch itself where there is neither. True where the edge is that of the fault: a beam
    that reads clear may have fallen silent any time after a piece left it.
    """
    into_stuck = beam.on == (stretch.state == "stuck_broken")
    flicker_s = _flicker_before(beam, into_stuck, stretch, honest_s)
    if flicker_s is not None:
        return flicker_s, True
    into_stuck_s = beam.t_s[into_stuck]
    earliest_s = stretch.start_s - (_ONSET_WITHIN_S if stretch.flickered else 0.0)
    near_s = into_stuck_s[(into_stuck_s >= earliest_s) & (into_stuck_s <= stretch.start_s + _TICK_S)]
    if not len(near_s):
        return stretch.start_s, False
    return float(near_s[0]), stretch.state != "stuck_clear"


def _flicker_before(
    beam: Switching, into_stuck: BoolArray, stretch: BeamHealth, honest_s: float
) -> float | None:
    """When the flicker began with which a beam fell silent: two dwells too short to be honest, then none.

    A lead that breaks makes and breaks a few times first; the story sees only later that pieces go by unseen.
    """
    until_s = max(stretch.contradictions_s[:1], default=stretch.start_s)
    last = int(np.searchsorted(beam.t_s, max(until_s, stretch.start_s))) - 1
    if last < _LEAST_FLICKER or not into_stuck[last]:
        return None
    apart_s = np.diff(beam.t_s[: last + 1])
    long = np.flatnonzero(apart_s >= _FLICKER_WITHIN_S)
    first = int(long[-1]) + 1 if len(long) else 0
    short = first + np.flatnonzero(apart_s[first:] < honest_s)
    return float(beam.t_s[short[0]]) if len(short) >= _LEAST_FLICKER else None


def _worth_telling(dropout: _Dropout) -> bool:
    """The story gainsays it, or it flickered as a loose lead does: just after a contact, or at both ends.

    At a rate that hardly shows a pass one contradiction may be a pass that no reading fell into.
    """
    contradictions = len(dropout.stretch.contradictions_s)
    if dropout.hardly_resolved:
        return contradictions > 1
    loose = dropout.contact is not None or dropout.parted_and_met
    return contradictions > 0 or (dropout.stretch.flickered and loose)


def _is_chatter(dropout: _Dropout, bursts: Sequence[Burst]) -> bool:
    """Whether most of it is a burst of chatter, which is a finding of its own."""
    start_s, end_s = dropout.stretch.start_s, dropout.stretch.end_s
    shared_s = sum(
        max(0.0, min(end_s, burst.end_s + _TICK_S) - max(start_s, burst.start_s - _TICK_S))
        for burst in bursts
    )
    return shared_s > (end_s - start_s) / 2


def _finding(known: Analysis, subject: str, dropout: _Dropout) -> Finding:
    stretch, contact = dropout.stretch, dropout.contact
    return Finding(
        kind="dropout",
        subject=subject,
        role="beam",
        start_s=dropout.onset_s,
        end_s=max(stretch.end_s, known.match.end_s) if dropout.open_at_end else stretch.end_s,
        severity=Severity.FIX if dropout.confidence >= _SURE else Severity.WATCH,
        confidence=dropout.confidence,
        text=_text(known, subject, dropout),
        advice=(
            f"Look at {_SIDE[stretch.state]} of beam {subject}{_harness(known, subject)}: "
            "reseat, then tug-test."
        ),
        evidence={
            "state": stretch.state,
            "contradictions": len(stretch.contradictions_s),
            "first_contradiction_s": stretch.contradictions_s[0] if stretch.contradictions_s else None,
            "flickered": stretch.flickered,
            "onset_unseen": dropout.unseen is not None,
            "came_back": not dropout.open_at_end,
            "contact_t_s": contact.t_s if contact else None,
            "contact_peak_g": contact.peak_g if contact else None,
            "open_at_end": dropout.open_at_end,
        },
        minutes=3.0,
        cautions=(HANDS_IN,),
    )


def _text(known: Analysis, subject: str, dropout: _Dropout) -> str:
    span = f"from {when(known.match, dropout.onset_s, dropout.stretch.end_s)}"
    if dropout.open_at_end:
        span = f"from {match_clock(known.match, dropout.onset_s)} to the end"
    read = _READ[dropout.stretch.state]
    return f"Beam {subject} read {read} {span}{_while(dropout.stretch)}{_after_hit(known, dropout)}."


def _while(stretch: BeamHealth) -> str:
    times = len(stretch.contradictions_s)
    if not times:
        return " after flickering as a loose lead does"
    said = "pieces passed it" if stretch.state == "stuck_clear" else "nothing stood there"
    return f" while {said} ({counted(times, 'time')})"


def _after_hit(known: Analysis, dropout: _Dropout) -> str:
    contact = dropout.contact
    if dropout.unseen is not None and (hits := contacts_between(known.contacts, *dropout.unseen)):
        first, last = (match_clock(known.match, at_s) for at_s in dropout.unseen)
        within = counted(len(hits), "hit")
        return f"; it fell silent unseen between {first} and {last}, with {within} in that time"
    if contact is None:
        return ""
    force = f" of {contact.peak_g:.1f} g" if contact.peak_g is not None else ""
    return f"; it began {dropout.onset_s - contact.t_s:.2f} s after a hit{force}"


def _harness(known: Analysis, subject: str) -> str:
    harness = known.robot.beams[subject].harness
    return f" ({harness})" if harness else ""


DROPOUT = Detector(
    "dropout", "Sensor dropout", lambda robot: tuple(robot.beams), _judge, needs=("switches", "pieces")
)

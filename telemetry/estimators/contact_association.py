"""Whether the faults of sensors begin just after contacts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from telemetry.analysis import Analysis, Contact
from telemetry.dataclass import dataclass
from telemetry.estimators.contacts import AFTER_CONTACT_S, contacts_between
from telemetry.estimators.silences import unseen_onset
from telemetry.finding import Finding
from telemetry.match import Match
from telemetry.statistics import RateComparison, adjusted_p, compare_rates
from telemetry.wording import counted, match_clock

__all__ = ["Association", "associate_with_contacts"]

_UNLIKELY, _TWO = 0.05, 2


@dataclass(frozen=True)
class Association:
    """How a sensor's faults go with contacts: the exact comparison, its p-value adjusted, and words."""

    comparison: RateComparison
    p_adjusted: float
    words: str


@dataclass(frozen=True)
class _Followed:
    """How many of a sensor's faults followed a hit, how many would by chance, and the exact comparison."""

    faults: int
    followed: int
    expected: float
    comparison: RateComparison


def associate_with_contacts(
    known: Analysis, faults: Mapping[str, Sequence[Finding]]
) -> Mapping[str, Association]:
    """By sensor with a fault, in a match with contacts: faults just after these against all others.

    The p-values are adjusted over the sensors that had a fault (Benjamini and Hochberg), so that one of many
    does not look special by chance.
    """
    followed = {
        name: counts for name, found in faults.items() if (counts := _followed(known, found)) is not None
    }
    adjusted = adjusted_p([counts.comparison.p for counts in followed.values()])
    return {
        name: Association(counts.comparison, p, _words(known, name, faults[name], counts, p, len(followed)))
        for (name, counts), p in zip(followed.items(), adjusted.tolist(), strict=True)
    }


def _followed(known: Analysis, faults: Sequence[Finding]) -> _Followed | None:
    """Faults that begin just after contacts against those that do not; None without either."""
    onsets_s = [fault.start_s for fault in faults]
    if not onsets_s or not known.contacts or known.match.enabled_s == 0:
        return None
    after_s = _time_after_contacts(known.contacts, known.match)
    rest_s = known.match.enabled_s - after_s
    if after_s <= 0 or rest_s <= 0:
        return None
    hits_s = np.array([contact.t_s for contact in known.contacts])
    number = np.searchsorted(hits_s, onsets_s, side="right") - 1
    since_s = np.array(onsets_s) - hits_s[np.maximum(number, 0)]
    followed = int(((number >= 0) & (since_s <= AFTER_CONTACT_S)).sum())
    comparison = compare_rates(followed, after_s, len(onsets_s) - followed, rest_s)
    expected = len(onsets_s) * after_s / known.match.enabled_s
    return _Followed(len(onsets_s), followed, expected, comparison)


def _words(
    known: Analysis, name: str, faults: Sequence[Finding], counts: _Followed, p: float, sensors: int
) -> str:
    """The comparison in counts, and what it does and does not say."""
    unseen = [between for fault in faults if (between := _unseen_onset(known, name, fault)) is not None]
    if len(unseen) == len(faults):
        return _of_unseen(known, unseen)
    said = _of_seen(counts)
    if unseen:
        said = f"{said}{_of_unseen(known, unseen)} "
    if counts.followed <= counts.expected:
        return said.rstrip() if unseen else f"{said}Hits do not seem to set it off."
    among = f", with {counted(sensors, 'sensor')} looked at" if sensors > 1 else ""
    if p < _UNLIKELY:
        return f"{said}That is hardly chance (p = {p:.1g}{among}), but no proof that hits cause it."
    return f"{said}So few faults may still be chance (p = {p:.1g}{among})."


def _of_seen(counts: _Followed) -> str:
    which = f"{counts.followed} of its {counted(counts.faults, 'fault')}"
    if counts.faults == 1:
        which = "Its one fault" if counts.followed else "Its one fault did not begin"
    elif counts.followed in (0, counts.faults):
        none, every = ("Neither", "Both") if counts.faults == _TWO else ("None", "All")
        which = f"{none if counts.followed == 0 else every} of its {counts.faults} faults"
    began = "" if which.endswith("begin") else " began"
    by_chance = f"by chance alone about {counts.expected:.1g} would"
    return f"{which}{began} within half a second after a hit; {by_chance}. "


def _of_unseen(known: Analysis, unseen: Sequence[tuple[float, float]]) -> str:
    """Which hits may have begun faults whose begin no edge shows."""
    within = [len(contacts_between(known.contacts, *stretch)) for stretch in unseen]
    if len(unseen) > 1:
        possible = sum(hits > 0 for hits in within)
        return f"{len(unseen)} of its faults began unseen; in {possible} of these stretches there was a hit."
    first, last = (match_clock(known.match, at_s) for at_s in unseen[0])
    stretch = f"It fell silent unseen, between {first} and {last}"
    if not within[0]:
        return f"{stretch}, with no hit in that time."
    any_of = "it" if within[0] == 1 else "any of them"
    return f"{stretch}, with {counted(within[0], 'hit')} in that time: {any_of} may have done it."


def _unseen_onset(known: Analysis, name: str, fault: Finding) -> tuple[float, float] | None:
    """Between what a sensor fell silent where no edge of its own shows when; None where one does."""
    beam = known.beams.get(name)
    if beam is None or not fault.evidence.get("onset_unseen"):
        return None
    first_s = fault.evidence.get("first_contradiction_s")
    return unseen_onset(known, beam, fault.start_s, first_s if isinstance(first_s, float) else None)


def _time_after_contacts(contacts: Sequence[Contact], match: Match) -> float:
    """Seconds of the match within AFTER_CONTACT_S after a contact, overlaps counted once."""
    starts_s = np.array([contact.t_s for contact in contacts if match.start_s <= contact.t_s < match.end_s])
    until_s = np.append(starts_s[1:], match.end_s)
    return float(np.minimum(AFTER_CONTACT_S, until_s - starts_s).sum())

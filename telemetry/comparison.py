"""Before and after: did the fix work, and how many clean matches would it take to call it proven?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from telemetry.dataclass import dataclass
from telemetry.event_series import fault_count
from telemetry.match_facts import MatchFacts
from telemetry.statistics import (
    RateComparison,
    adjusted_p,
    clusters_in,
    compare_rates,
    e_test,
    fisher_exact,
    scatter_of,
)
from telemetry.wording import counted

__all__ = ["Comparison", "Side", "SubjectComparison", "Totals", "clean_matches_needed", "compare_matches"]

LEVEL = 0.05
_MOST_MATCHES = 500
_NOUNS = {
    "breaker_cycling": ("cycling of its breaker", "cyclings of its breaker"),
    "breaker_risk": ("time near tripping", "times near tripping"),
    "chain_risk": ("overload of its chain", "overloads of its chain"),
    "chatter": ("burst of chatter", "bursts of chatter"),
    "flatline": ("frozen stretch", "frozen stretches"),
    "limit_missed": ("missed limit",),
    "load_share": ("uneven share", "uneven shares"),
    "log_gap": ("gap",),
    "no_draw": ("time without current", "times without current"),
    "noisy_range": ("noisy stretch", "noisy stretches"),
    "source_resistance": ("step in resistance", "steps in resistance"),
}
"""What kinds of faults are called when they are counted, where the kind's own name will not do."""


@dataclass(frozen=True)
class Totals:
    """One side as a whole: its matches, how long the robot was enabled, and how often it was hit."""

    matches: tuple[str, ...]
    active_s: float
    contacts: int


@dataclass(frozen=True)
class Side:
    """One kind of fault of one subject on one side: faults, time looked at, matches with and without.

    `suspected` of the faults were too weakly shown for a finding (see `suspicions`). `clusters` is how many
    they are where those that come together count once; as many as faults where nothing tells that they do.
    """

    faults: int
    exposure_s: float
    matches_with: int
    matches: int
    suspected: int = 0
    clusters: int | None = None

    @property
    def apart(self) -> int:
        """How many faults there were that came apart from each other."""
        return self.faults if self.clusters is None else self.clusters


@dataclass(frozen=True)
class SubjectComparison:
    """One kind of fault of one subject, after against before.

    Attributes:
        rates: the rate after over the rate before, exact; p on both sides.
        p_of_clusters: the two rates again, where faults that come together count once.
        p_of_matches: Fisher's exact test of matches with the fault against matches without.
        p_unconditional: the two rates again, without their sum held fixed (E-test).
        adjusted_p: `rates.p` over everything compared in the call (Benjamini and Hochberg).
        clean_matches_needed: further matches without the fault until the fix is proven; 0 where it is, None
            where no number of clean matches would say so.
        verdict: `improved` or `worse` where both `rates.p` and `p_of_clusters` are at most 5 %, so that one
            bad match among others is no proof; `undecided` else.
    """

    subject: str
    kind: str
    role: str
    before: Side
    after: Side
    rates: RateComparison
    p_of_clusters: float
    p_of_matches: float
    p_unconditional: float
    adjusted_p: float
    clean_matches_needed: int | None
    verdict: str
    text: str


@dataclass(frozen=True)
class Comparison:
    """Both sides and every fault that was met on either, the most telling first."""

    before: Totals
    after: Totals
    subjects: tuple[SubjectComparison, ...]
    not_judged: tuple[str, ...]


def compare_matches(before: Sequence[MatchFacts], after: Sequence[MatchFacts]) -> Comparison:
    """Every kind of fault met on either side, by subject; what one side could not judge is named apart."""
    keys = sorted({(f.kind, f.subject, f.role) for one in (*before, *after) for f in one.faults if f.count})
    compared, left_out = [], []
    for kind, subject, role in keys:
        sides = _sides(before, after, kind, subject, role)
        if sides[0].matches and sides[1].matches:
            compared.append((kind, subject, role, *sides))
        else:
            side = "after" if sides[0].matches else "before"
            left_out.append(f"{kind.replace('_', ' ')} of {subject} could not be judged {side} the fix")
    rates = [compare_rates(b.faults, b.exposure_s, a.faults, a.exposure_s) for *_, b, a in compared]
    adjusted = adjusted_p([rate.p for rate in rates]).tolist()
    found = [_compared(*each, p) for each, p in zip(compared, adjusted, strict=True)]
    found.sort(key=lambda one: (one.verdict == "undecided", one.rates.p, one.kind, one.subject))
    return Comparison(_totals(before), _totals(after), tuple(found), tuple(left_out))


def clean_matches_needed(before: Side, after: Side) -> int | None:
    """How many further matches without the fault until the two rates differ at 5 %; None where none would do.

    Each is taken to be as long as the matches after the fix were, or before it where there are none.
    """
    one_match_s = after.exposure_s / after.matches if after.matches else before.exposure_s / before.matches
    before_rate = before.apart / before.exposure_s

    def proven(clean: int) -> bool:
        exposure_s = after.exposure_s + clean * one_match_s
        if exposure_s <= 0 or after.apart / exposure_s >= before_rate:
            return False
        return compare_rates(after.apart, exposure_s, before.apart, before.exposure_s).p <= LEVEL

    if before.faults == 0:
        return None
    if proven(0):
        return 0
    low, high = 0, 1
    while high <= _MOST_MATCHES and not proven(high):
        low, high = high, 2 * high
    if high > _MOST_MATCHES:
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if proven(middle) else (middle, high)
    return high


def _sides(
    before: Sequence[MatchFacts], after: Sequence[MatchFacts], kind: str, subject: str, role: str
) -> tuple[Side, Side]:
    """Both sides, with the clusters that faults come in as far as both together tell."""
    (first, counts), (second, more) = (_side(facts, kind, subject, role) for facts in (before, after))
    scatter = scatter_of(counts, more)
    return (
        replace(first, clusters=clusters_in(counts, scatter)),
        replace(second, clusters=clusters_in(more, scatter)),
    )


def _side(facts: Sequence[MatchFacts], kind: str, subject: str, role: str) -> tuple[Side, list[int]]:
    """The matches in which this could be judged, and the faults of each."""
    counts, suspected = [], 0
    for one in facts:
        count = fault_count(one, kind, subject, role)
        if count is not None and one.active_s > 0:
            counts.append((count, one.active_s))
            suspected += count - (one.count(kind, subject) or 0)
    faults = [count for count, _ in counts]
    matches_with = sum(n > 0 for n in faults)
    return Side(sum(faults), sum(s for _, s in counts), matches_with, len(counts), suspected), faults


def _compared(
    kind: str, subject: str, role: str, before: Side, after: Side, adjusted: float
) -> SubjectComparison:
    rates = compare_rates(after.faults, after.exposure_s, before.faults, before.exposure_s)
    table = [
        [before.matches_with, before.matches - before.matches_with],
        [after.matches_with, after.matches - after.matches_with],
    ]
    fewer = after.faults / after.exposure_s < before.faults / before.exposure_s
    apart_p = compare_rates(after.apart, after.exposure_s, before.apart, before.exposure_s).p
    proven = max(rates.p, apart_p) <= LEVEL
    verdict = "undecided" if not proven else "improved" if fewer else "worse"
    needed = None if verdict == "worse" else clean_matches_needed(before, after)
    unconditional = e_test(after.faults, after.exposure_s, before.faults, before.exposure_s)[1]
    text = _text(kind, subject, before, after, rates, apart_p, verdict, needed)
    return SubjectComparison(
        subject, kind, role, before, after, rates, apart_p, fisher_exact(table)[0], unconditional, adjusted,
        needed, verdict, text,
    )  # fmt: skip


def _totals(facts: Sequence[MatchFacts]) -> Totals:
    names = tuple(one.name for one in facts)
    return Totals(names, sum(one.active_s for one in facts), sum(one.contacts for one in facts))


def _text(
    kind: str,
    subject: str,
    before: Side,
    after: Side,
    rates: RateComparison,
    apart_p: float,
    verdict: str,
    needed: int | None,
) -> str:
    seen = f"{_faults(kind, subject, before)} before the fix, {_faults('', '', after)} after it"
    figures = f"{_ratio_words(rates)}p = {rates.p:.2g}"
    if verdict == "improved":
        return f"{seen}: it got better ({figures})."
    if verdict == "worse":
        return f"{seen}: it got worse ({figures})."
    if rates.p <= LEVEL < apart_p:
        figures += f"; but they came in clusters, and counted so it is {apart_p:.2g}"
    if needed is None:
        return f"{seen}: no difference can be shown ({figures})."
    more = counted(needed, "more clean match", "more clean matches")
    return f"{seen}: not proven yet ({figures}); {more} would do."


def _faults(kind: str, subject: str, side: Side) -> str:
    words = _NOUNS.get(kind, (kind.replace("_", " "),))
    named = f"{subject}: {counted(side.faults, *words)}" if kind else f"{side.faults}"
    only = f" ({side.suspected} of them only suspected)" if side.suspected else ""
    return f"{named}{only} in {counted(side.matches, 'match', 'matches')}"


def _ratio_words(rates: RateComparison) -> str:
    if rates.rate_ratio is None or rates.low is None:
        return ""
    high = f"{rates.high:.2g}" if rates.high is not None else "any"
    return f"{rates.rate_ratio:.2g} times the rate, 95 % interval {rates.low:.2g} to {high}, "

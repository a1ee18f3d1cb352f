"""Is it gone? When each trouble of an event was last met, and what the clean matches since then show."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.comparison import Side, clean_matches_needed
from telemetry.dataclass import dataclass
from telemetry.event_series import fault_count
from telemetry.match_facts import MatchFacts
from telemetry.statistics import clusters_in
from telemetry.wording import counted

__all__ = ["CleanSince", "clean_since"]

_MOST_NEEDED = 20
"""More clean matches than this are no plan for an event (our choice)."""


@dataclass(frozen=True)
class CleanSince:
    """One kind of trouble of one subject, up to the last match in which it was met, and after that.

    Attributes:
        faults, suspected: how often it was met in all, and how many of these were too weak for a finding.
        matches_with, matches: matches with it, and all that could tell, up to the last with it.
        last: the last match with it; `since` the first clean one after that, None where there is none.
        clean: how many matches after that could tell, and met none; `not_judged` could not tell.
        needed: clean matches in a row still needed until it counts as gone, 0 where it does; None where it
            was met in one match alone, or so seldom that no event is long enough.
        suspected_in: how many are only suspected, by match, where there are any.
    """

    kind: str
    subject: str
    role: str
    faults: int
    suspected: int
    matches_with: int
    matches: int
    last: str
    since: str | None
    clean: int
    not_judged: int
    needed: int | None
    suspected_in: tuple[tuple[str, int], ...]

    @property
    def gone(self) -> bool:
        """Whether the clean matches since then are proof (two rates compared exactly, at 5 %)."""
        return self.needed == 0

    @property
    def text(self) -> str:
        """What the matches since then show, in a sentence."""
        unknown = f" ({self.not_judged} more could not tell)" if self.not_judged else ""
        if self.since is None:
            which = f"the last match that could tell{unknown}" if self.not_judged else "the latest match"
            return f"{'New' if self.matches_with == 1 else 'Still there'} in {self.last}, {which}."
        clean = f"{counted(self.clean, 'clean match', 'clean matches')} since{unknown}"
        if self.matches_with == 1:
            times = f"{self.faults} times" if self.faults > 1 else "once"
            return f"In {self.last} alone ({times}); {clean}."
        before = f"{self.faults} in {counted(self.matches, 'match', 'matches')} up to {self.last}, {clean}"
        if self.gone:
            return f"Gone since {self.since}: {before}."
        more = "more than an event has" if self.needed is None else f"{self.needed} more"
        return f"Not since {self.last}: {before}; {more} in a row would prove it gone."


def clean_since(facts: Sequence[MatchFacts]) -> tuple[CleanSince, ...]:
    """Every trouble that was found in some match, matches in the order in which they were played.

    Faults that come in clusters count as clusters (`clusters_in`), so that one bad match is no proof. What is
    only suspected counts as met, as it does in trends. A log in which the robot was never enabled
    tells nothing.
    """
    played = [one for one in facts if one.active_s > 0]
    roles = {(f.kind, f.subject): f.role for one in played for f in one.faults if f.count}
    return tuple(_since(facts, *key, role) for key, role in sorted(roles.items()))


def _since(facts: Sequence[MatchFacts], kind: str, subject: str, role: str) -> CleanSince:
    counts = [fault_count(one, kind, subject, role) if one.active_s > 0 else None for one in facts]
    last = max(number for number, count in enumerate(counts) if count)
    told = [n for n, count in enumerate(counts) if count is not None]
    before, after = [n for n in told if n <= last], [n for n in told if n > last]
    met = [counts[n] or 0 for n in before]
    suspected = [
        (one.name, of_it.suspected) for one in facts if (of_it := one.told(kind, subject)) and of_it.suspected
    ]
    matches_with = sum(count > 0 for count in met)
    exposures_s = [sum(facts[n].active_s for n in side) for side in (before, after)]
    bad = Side(sum(met), exposures_s[0], matches_with, len(before), clusters=clusters_in(met))
    needed = clean_matches_needed(bad, Side(0, exposures_s[1], 0, len(after))) if matches_with > 1 else None
    return CleanSince(
        kind, subject, role, sum(met), sum(n for _, n in suspected), matches_with, len(before),
        facts[last].name, facts[after[0]].name if after else None, len(after),
        len(facts) - 1 - last - len(after),
        needed if needed is None or needed <= _MOST_NEEDED else None, tuple(suspected),
    )  # fmt: skip

"""How often trends are found, and invented: `python -m tests.benchmarks.trends [EVENTS]`.

Each event is drawn as bare facts, without logs: a beam whose dropouts rise or stay, three motors of which one
may drag more, a source resistance and a cycle time that vary. Printed for each number of matches: how often
the rise was found, and in how many events anything else was.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from telemetry.match_facts import MatchFacts
from telemetry.trends import find_trends
from tests.telemetry.facts import match_facts, motor_facts

__all__ = ["main"]

Rng = np.random.Generator
DROPOUTS = ("dropout", "entry")
MATCHES = (6, 8, 10, 12)


@dataclass(frozen=True)
class Story:
    """First and last rate of dropouts a match, or a hit; how they come; and the belt's current by match.

    `cluster`: they come so many at a time, that much less often. `uneven`: their variance over their mean,
    where the rate itself varies from match to match. `bad`: so many more in one match, any of them.
    """

    name: str
    rates: tuple[float, float] = (0.2, 0.2)
    growth: float = 0.0
    cluster: int = 1
    uneven: float = 1.0
    bad: int = 0
    by_hits: bool = False

    @property
    def wanted(self) -> set[tuple[str, str]]:
        """What ought to be found."""
        if self.rates[1] > self.rates[0]:
            return {DROPOUTS}
        return {("friction_trend", "feed")} if self.growth else set()


def _stories() -> list[Story]:
    rising = [
        Story("dropouts 0.5 to 4 a match", (0.5, 4.0)),
        Story("dropouts 0.5 to 8 a match", (0.5, 8.0)),
        Story("dropouts after 5 to 50 % of hits", (0.05, 0.5), by_hits=True),
    ]
    steady = [
        Story("steady, 0.2 dropouts a match", (0.2, 0.2)),
        Story("steady, 2 dropouts a match", (2.0, 2.0)),
        Story("steady, 5 dropouts a match", (5.0, 5.0)),
    ]
    plain = [*rising, *steady, Story("steady, after 20 % of hits", (0.2, 0.2), by_hits=True)]
    clustered = [replace(s, name=f"{s.name}, two at a time", cluster=2) for s in rising[:2] + steady]
    uneven = [replace(s, name=f"{s.name}, variance twice the mean", uneven=2.0) for s in rising[:2] + steady]
    bad = [replace(s, name=f"{s.name}, 8 more in one match", bad=8) for s in steady]
    friction = [
        Story("friction +3 % a match", growth=0.03),
        Story("friction +1.5 % a match", growth=0.015),
    ]
    return [*plain, *clustered, *uneven, *bad, *friction]


def main() -> None:
    """Print a table of stories: found, and events with something invented, for each number of matches."""
    events = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    heads = " | ".join(f"found in {n} | invented" for n in MATCHES)
    print(f"| story | {heads} |\n|{' --- |' * (1 + 2 * len(MATCHES))}")
    for number, story in enumerate(_stories()):
        cells = []
        for matches in MATCHES:
            rng = np.random.default_rng((number, matches))
            found, invented = np.mean([_outcome(rng, matches, story) for _ in range(events)], axis=0)
            cells += [f"{found:.2f}" if story.wanted else "–", f"{invented:.3f}"]
        print(f"| {story.name} | {' | '.join(cells)} |", flush=True)


def _outcome(rng: Rng, matches: int, story: Story) -> tuple[bool, bool]:
    trends = find_trends(_event(rng, matches, story))
    rising = {(trend.series.kind, trend.series.subject) for trend in trends if trend.worse}
    told = {(trend.series.kind, trend.series.subject) for trend in trends if trend.found}
    return bool(story.wanted & rising), bool(told - story.wanted)


def _event(rng: Rng, matches: int, story: Story) -> list[MatchFacts]:
    """Currents vary by 2 %, cycle times by 15 %; a second beam chatters 0.7 times a match."""
    hits = np.maximum(rng.poisson(rng.uniform(6, 13, matches)), 1).tolist()
    return [
        match_facts(
            f"m{n}",
            active_s=float(150 * rng.uniform(0.9, 1.1)),
            contacts=hits[n],
            after_hits=story.by_hits,
            faults={DROPOUTS: count, ("chatter", "gate"): int(rng.poisson(0.7))},
            motors={
                "feed": motor_facts(float(5 * (1 + story.growth) ** n * rng.normal(1, 0.02))),
                "intake": motor_facts(float(4 * rng.normal(1, 0.02))),
                "arm": motor_facts(float(9 * rng.normal(1, 0.06))),
            },
            resistance_ohm=float(0.017 * rng.normal(1, 0.08)),
            cycle_s=float(15 * rng.lognormal(0, 0.15)),
        )
        for n, count in enumerate(_dropouts(rng, hits, story))
    ]


def _dropouts(rng: Rng, hits: Sequence[int], story: Story) -> list[int]:
    rates = np.linspace(*story.rates, len(hits))
    if story.by_hits:
        return [int(n) for n in rng.binomial(hits, rates)]
    rates = rates / story.cluster
    if story.uneven > 1:
        rates = rng.gamma(rates / (story.uneven - 1), story.uneven - 1)
    counts = rng.poisson(rates) * story.cluster
    counts[rng.integers(len(counts))] += story.bad
    return [int(n) for n in counts]


if __name__ == "__main__":
    main()

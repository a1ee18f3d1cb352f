"""How often trends are found, and invented: `python -m tests.benchmarks.trends [EVENTS]`.

Each event is drawn as bare facts, without logs: a beam whose dropouts rise or stay, three motors of which one
may drag more, a source resistance and a cycle time that vary. Printed for each number of matches: how often
the rise was found, and in how many events anything else was.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping

import numpy as np

from telemetry.match_facts import MatchFacts
from telemetry.trends import find_trends
from tests.telemetry.facts import match_facts, motor_facts

__all__ = ["main"]

Rng = np.random.Generator
DROPOUTS = ("dropout", "entry")
STORIES: Mapping[str, tuple[float, float, float]] = {
    "dropouts 0.5 to 4 a match": (0.5, 4.0, 0.0),
    "dropouts 0.5 to 8 a match": (0.5, 8.0, 0.0),
    "friction +3 % a match": (0.2, 0.2, 0.03),
    "friction +1.5 % a match": (0.2, 0.2, 0.015),
    "steady, 0.2 dropouts a match": (0.2, 0.2, 0.0),
    "steady, 2 dropouts a match": (2.0, 2.0, 0.0),
    "steady, 5 dropouts a match": (5.0, 5.0, 0.0),
}
"""First and last rate of dropouts, and the growth of the belt's current a match."""


def main() -> None:
    """Print a table of stories by matches: found, and events with something invented."""
    events = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print("| story | clusters of | matches | found | something invented |\n| --- | --- | --- | --- | --- |")
    for number, (story, rise) in enumerate(STORIES.items()):
        for cluster in (1, 2):
            for matches in (6, 8, 10, 12):
                rng = np.random.default_rng((number, cluster, matches))
                found, invented = np.mean(
                    [_outcome(rng, matches, cluster, *rise) for _ in range(events)], axis=0
                )
                told = "–" if story.startswith("steady") else f"{found:.2f}"
                print(f"| {story} | {cluster} | {matches} | {told} | {invented:.2f} |", flush=True)


def _outcome(
    rng: Rng, matches: int, cluster: int, first: float, last: float, growth: float
) -> tuple[bool, bool]:
    trends = find_trends(_event(rng, matches, cluster, (first, last), growth))
    rising = {(trend.series.kind, trend.series.subject) for trend in trends if trend.worse}
    told = {(trend.series.kind, trend.series.subject) for trend in trends if trend.found}
    wanted = {DROPOUTS} if last > first else {("friction_trend", "feed")} if growth else set()
    return bool(wanted & rising), bool(told - wanted)


def _event(
    rng: Rng, matches: int, cluster: int, rates: tuple[float, float], growth: float
) -> list[MatchFacts]:
    """Clusters: dropouts come two at a time, half as often. Currents vary by 2 %, cycle times by 15 %."""
    usual = np.linspace(*rates, matches) / cluster
    return [
        match_facts(
            f"m{n}",
            active_s=float(150 * rng.uniform(0.9, 1.1)),
            faults={DROPOUTS: int(rng.poisson(rate)) * cluster, ("chatter", "gate"): int(rng.poisson(0.7))},
            motors={
                "feed": motor_facts(float(5 * (1 + growth) ** n * rng.normal(1, 0.02))),
                "intake": motor_facts(float(4 * rng.normal(1, 0.02))),
                "arm": motor_facts(float(9 * rng.normal(1, 0.06))),
            },
            resistance_ohm=float(0.017 * rng.normal(1, 0.08)),
            cycle_s=float(15 * rng.lognormal(0, 0.15)),
        )
        for n, rate in enumerate(usual)
    ]


if __name__ == "__main__":
    main()

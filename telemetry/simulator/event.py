"""A small event of the demo scenario: several matches of Jay at the Oakmere Trial."""

from pathlib import Path

from telemetry.simulator.faults import BeamDropouts, Chatter, Fault, FeedJam, LogGap
from telemetry.simulator.match import simulate_match, write_match
from telemetry.simulator.streams import stream
from telemetry.simulator.writing import Form

__all__ = ["simulate_event"]

_FORMS: tuple[Form, ...] = ("wide", "long", "parquet")


def simulate_event(out: Path, *, matches: int, seed: int) -> list[Path]:
    """Write that many matches, their truth and one robot file into ``out``; return the logs' paths.

    The first match is clean, in the second a beam drops out after hits, in the third another chatters and
    the tower jams; the rest are drawn from such troubles.
    """
    paths: list[Path] = []
    for number in range(1, matches + 1):
        name = f"match-{number:02d}"
        match = simulate_match(seed=seed * 1000 + number, name=name, faults=_troubles(number, seed))
        paths.append(write_match(match, out, _FORMS[(number - 1) % len(_FORMS)]))
    return paths


def _troubles(number: int, seed: int) -> tuple[Fault, ...]:
    if number == 1:
        return ()
    if number == 2:
        return (BeamDropouts(beam="entry", probability=0.6),)
    if number == 3:
        return (Chatter(beam="middle", from_s=20.0), FeedJam())
    rng = stream(seed, f"troubles {number}")
    pool: list[tuple[Fault, ...]] = [
        (BeamDropouts(beam="entry", probability=0.5),),
        (BeamDropouts(beam="entry", probability=0.4), FeedJam()),
        (Chatter(beam="middle", trigger="hits"),),
        (FeedJam(), LogGap(at_s=round(float(rng.uniform(40, 120)), 2))),
    ]
    return pool[int(rng.integers(len(pool)))]

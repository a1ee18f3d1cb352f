"""The next match: how likely a dropout is, and how warm each motor starts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from telemetry.carried_heat import CarriedHeat
from telemetry.clean_since import CleanSince
from telemetry.dataclass import dataclass
from telemetry.match_facts import MatchFacts
from telemetry.statistics import chance_of_any, clusters_in
from telemetry.thermal import cooled_level
from telemetry.trends import Trend, settled_part
from telemetry.wording import counted

__all__ = ["USUAL_PAUSES_S", "Forecast", "forecast_dropouts", "forecast_heat"]

USUAL_PAUSES_S = (600.0, 1200.0, 2400.0)
"""Ten, twenty and forty minutes: shortest, usual and longest pause where none is known (common practice)."""


@dataclass(frozen=True)
class Forecast:
    """What the next match is likely to bring, with its interval, in a plain sentence.

    For a dropout `probability` is the chance of at least one, with its 90 % interval; for heat it is None,
    and `level` is where the motor starts, between those after the longest and the shortest pause.
    """

    kind: str
    subject: str
    probability: float | None
    low: float
    high: float
    text: str
    level: float | None = None
    pause_s: float | None = None


def forecast_dropouts(
    facts: Sequence[MatchFacts], trends: Sequence[Trend], since: Sequence[CleanSince] = ()
) -> tuple[Forecast, ...]:
    """The chance of at least one dropout in a next match as long as the usual one, the likeliest first.

    Gamma–Poisson (see `chance_of_any`). Dropouts that come in clusters count as clusters (see `clusters_in`).
    Where they are gone by `since`, the clean matches alone speak for the next; where a trend was found, the
    later half. What is only suspected counts where any was found.
    """
    subjects = sorted({f.subject for one in facts for f in one.faults if f.kind == "dropout"})
    by_subject = {one.subject: one for one in since if one.kind == "dropout"}
    told = [_dropouts(facts, trends, subject, by_subject.get(subject)) for subject in subjects]
    found = [forecast for forecast in told if forecast]
    return tuple(sorted(found, key=lambda forecast: (-(forecast.probability or 0.0), forecast.subject)))


def _dropouts(
    facts: Sequence[MatchFacts], trends: Sequence[Trend], subject: str, since: CleanSince | None
) -> Forecast | None:
    trended = any(t.found and t.series.kind == "dropout" and t.series.subject == subject for t in trends)
    names = [one.name for one in facts]
    clean_from = since.since if since and since.gone else None
    first = names.index(clean_from) if clean_from else settled_part(facts, trended)
    found = any(one.count("dropout", subject) for one in facts)
    known = [
        (count, one.active_s)
        for one in facts[first:]
        if (count := (one.in_all if found else one.count)("dropout", subject)) is not None
        and one.active_s > 0
    ]
    if not known:
        return None
    counts, exposure_s = [count for count, _ in known], sum(active for _, active in known)
    usual_s = median(active for _, active in known)
    chance = chance_of_any(clusters_in(counts), exposure_s, usual_s)
    matches = f"the last {len(known)} matches" if first else counted(len(known), "match", "matches")
    text = (
        f"{subject}: {_percent(chance.probability)} chance of at least one dropout in the next match "
        f"({chance.low:.0%} to {chance.high:.0%}), if it goes on as in {matches} "
        f"({counted(sum(counts), 'dropout')}{_suspected(facts[first:], subject) if found else ''})"
        f"{_hope(since)}."
    ).replace("%", " %")
    return Forecast("dropout", subject, chance.probability, chance.low, chance.high, text)


def _percent(probability: float) -> str:
    """In whole percents; what is not quite sure is never told as 100 %."""
    return "over 99%" if probability > 0.99 else f"{probability:.0%}"


def _suspected(facts: Sequence[MatchFacts], subject: str) -> str:
    number = sum(told.suspected for one in facts if (told := one.told("dropout", subject)))
    return f", {number} of them only suspected" if number else ""


def _hope(since: CleanSince | None) -> str:
    """What the clean matches since the last dropout may mean, where they are no proof."""
    if since is None or since.since is None or since.gone:
        return ""
    clean = f"none in {since.since}" if since.clean == 1 else f"none in the last {since.clean}"
    return f"; {clean}: less, if what was done after {since.last} has mended it"


def forecast_heat(
    facts: Sequence[MatchFacts],
    heat: Sequence[Mapping[str, CarriedHeat]],
    pauses: Sequence[float | None],
) -> tuple[Forecast, ...]:
    """Where each motor starts the next match, the warmest first.

    After the usual pause of the event so far, between its longest and shortest; where none is known, after
    20 min, between 40 and 10.
    """
    if not facts:
        return ()
    known = sorted(pause for pause in pauses if pause is not None)
    shortest, usual, longest = (known[0], median(known), known[-1]) if known else USUAL_PAUSES_S
    found = []
    for name, carried in heat[-1].items():
        cooling_s = facts[-1].motors[name].cooling_s
        if cooling_s is not None:
            low, level, high = (cooled_level(carried.end, p, cooling_s) for p in (longest, usual, shortest))
            text = (
                f"{name} starts the next match at {level:.0%} of its heat limit after a pause of "
                f"{usual / 60:.0f} min ({low:.0%} to {high:.0%} after {longest / 60:.0f} to "
                f"{shortest / 60:.0f} min{'' if known else '; no pause is known, these are usual ones'})."
            ).replace("%", " %")
            found.append(Forecast("heat", name, None, low, high, text, level, usual))
    return tuple(sorted(found, key=lambda forecast: (-(forecast.level or 0.0), forecast.subject)))

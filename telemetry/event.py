"""Event: many matches side by side, what was found in each, what comes back, and what gets worse."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from telemetry.analysis import Analysis
from telemetry.battery_steps import ADVICE, BatteryStep, battery_steps
from telemetry.carried_heat import CarriedHeat, heat_through, pauses_s
from telemetry.clean_since import CleanSince, clean_since
from telemetry.dataclass import dataclass
from telemetry.estimators.light import LightCount
from telemetry.finding import Severity
from telemetry.forecast import Forecast, forecast_dropouts, forecast_heat
from telemetry.match_facts import (
    MatchFacts,
    MatchSummary,
    Occurrence,
    facts_of,
    parts_by_severity,
    summary_of,
)
from telemetry.match_sheet import MatchSheet, SheetRow, ordered, start_s_of
from telemetry.rank_statistics import hodges_lehmann, kaplan_meier
from telemetry.statistics import RateComparison, compare_rates
from telemetry.trends import Trend, find_trends
from telemetry.wording import counted

__all__ = [
    "Event", "Group", "LightTell", "MatchRecord", "MatchSummary", "Occurrence", "Trouble", "Unusable",
    "event_from", "event_of", "light_words", "parts_by_severity", "summary_of",
]  # fmt: skip

_WATCH_DRAG, _FIX_DRAG = 0.10, 0.40
"""More running current over the event, as a share, from which it is to watch and to fix (our choice)."""
_MOST_NAMED = 5
_LIGHT_LEVEL = 0.05
_FIX_RESISTANCE = 1.8
"""How many times its usual resistance makes a battery one to fix, not to watch (our choice)."""


@dataclass(frozen=True)
class Trouble:
    """All findings of one kind and subject over the event; `severity` is the worst of them.

    A trouble that only the whole event shows has no occurrences; `text` and `advice` then say it.
    """

    kind: str
    subject: str
    role: str
    severity: Severity
    occurrences: tuple[Occurrence, ...]
    text: str = ""
    advice: str = ""

    @property
    def matches(self) -> tuple[str, ...]:
        """The matches in which it was found, in order, each once."""
        return tuple(dict.fromkeys(occurrence.match for occurrence in self.occurrences))

    @property
    def recurring(self) -> bool:
        """Whether it was found in more than one match."""
        return len(self.matches) > 1


@dataclass(frozen=True)
class Unusable:
    """A file that could not be used, with the error line that says why."""

    file: str
    error: str


@dataclass(frozen=True)
class MatchRecord:
    """What an event adds to a match: its line of the sheet, the pause before it, the heat it began with.

    `start_s` is Unix time or seconds since midnight, `pause_s` the time without current before the match;
    None where they are not known.
    """

    row: SheetRow | None
    start_s: float | None
    pause_s: float | None
    battery: str | None
    heat: Mapping[str, CarriedHeat]


@dataclass(frozen=True)
class Group:
    """The matches of one driver, or of one battery.

    `median_cycle_s` counts a cycle that the end of the match cut short as longer than it was seen (Kaplan and
    Meier); `shift_s` is how much longer the closed cycles are than those of all others (Hodges and Lehmann).
    """

    by: str
    name: str
    matches: tuple[str, ...]
    median_cycle_s: float | None
    shift_s: float | None
    low_s: float | None
    high_s: float | None
    p: float | None
    resistance_ohm: float | None
    lowest_v: float | None


@dataclass(frozen=True)
class LightTell:
    """Hits while the light was lit against hits while it was dark, over all matches."""

    counts: LightCount
    rates: RateComparison


@dataclass(frozen=True)
class Event:
    """Matches in the order in which they were played, as far as `ordered_by` could tell it.

    Attributes:
        ordered_by: `match sheet`, `clock` (the logs' own), `name`, or `given`.
        records: one for each match, in the same order.
        troubles: the most widespread first.
        unusable: files that could not be used.
        sheet_notes: what had to be mended or left out in the match sheet.
        battery_steps: batteries far from usual in the last match they were played in.
        since: of each trouble that was found, what the matches after the last with it show.
    """

    robot: str
    matches: tuple[MatchSummary, ...]
    troubles: tuple[Trouble, ...]
    unusable: tuple[Unusable, ...] = ()
    ordered_by: str = "given"
    records: tuple[MatchRecord, ...] = ()
    trends: tuple[Trend, ...] = ()
    forecasts: tuple[Forecast, ...] = ()
    groups: tuple[Group, ...] = ()
    light: LightTell | None = None
    sheet_notes: tuple[str, ...] = ()
    battery_steps: tuple[BatteryStep, ...] = ()
    since: tuple[CleanSince, ...] = ()

    @property
    def recurring(self) -> tuple[Trouble, ...]:
        """Troubles of more than one match."""
        return tuple(trouble for trouble in self.troubles if trouble.recurring)

    def since_of(self, trouble: Trouble) -> CleanSince | None:
        """What the matches after the last with a trouble show; None of what only the whole event shows."""
        key = trouble.kind, trouble.subject
        return next((one for one in self.since if (one.kind, one.subject) == key), None)

    @property
    def worsening(self) -> tuple[Trend, ...]:
        """Trends that were found, for the worse."""
        return tuple(trend for trend in self.trends if trend.worse)

    @property
    def hints(self) -> tuple[str, ...]:
        """What strikes the eye from match to match though it is no proof."""
        return tuple(trend.hint for trend in self.trends if trend.hint)


def event_of(
    analyses: Sequence[Analysis], *, names: Sequence[str] | None = None, unusable: Sequence[Unusable] = ()
) -> Event:
    """Matches side by side, as given. `names` are unique names for them; without it, their own serve."""
    names = [analysis.match.name for analysis in analyses] if names is None else names
    facts = [facts_of(analysis, name=name) for name, analysis in zip(names, analyses, strict=True)]
    return _event(facts, "given", unusable, None)


def event_from(
    facts: Sequence[MatchFacts], *, unusable: Sequence[Unusable] = (), sheet: MatchSheet | None = None
) -> Event:
    """The event of matches in any order; the order in which they are given changes nothing."""
    in_order, told_by = ordered(facts, sheet)
    missing = sorted(unusable, key=lambda file: (file.file, file.error))
    return _event(in_order, told_by, missing, sheet)


def _event(
    facts: Sequence[MatchFacts], told_by: str, unusable: Sequence[Unusable], sheet: MatchSheet | None
) -> Event:
    records = _records(facts, sheet)
    batteries = [record.battery for record in records]
    trends, steps = find_trends(facts, batteries), battery_steps(facts, batteries)
    heat, pauses = [record.heat for record in records], [record.pause_s for record in records]
    since = clean_since(facts)
    robots = list(dict.fromkeys(one.robot for one in facts))
    return Event(
        robot=robots[0] if len(robots) == 1 else "",
        matches=tuple(one.summary for one in facts),
        troubles=tuple(sorted((*_troubles(facts), *_drags(trends), *_weak(steps)), key=_weight)),
        unusable=tuple(unusable),
        ordered_by=told_by,
        records=tuple(records),
        trends=trends,
        forecasts=(*forecast_dropouts(facts, trends, since), *forecast_heat(facts, heat, pauses)),
        groups=(*_groups("driver", facts, records), *_groups("battery", facts, records)),
        light=_light(facts),
        sheet_notes=_sheet_notes(sheet, facts, unusable) if sheet else (),
        battery_steps=steps,
        since=since,
    )


def _sheet_notes(
    sheet: MatchSheet, facts: Sequence[MatchFacts], unusable: Sequence[Unusable]
) -> tuple[str, ...]:
    """What was mended in the sheet, and which of its lines no log was met for."""
    told = [(one.summary.file, one.name) for one in facts] + [(file.file, file.file) for file in unusable]
    unmet = [row.file or row.match for row in sheet.without_log(told)]
    notes = tuple(repair.text for repair in sheet.repairs)
    if not unmet:
        return notes
    more = f" and {len(unmet) - _MOST_NAMED} more" if len(unmet) > _MOST_NAMED else ""
    lines = counted(len(unmet), "line is", "lines are")
    return (*notes, f"{lines} of a match that no log was given of: {', '.join(unmet[:_MOST_NAMED])}{more}.")


def _records(facts: Sequence[MatchFacts], sheet: MatchSheet | None) -> list[MatchRecord]:
    rows = [sheet.row_of(one) if sheet else None for one in facts]
    seen: set[str] = set()
    starts: list[float | None] = []
    for one, row in zip(facts, rows, strict=True):
        starts.append(start_s_of(one, row, first_of_log=one.summary.file not in seen))
        seen.add(one.summary.file)
    pauses = pauses_s(facts, starts)
    heat = heat_through(facts, pauses)
    told = zip(facts, rows, strict=True)
    batteries = [row.battery if row and row.battery else one.battery for one, row in told]
    return [MatchRecord(*parts) for parts in zip(rows, starts, pauses, batteries, heat, strict=True)]


def _troubles(facts: Sequence[MatchFacts]) -> list[Trouble]:
    groups: dict[tuple[str, str, str], list[Occurrence]] = {}
    for one in facts:
        for kind, subject, role, occurrence in one.findings:
            groups.setdefault((kind, subject, role), []).append(occurrence)
    return [Trouble(*key, _worst(met), tuple(met)) for key, met in groups.items()]


def _drags(trends: Sequence[Trend]) -> list[Trouble]:
    """Motors whose running current rises over the event at a like command."""
    found = []
    for trend in trends:
        if trend.series.kind == "friction_trend" and trend.worse and (trend.share or 0.0) >= _WATCH_DRAG:
            severity = Severity.FIX if (trend.share or 0.0) >= _FIX_DRAG else Severity.WATCH
            advice = (
                f"Turn the mechanism of {trend.series.subject} by hand with the power off: look for a tight "
                "bearing, a rubbing belt or chain, something wound round a shaft."
            )
            subject = trend.series.subject
            found.append(Trouble("friction_trend", subject, "motor", severity, (), trend.text, advice))
    return found


def _weak(steps: Sequence[BatteryStep]) -> list[Trouble]:
    """Batteries whose resistance stepped up from one match to another."""
    return [
        Trouble(
            "source_resistance",
            step.battery,
            "supply",
            Severity.FIX if step.resistance_ohm >= _FIX_RESISTANCE * step.usual_ohm else Severity.WATCH,
            (),
            step.text,
            ADVICE,
        )
        for step in steps
    ]


def _light(facts: Sequence[MatchFacts]) -> LightTell | None:
    """All matches together: in one alone there are seldom hits enough."""
    told = [one.light for one in facts if one.light]
    if not told:
        return None
    counts = LightCount(
        sum(light.hits_lit for light in told),
        sum(light.lit_s for light in told),
        sum(light.hits_dark for light in told),
        sum(light.dark_s for light in told),
    )
    rates = compare_rates(counts.hits_lit, counts.lit_s, counts.hits_dark, counts.dark_s)
    return LightTell(counts, rates)


def _groups(by: str, facts: Sequence[MatchFacts], records: Sequence[MatchRecord]) -> list[Group]:
    """The matches by driver or by battery; none where there are not two of them."""
    names = [
        (record.row.driver if record.row else "") if by == "driver" else record.battery or ""
        for record in records
    ]
    several = sorted({name for name in names if name})
    if len(several) < 2:
        return []
    return [_group(by, name, facts, names) for name in several]


def _group(by: str, name: str, facts: Sequence[MatchFacts], names: Sequence[str]) -> Group:
    own = [one for one, whose in zip(facts, names, strict=True) if whose == name]
    others = [one for one, whose in zip(facts, names, strict=True) if whose and whose != name]
    cycles = [cycle for one in own for cycle in one.cycles]
    closed, rest = _closed(own), _closed(others)
    shift = hodges_lehmann(closed, rest) if closed and rest else None
    resistances = [one.resistance_ohm for one in own if one.resistance_ohm is not None]
    lowest = [one.lowest_v for one in own if one.lowest_v is not None]
    lasting = kaplan_meier([length_s for length_s, _ in cycles], [not still for _, still in cycles])
    return Group(
        by, name, tuple(one.name for one in own), lasting.median,
        shift.shift if shift else None, shift.low if shift else None, shift.high if shift else None,
        shift.p if shift else None,
        median(resistances) if resistances else None, min(lowest) if lowest else None,
    )  # fmt: skip


def _closed(facts: Sequence[MatchFacts]) -> list[float]:
    return [length_s for one in facts for length_s, still_open in one.cycles if not still_open]


def light_words(tell: LightTell) -> str:
    """The comparison in a sentence, with the counts."""
    counts, rates = tell.counts, tell.rates
    seen = (
        f"{counted(counts.hits_lit, 'hit')} in {counts.lit_s:.0f} s with the light lit, "
        f"{counts.hits_dark} in {counts.dark_s:.0f} s with it dark"
    )
    if rates.rate_ratio is None or rates.low is None:
        return f"{seen}; too little to compare."
    high = f"{rates.high:.1f}" if rates.high is not None else "any"
    shown = "" if rates.p <= _LIGHT_LEVEL else "; chance alone may do that"
    times = f"{rates.rate_ratio:.1f} times the rate ({rates.low:.1f} to {high}, p = {rates.p:.2g})"
    return f"{seen}: {times}{shown}."


def _worst(occurrences: Sequence[Occurrence]) -> Severity:
    return min((occurrence.severity for occurrence in occurrences), key=list(Severity).index)


def _weight(trouble: Trouble) -> tuple[int, int, str, str]:
    return -len(trouble.matches), list(Severity).index(trouble.severity), trouble.kind, trouble.subject

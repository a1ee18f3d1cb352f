"""The rows of the page's tables: sensors, cycles, motors, log health."""

from __future__ import annotations

from collections.abc import Sequence

from reports.piece_lanes import STAGES
from reports.start_heat import start_heat_words
from reports.words import clock, counted, duration, fixed, kind_words, number
from telemetry.analysis import Analysis
from telemetry.dataclass import dataclass
from telemetry.estimators.motors import assumed_voltage_note
from telemetry.finding import Verdict
from telemetry.log import Dialect
from telemetry.records.motors import MotorUse
from telemetry.records.sensors import SensorState
from telemetry.statistics import RateComparison

__all__ = [
    "Cell",
    "Table",
    "check_table",
    "cycle_table",
    "motor_notes",
    "motor_table",
    "not_judged",
    "sensor_table",
    "settings_rows",
]

_STATE_WORDS = {
    "alive": "alive", "intermittent": "comes and goes", "stuck_clear": "stuck clear",
    "stuck_broken": "stuck broken", "missing": "missing",
}  # fmt: skip


_SPEED_WORDS = {
    "channel": "its own channel",
    "back-emf": "voltage and current",
    "back_emf": "voltage and current",
    "none": "not known",
}


@dataclass(frozen=True)
class Cell:
    """One cell: its text, and the instant or the findings it leads to."""

    text: str
    t_s: float | None = None
    findings: tuple[int, ...] = ()
    number: bool = False


@dataclass(frozen=True)
class Table:
    """A table with its caption; the first cell of a row names it; `keys` are the rows' anchors."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    keys: tuple[str, ...] = ()


def _figure(text: str) -> Cell:
    return Cell(text, number=True)


def _findings_of(analysis: Analysis, subject: str, roles: Sequence[str]) -> Cell:
    numbers = tuple(
        number_
        for number_, finding in enumerate(analysis.findings, 1)
        if finding.subject == subject and finding.role in roles
    )
    return Cell("" if numbers else "none", findings=numbers)


def sensor_table(analysis: Analysis) -> Table:
    """Every beam and limit: state, changes, when it died, and whether hits go before its faults."""
    rows = tuple(
        (
            Cell(name), Cell(state.role), Cell(_STATE_WORDS.get(state.state, state.state)),
            _figure(str(state.transitions)), _died(state, analysis.match.start_s),
            Cell(state.contact_words or association_words(state.contact_association)),
            _findings_of(analysis, name, (state.role,)),
        )
        for name, state in analysis.sensors.items()
    )  # fmt: skip
    columns = ("Sensor", "Role", "State", "Changes", "Went silent", "Faults after hits", "Findings")
    return Table("Sensors: what each one was in this match", columns, rows)


def _died(state: SensorState, start_s: float) -> Cell:
    if state.dead_since_s is None:
        return Cell("–")
    text = clock(state.dead_since_s, start_s)
    if state.dead_interval_s is not None:
        low, high = (clock(t_s, start_s) for t_s in state.dead_interval_s)
        text += f" (between {low} and {high})"
    return Cell(text, t_s=state.dead_since_s)


def association_words(association: RateComparison | None) -> str:
    """Whether faults follow hits, with the interval; never as proof of cause."""
    if association is None:
        return "–"
    chance = f"p = {number(association.p, '', 2)}"
    if association.rate_ratio is None:
        return f"cannot be told ({chance})"
    high = "any" if association.high is None else number(association.high, "", 2)
    between = f"95 %: {number(association.low, '', 2)} to {high}"
    return f"{number(association.rate_ratio, '', 2)} times as often ({between}; {chance}); no proof of cause"


def cycle_table(analysis: Analysis) -> Table:
    """Every cycle with its stages; the open last one says so."""
    extra = sorted({stage for cycle in analysis.cycles for stage in cycle.stages} - set(STAGES))
    stages = [*STAGES, *extra]
    rows = tuple(
        (
            Cell(f"{cycle.number}{' (open)' if cycle.open else ''}"),
            Cell(clock(cycle.start_s, analysis.match.start_s), t_s=cycle.start_s),
            _figure(duration(cycle.end_s - cycle.start_s)), _figure(str(cycle.pieces)),
            *(_figure(duration(cycle.stages.get(stage))) for stage in stages),
        )
        for cycle in analysis.cycles
    )  # fmt: skip
    columns = (
        "Cycle",
        "From",
        "Length",
        "Pieces",
        *(stage.replace("_", " ").capitalize() for stage in stages),
    )
    keys = tuple(f"cycle-{cycle.number}" for cycle in analysis.cycles)
    return Table("Cycles: from the last release of one volley to the last of the next", columns, rows, keys)


def _hottest(use: MotorUse) -> str:
    """The highest level, or between what it lies."""
    if use.peak_heat is None and use.peak_heat_low is not None and use.peak_heat_high is not None:
        return f"{fixed(use.peak_heat_low, 2)} to {fixed(use.peak_heat_high, 2)}"
    return fixed(use.peak_heat, 2)


def motor_table(analysis: Analysis) -> Table:
    """Every motor's match in a few numbers."""
    rows = []
    for name, use in analysis.motor_use.items():
        trace = analysis.motors.get(name)
        rows.append(
            (
                Cell(name), _figure(number(use.peak_current_a, "A")), _figure(duration(use.stall_s)),
                _figure(duration(use.near_stall_s)), _figure(_hottest(use)),
                _figure(fixed(use.end_heat, 2)), _figure(number(use.energy_wh, "Wh", 2)),
                _figure(duration(use.heat_time_left_s)), _figure(number(use.next_match_safe_a, "A", 2)),
                _figure(fixed(use.breaker_fraction, 2)), _figure(fixed(use.chain_share, 2)),
                Cell(_SPEED_WORDS.get(trace.speed_source, trace.speed_source) if trace else "–"),
                _findings_of(analysis, name, ("motor",)),
            )
        )  # fmt: skip
    columns = (
        "Motor", "Peak current", "Stalled", "Nearly stalled", "Hottest", "Heat at the end", "Energy",
        "Until too hot", "Bears next match", "Breaker", "Chain", "Speed from", "Findings",
    )  # fmt: skip
    return Table(
        "Motors: 1.0 is the limit of heat, the opening of the breaker, the breaking of the chain; "
        "the next match starts with the heat that is left",
        columns,
        tuple(rows),
    )


def motor_notes(analysis: Analysis) -> list[str]:
    """What must be known beside the motors' figures: an assumed voltage, odd channels, heat not told."""
    notes = [note for trace in analysis.motors.values() for note in trace.notes]
    return [*start_heat_words(analysis), *assumed_voltage_note(analysis.motors), *notes]


def check_table(analysis: Analysis) -> Table:
    """Every kind of check with how many subjects were clear, found and not judged."""
    kinds = dict.fromkeys(check.kind for check in analysis.checks)
    rows = []
    for kind in kinds:
        verdicts = [check.verdict for check in analysis.checks if check.kind == kind]
        counts = [
            _figure(str(verdicts.count(verdict)))
            for verdict in (Verdict.FOUND, Verdict.CLEAR, Verdict.NOT_EVALUATED)
        ]
        rows.append((Cell(kind_words(kind).title), Cell(kind_words(kind).meaning), *counts))
    columns = ("Looked for", "That is", "Found", "Clear", "Not judged")
    return Table("What was looked for", columns, tuple(rows))


def not_judged(analysis: Analysis) -> list[tuple[str, list[str]]]:
    """Each reason why something could not be judged, with what it kept from being judged."""
    by_reason: dict[str, list[str]] = {}
    for check in analysis.checks:
        if check.verdict is Verdict.NOT_EVALUATED:
            subject = f"{check.subject}: {kind_words(check.kind).title}"
            by_reason.setdefault(check.reason or "no reason given", []).append(subject)
    return sorted(by_reason.items(), key=lambda entry: -len(entry[1]))


def settings_rows(analysis: Analysis) -> list[tuple[str, str]]:
    """What the results rest on: versions, hashes, how the file was read, every setting."""
    log, match = analysis.log, analysis.match
    size = (log.shape, counted(log.rows, "row"), counted(len(log.channels), "channel"), duration(log.span_s))
    fixed = [
        ("log file", log.file),
        ("log, SHA-256", log.sha256),
        ("shape", ", ".join(size)),
        ("read as", ", ".join(_dialect_words(log.dialect))),
        ("match", f"enabled {duration(match.enabled_s)}, phases from {match.source}"),
    ]
    return fixed + [(key.replace("_", " "), _setting(value)) for key, value in analysis.settings.items()]


def _dialect_words(dialect: Dialect) -> list[str]:
    delimiters = {"\t": "tab", ",": "comma", ";": "semicolon", "|": "bar"}
    words = [dialect.encoding] if dialect.encoding else []
    if dialect.delimiter:
        words.append(f"separated by {delimiters.get(dialect.delimiter, dialect.delimiter)}")
    if dialect.decimal:
        words.append(f"decimal “{dialect.decimal}”")
    return [*words, f"time in “{dialect.time_column}” ({dialect.time_unit})"]


def _setting(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else "–" if value is None else str(value)

"""What was injected against what was found: one row a kind of trouble.

A `Kind` says which troubles of the truth a log must show, and which it may show (too short, or too rarely
read, to be told for certain): the latter count neither for nor against.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from telemetry.finding import Finding, Severity
from tests.benchmarks.simulated import Judged

__all__ = ["KINDS", "Kind", "Score", "Trouble", "score"]

SLACK_S = 0.5
"""A finding and a trouble meet when they overlap, or nearly."""

CONTACT_WITHIN_S = 0.25
CONFIDENCE_BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 1.0)


@dataclass(frozen=True)
class Trouble:
    """One trouble of the truth; `must` says whether the log shows it beyond doubt."""

    subject: str
    start_s: float
    end_s: float
    must: bool = True


@dataclass(frozen=True)
class Kind:
    """One row of the table: which findings it counts, and what the truth holds of it."""

    title: str
    finds: Callable[[Finding], bool]
    troubles: Callable[[Judged], Sequence[Trouble]]


@dataclass
class Score:
    """What was counted so far."""

    found: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    true_by_bin: Counter[int] = field(default_factory=Counter)
    all_by_bin: Counter[int] = field(default_factory=Counter)
    clean_logs: int = 0
    clean_false: Counter[str] = field(default_factory=Counter)
    deaths: int = 0
    deaths_inside: int = 0
    failures: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def score(total: Score, judged: Judged) -> None:
    """Add one log to the total."""
    total.failures += [f"{judged.case.name}, {judged.logging}: {f}" for f in judged.analysis.failures]
    for kind in KINDS:
        _score_kind(total, judged, kind)
    _score_contacts(total, judged)
    _score_deaths(total, judged)
    if judged.case.clean:
        _score_clean(total, judged)


def _score_kind(total: Score, judged: Judged, kind: Kind) -> None:
    troubles = kind.troubles(judged)
    findings = [finding for finding in judged.analysis.findings if kind.finds(finding)]
    for trouble in troubles:
        if not trouble.must:
            continue
        if any(_meet(trouble, finding) for finding in findings):
            total.found[kind.title] += 1
        else:
            total.missed[kind.title] += 1
            total.remarks.append(_remark("missed", judged, kind.title, trouble))
    for finding in findings:
        true = any(_meet(trouble, finding) for trouble in troubles)
        place = _bin(finding.confidence)
        total.all_by_bin[place] += 1
        total.true_by_bin[place] += true
        if not true:
            total.false[kind.title] += 1
            total.remarks.append(_remark("false", judged, kind.title, finding))


def _score_contacts(total: Score, judged: Judged) -> None:
    found = judged.analysis.contacts
    with_axes = bool(judged.analysis.robot.contact.accelerometer)
    title = "contacts, accelerometer" if with_axes else "contacts, drive current"
    truth = [c["t_s"] for c in judged.truth["contacts"]]
    for contact in judged.truth["contacts"]:
        if any(abs(contact["t_s"] - one.t_s) < CONTACT_WITHIN_S for one in found):
            total.found[title] += 1
        elif contact["logged"] or not with_axes:
            total.missed[title] += 1
            total.remarks.append(f"missed {title}: {judged.case.name}, {judged.logging}: {contact}")
    for one in found:
        if not any(abs(at_s - one.t_s) < CONTACT_WITHIN_S for at_s in truth):
            total.false[title] += 1
            total.remarks.append(f"false {title}: {judged.case.name}, {judged.logging}: {one}")


def _score_deaths(total: Score, judged: Judged) -> None:
    """Whether the true time of death lies inside the interval that the sensor's state names, ± 1 s."""
    for fault in judged.truth["faults"]:
        if fault["kind"] != "dropout" or not str(fault["detail"].get("state", "")).startswith("stuck"):
            continue
        state = judged.analysis.sensors.get(fault["subject"])
        if state is None or state.dead_interval_s is None:
            continue
        low, high = state.dead_interval_s
        total.deaths += 1
        total.deaths_inside += low - 1.0 <= fault["start_s"] <= high + 1.0


def _score_clean(total: Score, judged: Judged) -> None:
    total.clean_logs += 1
    stalls = [Trouble(s["motor"], s["start_s"], s["end_s"]) for s in judged.truth["stalls"]]
    for finding in judged.analysis.findings:
        if finding.severity is Severity.NOTE or any(_meet(stall, finding) for stall in stalls):
            continue
        total.clean_false[finding.kind] += 1
        total.remarks.append(_remark("false on a clean log", judged, finding.kind, finding))


def _meet(trouble: Trouble, finding: Finding) -> bool:
    return (
        trouble.subject == finding.subject
        and finding.start_s < trouble.end_s + SLACK_S
        and trouble.start_s - SLACK_S < finding.end_s
    )


def _bin(confidence: float) -> int:
    return sum(confidence >= edge for edge in CONFIDENCE_BINS[1:-1])


def _remark(word: str, judged: Judged, kind: str, one: Trouble | Finding) -> str:
    text = one.text if isinstance(one, Finding) else ""
    span = f"{one.start_s:.2f} to {one.end_s:.2f} s"
    return f"{word} {kind} of {one.subject}, {span}: {judged.case.name}, {judged.logging} {text}"


def _faults(judged: Judged, kind: str) -> list[dict[str, Any]]:
    return [fault for fault in judged.truth["faults"] if fault["kind"] == kind]


def _trouble(fault: Mapping[str, Any], *, must: bool = True) -> Trouble:
    return Trouble(fault["subject"], fault["start_s"], fault["end_s"], must)


def _period_s(judged: Judged) -> float:
    logging = judged.truth["logging"]
    return 1.0 / float(logging["switch_rate_hz"] or logging["rate_hz"])


def _dropouts(judged: Judged) -> list[Trouble]:
    """Each during which a piece went by, in and out, mostly misread, must be told; another one may be.

    A piece that still stands there as the beam comes back, or none at all, reads like one that came later.
    """
    beams = [fault for fault in _faults(judged, "dropout") if "role" not in fault["detail"]]
    return [_trouble(f, must=f["detail"]["wrong_rows"] > 0 and f["detail"]["passes_lost"] > 0) for f in beams]


def _harnesses(judged: Judged) -> list[Trouble]:
    return [_trouble(f) for f in _faults(judged, "dropout") if f["detail"].get("role") == "harness"]


def _chatter(judged: Judged) -> list[Trouble]:
    """A burst must falsify four readings and have four bounces; a weaker one may be told.

    Read ten times a second, a pass is as long as a reading: the check says that it cannot judge. A lead that
    comes loose flickers as it parts and as it meets again: that may be told, too.
    """
    shows = _period_s(judged) < 0.06
    parts = [(f, f[end]) for f in _faults(judged, "dropout") for end in ("start_s", "end_s")]
    return [Trouble(f["subject"], at_s - SLACK_S, at_s + SLACK_S, must=False) for f, at_s in parts] + [
        _trouble(f, must=shows and f["detail"]["wrong_rows"] >= 4 and f["detail"]["edges"] >= 8)
        for f in _faults(judged, "chatter")
    ]


def _limit_bounces(judged: Judged) -> list[Trouble]:
    """A bounce lasts 10 to 80 ms: read every 50 ms, it may not show."""
    return [_trouble(f, must=_period_s(judged) < 0.05) for f in _faults(judged, "limit_bounce")]


def _limit_missed(judged: Judged) -> list[Trouble]:
    """Only where the motor of the limit ran into its stop does the log show it."""
    motor = judged.truth["robot"]["hoist"]["name"]
    stalls = [stall["start_s"] for stall in judged.truth["stalls"] if stall["motor"] == motor]
    return [
        _trouble(f, must=any(f["start_s"] <= at_s for at_s in stalls))
        for f in _faults(judged, "limit_missed")
    ]


def _limit_overruns(judged: Judged) -> list[Trouble]:
    return [_trouble(f, must=f["end_s"] - f["start_s"] >= 0.3) for f in _faults(judged, "limit_overrun")]


def _limit_strays(judged: Judged) -> list[Trouble]:
    """Short of its end a limit closes unseen where no speed of the motor is logged to measure the way by."""
    logging = judged.truth["logging"]
    measured = f"{judged.truth['robot']['hoist']['name']}.speed" not in logging["omit"]
    return [_trouble(f, must=measured or "share" not in f["detail"]) for f in _faults(judged, "limit_stray")]


def _stalls(judged: Judged) -> list[Trouble]:
    return [Trouble(s["motor"], s["start_s"], s["end_s"]) for s in judged.truth["stalls"]]


def _of_kind(kind: str) -> Callable[[Finding], bool]:
    return lambda finding: finding.kind == kind and finding.role != "harness"


def _plain(kind: str) -> Kind:
    return Kind(kind, _of_kind(kind), lambda judged: [_trouble(f) for f in _faults(judged, kind)])


KINDS: tuple[Kind, ...] = (
    Kind("dropout", _of_kind("dropout"), _dropouts),
    Kind("dropout of a harness", lambda finding: finding.role == "harness", _harnesses),
    Kind("chatter", _of_kind("chatter"), _chatter),
    _plain("flatline"),
    _plain("log_gap"),
    _plain("noisy_range"),
    Kind("limit_overrun", _of_kind("limit_overrun"), _limit_overruns),
    Kind("limit_bounce", _of_kind("limit_bounce"), _limit_bounces),
    Kind("limit_missed", _of_kind("limit_missed"), _limit_missed),
    _plain("limit_conflict"),
    Kind("limit_stray", _of_kind("limit_stray"), _limit_strays),
    Kind("stall", _of_kind("stall"), _stalls),
)
"""The rows of the table; one more kind is one more entry."""

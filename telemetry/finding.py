"""Finding and Severity: one trouble, where and when, how sure, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from enum import StrEnum
from types import MappingProxyType

from telemetry.dataclass import dataclass

__all__ = ["KINDS", "Check", "Finding", "Severity", "Verdict"]

KINDS = (
    "dropout", "chatter", "flatline", "log_gap", "stall", "near_stall", "no_draw", "breaker_cycling",
    "overheat", "breaker_risk", "chain_risk", "load_share", "friction_trend", "limit_overrun",
    "limit_bounce", "limit_conflict", "limit_missed", "limit_stray", "voltage_dip", "brownout",
    "source_resistance", "noisy_range", "indicator_tell",
)  # fmt: skip
"""Every kind of finding there is, in the contract's order."""


class Severity(StrEnum):
    """When it must be dealt with."""

    FIX = "fix"
    WATCH = "watch"
    NOTE = "note"


class Verdict(StrEnum):
    """What a detector can say of a subject. Not evaluated is never shown as fine."""

    CLEAR = "clear"
    FOUND = "found"
    NOT_EVALUATED = "not_evaluated"


@dataclass(frozen=True)
class Finding:
    """One trouble.

    Attributes:
        kind: out of `KINDS`.
        subject: the name in the robot file (a beam, limit, range, motor, mechanism, harness, axis), or
            `supply`, `log`, `indicator`; hostile until escaped.
        role: what the subject is: `beam limit range motor mechanism harness supply accelerometer log
            indicator`.
        start_s, end_s: half-open interval on the log's clock.
        confidence: 0 to 1, the chance that it is true.
        evidence: numbers and words behind it, JSON-able, keys with units.
        text: one sentence with the figure and unit.
        advice: what to do, in the imperative.
        minutes: roughly how long that takes.
        cautions: what can hurt while doing it.
    """

    kind: str
    subject: str
    role: str
    start_s: float
    end_s: float
    severity: Severity
    confidence: float
    text: str
    advice: str
    evidence: Mapping[str, object] = field(default_factory=lambda: MappingProxyType({}))
    minutes: float = 2.0
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Check:
    """What one detector said of one subject; `reason` stands where it could not judge."""

    kind: str
    subject: str
    verdict: Verdict
    reason: str | None = None

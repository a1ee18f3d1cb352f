"""A light that tells opponents that the robot is loaded: hits come oftener while it is lit."""

from __future__ import annotations

from telemetry.analysis import Analysis
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.light import LightCount, count_by_light
from telemetry.finding import Finding, Severity
from telemetry.statistics import RateComparison, compare_rates

__all__ = ["INDICATOR_TELL", "TRY_OUT"]

TRY_OUT = (
    "What to try is the team's own decision: show the light later, dim it, or light it falsely for a match, "
    "and compare. A loaded robot also drives where opponents are: the light need not be the cause."
)

_LEVEL = 0.05
_LEAST_TIME_S = 5.0
_LEAST_HITS = 4


def _judge(known: Analysis, subject: str) -> Judgement:
    """Two exact Poisson rates (see `compare_rates`); found where hits while lit are the more frequent."""
    counts = count_by_light(known)
    if counts is None:
        return NotEvaluated("the light is not logged, or nothing could tell a hit")
    if min(counts.lit_s, counts.dark_s) < _LEAST_TIME_S:
        return NotEvaluated("the light was lit, or dark, for less than 5 s of the match")
    if counts.hits_lit + counts.hits_dark < _LEAST_HITS:
        return NotEvaluated("there were fewer than four hits to compare")
    rates = compare_rates(counts.hits_lit, counts.lit_s, counts.hits_dark, counts.dark_s)
    oftener = counts.hits_lit / counts.lit_s > counts.hits_dark / counts.dark_s
    if not oftener or rates.p > _LEVEL:
        return ()
    return (_finding(known, subject, counts, rates),)


def _finding(known: Analysis, subject: str, counts: LightCount, rates: RateComparison) -> Finding:
    times = f"{rates.rate_ratio:.1f} times as often" if rates.rate_ratio is not None else "only then"
    return Finding(
        kind="indicator_tell",
        subject=subject,
        role="indicator",
        start_s=known.match.start_s,
        end_s=known.match.end_s,
        severity=Severity.NOTE,
        confidence=min(0.95, 1 - rates.p),
        text=(
            f"{counts.hits_lit} hits in {counts.lit_s:.0f} s with the light lit against "
            f"{counts.hits_dark} in {counts.dark_s:.0f} s with it dark: {times} (p = {rates.p:.2g})."
        ),
        advice=TRY_OUT,
        evidence={
            "hits_lit": counts.hits_lit,
            "lit_s": counts.lit_s,
            "hits_dark": counts.hits_dark,
            "dark_s": counts.dark_s,
            "rate_ratio": rates.rate_ratio,
            "low": rates.low,
            "high": rates.high,
            "p": rates.p,
        },
        minutes=5.0,
    )


INDICATOR_TELL = Detector(
    "indicator_tell",
    "Light that gives the load away",
    lambda robot: ("indicator",) if robot.indicator else (),
    _judge,
    ("contacts",),
)

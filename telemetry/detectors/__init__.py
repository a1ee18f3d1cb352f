"""The one registry of detectors, in the order in which they run; none calls another."""

from __future__ import annotations

from telemetry.detectors import (
    breaker_risk,
    chain_risk,
    chatter,
    dropout,
    flatline,
    harness,
    indicator_tell,
    limits,
    load_share,
    log_gap,
    no_draw,
    noisy_range,
    overheat,
    source_resistance,
    stall,
    voltage,
)
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated

__all__ = ["DETECTORS", "Detector", "Judgement", "NotEvaluated"]

DETECTORS: tuple[Detector, ...] = (
    dropout.DROPOUT,
    harness.HARNESS,
    flatline.FLATLINE,
    chatter.CHATTER,
    chatter.LIMIT_BOUNCE,
    limits.LIMIT_OVERRUN,
    limits.LIMIT_CONFLICT,
    limits.LIMIT_MISSED,
    limits.LIMIT_STRAY,
    noisy_range.NOISY_RANGE,
    log_gap.LOG_GAP,
    stall.STALL,
    stall.NEAR_STALL,
    no_draw.NO_DRAW,
    no_draw.BREAKER_CYCLING,
    overheat.OVERHEAT,
    breaker_risk.BREAKER_RISK,
    chain_risk.CHAIN_RISK,
    load_share.LOAD_SHARE,
    voltage.VOLTAGE_DIP,
    voltage.BROWNOUT,
    source_resistance.SOURCE_RESISTANCE,
    indicator_tell.INDICATOR_TELL,
)

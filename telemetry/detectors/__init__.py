"""The one registry of detectors, in the order in which they run; none calls another."""

from __future__ import annotations

from telemetry.detectors import chatter, dropout, log_gap, stall, voltage
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated

__all__ = ["DETECTORS", "Detector", "Judgement", "NotEvaluated"]

DETECTORS: tuple[Detector, ...] = (
    dropout.DROPOUT,
    chatter.CHATTER,
    chatter.LIMIT_BOUNCE,
    log_gap.LOG_GAP,
    stall.STALL,
    stall.NEAR_STALL,
    voltage.VOLTAGE_DIP,
    voltage.BROWNOUT,
)

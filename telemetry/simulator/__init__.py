"""A robot that never existed, with known truth. Shares nothing with the analysis."""

from telemetry.simulator.contacts import Contact
from telemetry.simulator.event import simulate_event
from telemetry.simulator.faults import (
    BeamDead,
    BeamDropouts,
    Chatter,
    DevicesLost,
    Fault,
    FaultRecord,
    FeedJam,
    LimitOverrun,
    LogGap,
    LooseLug,
    MotorUnplugged,
    TightMechanism,
)
from telemetry.simulator.logger import LoggerSpec, LogTable
from telemetry.simulator.match import SimulatedMatch, relog, simulate_match, write_match
from telemetry.simulator.plan import MatchPlan
from telemetry.simulator.specification import (
    BatterySpec,
    BeamSpec,
    ChainSpec,
    HoistSpec,
    LauncherSpec,
    LimitSpec,
    MotorSpec,
    RobotSpec,
    TowerSpec,
)

__all__ = [
    "BatterySpec",
    "BeamDead",
    "BeamDropouts",
    "BeamSpec",
    "ChainSpec",
    "Chatter",
    "Contact",
    "DevicesLost",
    "Fault",
    "FaultRecord",
    "FeedJam",
    "HoistSpec",
    "LauncherSpec",
    "LimitOverrun",
    "LimitSpec",
    "LogGap",
    "LogTable",
    "LoggerSpec",
    "LooseLug",
    "MatchPlan",
    "MotorSpec",
    "MotorUnplugged",
    "RobotSpec",
    "SimulatedMatch",
    "TightMechanism",
    "TowerSpec",
    "relog",
    "simulate_event",
    "simulate_match",
    "write_match",
]

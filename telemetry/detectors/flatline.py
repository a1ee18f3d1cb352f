"""Analog channels that send nothing, or one number over and over: motors, ranges, accelerometer, supply."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from telemetry.analysis import Analysis
from telemetry.detectors.detector import Detector, Judgement, NotEvaluated
from telemetry.estimators.contacts import contact_before
from telemetry.estimators.harnesses import explained_by_harness
from telemetry.finding import Finding, Severity
from telemetry.records.sensors import Lapse
from telemetry.robot import Robot
from telemetry.wording import HANDS_IN, counted, match_clock, when

__all__ = ["FLATLINE"]

_FIX_S = 2.0
_CONFIDENCE = {"missing": 0.97, "frozen": 0.93}
_DID = {"missing": "sent nothing", "frozen": "froze at one value"}


def _parts(robot: Robot) -> Mapping[str, tuple[str, tuple[str, ...]]]:
    """The role of each subject and the channels it is read from."""
    parts: dict[str, tuple[str, tuple[str, ...]]] = {}
    for name, motor in robot.motors.items():
        channels = (motor.current, motor.speed, motor.command)
        parts[name] = "motor", tuple(channel for channel in channels if channel)
    for name, sensor in robot.ranges.items():
        parts.setdefault(name, ("range", (sensor.signal,)))
    for channel in robot.contact.accelerometer:
        parts.setdefault(channel, ("accelerometer", (channel,)))
    supply = tuple(channel for channel in (robot.supply.voltage, robot.supply.current) if channel)
    if supply:
        parts.setdefault("supply", ("supply", supply))
    return {name: part for name, part in parts.items() if part[1]}


def _judge(known: Analysis, subject: str) -> Judgement:
    role, channels = _parts(known.robot)[subject]
    logged = [name for name in channels if name in known.part.channels and len(known.part.channels[name].t_s)]
    if not logged:
        return NotEvaluated("none of its channels holds a value")
    if not any(known.part.channels[name].sampled for name in logged):
        return NotEvaluated("its channels are logged on change only, so that silence says nothing")
    lapses = sorted((lapse for name in logged for lapse in known.lapses.get(name, ())), key=_by_start)
    together = [group for group in _together(lapses) if not _explained(known, subject, group)]
    return [_finding(known, subject, role, group) for group in together]


def _by_start(lapse: Lapse) -> tuple[float, str]:
    return lapse.start_s, lapse.channel


def _together(lapses: Sequence[Lapse]) -> list[list[Lapse]]:
    """Lapses that overlap, grouped."""
    groups: list[list[Lapse]] = []
    for lapse in lapses:
        if groups and lapse.start_s < max(one.end_s for one in groups[-1]):
            groups[-1].append(lapse)
        else:
            groups.append([lapse])
    return groups


def _explained(known: Analysis, subject: str, group: Sequence[Lapse]) -> bool:
    return explained_by_harness(known, subject, group[0].start_s, max(one.end_s for one in group))


def _finding(known: Analysis, subject: str, role: str, group: Sequence[Lapse]) -> Finding:
    start_s, end_s = group[0].start_s, max(one.end_s for one in group)
    kind = "missing" if any(one.kind == "missing" for one in group) else "frozen"
    channels = list(dict.fromkeys(one.channel for one in group))
    contact = contact_before(known.contacts, start_s)
    open_at_end = end_s >= known.match.end_s
    span = when(known.match, start_s, end_s)
    if open_at_end:
        span = f"{match_clock(known.match, start_s)} to the end"
    hit = f"; it began {start_s - contact.t_s:.2f} s after a hit" if contact else ""
    what = "The supply" if role == "supply" else f"{role.capitalize()} {subject}"
    return Finding(
        kind="flatline",
        subject=subject,
        role=role,
        start_s=start_s,
        end_s=end_s,
        severity=Severity.FIX if open_at_end or end_s - start_s >= _FIX_S else Severity.WATCH,
        confidence=_CONFIDENCE[kind],
        text=(
            f"{what} {_DID[kind]} in {counted(len(channels), 'channel')} for {end_s - start_s:.1f} s, "
            f"{span}, though the log went on{hit}."
        ),
        advice=_advice(role, subject),
        evidence={
            "state": kind,
            "channels": channels,
            "came_back": not open_at_end,
            "phase": known.match.phase_at(start_s),
            "contact_t_s": contact.t_s if contact else None,
            "open_at_end": open_at_end,
        },
        minutes=4.0,
        cautions=(HANDS_IN,),
    )


def _advice(role: str, subject: str) -> str:
    if role == "motor":
        return (
            f"Look at the data lead and the supply of the controller of motor {subject}: reseat, then "
            "tug-test; what it shows meanwhile is old."
        )
    if role == "supply":
        return "Look at the data lead of what measures the battery: reseat, then tug-test."
    return f"Look at the connector and the lead of {role} {subject}: reseat, then tug-test."


FLATLINE = Detector(
    "flatline", "Missing or frozen values", lambda robot: tuple(_parts(robot)), _judge, needs=("lapses",)
)

"""Each motor's match in a few numbers."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from telemetry.estimators.breakers import breaker_load
from telemetry.estimators.chains import chain_shares
from telemetry.estimators.energy import by_phase, motor_power_w, running_integral
from telemetry.estimators.heat import heat_is_told, next_match_safe_a, time_left_s
from telemetry.log import FloatArray
from telemetry.match import Match
from telemetry.records.motors import MotorStates, MotorTrace, MotorUse
from telemetry.robot import Motor, Robot

__all__ = ["sum_up_use"]


def sum_up_use(
    robot: Robot, motors: Mapping[str, MotorTrace], states: Mapping[str, MotorStates], match: Match
) -> Mapping[str, MotorUse]:
    """Each motor's match in a few numbers."""
    return MappingProxyType(
        {name: _use(robot.motors[name], trace, states.get(name), match) for name, trace in motors.items()}
    )


def _use(motor: Motor, trace: MotorTrace, states: MotorStates | None, match: Match) -> MotorUse:
    heated = heat_is_told(trace)
    ranged = len(trace.heat_low) > 0
    power_w = motor_power_w(trace)
    energy_wh = None if power_w is None else running_integral(trace.t_s, power_w) / 3600
    breaker, chain = breaker_load(trace, motor), chain_shares(trace, motor)
    return MotorUse(
        peak_current_a=float(trace.current_a.max()),
        stall_s=_standing_s(states, states.stall) if states else None,
        near_stall_s=_standing_s(states, states.near_stall) if states else None,
        peak_heat=float(trace.heat.max()) if heated else None,
        end_heat=float(trace.heat[-1]) if heated else None,
        energy_wh=None if energy_wh is None else float(energy_wh[-1]),
        energy_by_phase_wh=None if energy_wh is None else by_phase(match, trace.t_s, energy_wh),
        heat_time_left_s=time_left_s(trace, motor, match) if heated else None,
        next_match_safe_a=next_match_safe_a(trace, motor, match) if heated else None,
        breaker_fraction=None if breaker is None else float(breaker.fraction.max()),
        chain_share=None if chain is None else float(chain.max()),
        peak_heat_low=float(trace.heat_low.max()) if ranged else None,
        peak_heat_high=float(trace.heat_high.max()) if ranged else None,
    )


def _standing_s(states: MotorStates, intervals_s: FloatArray) -> float | None:
    """None where nothing was found and something may be hidden."""
    return None if states.unsure_a is not None and not len(intervals_s) else _total_s(intervals_s)


def _total_s(intervals_s: FloatArray) -> float:
    return float((intervals_s[:, 1] - intervals_s[:, 0]).sum())

"""Gears, sprockets, roller chain and held arms: what a torque at the motor means further down."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TypeVar

from telemetry.log import FloatArray
from telemetry.robot import Chain

__all__ = [
    "LBF_IN_PER_NM", "N_PER_LBF", "STANDARD_GRAVITY_M_S2", "chain_load_share", "chain_pull_n",
    "chain_tensile_strength_lbf", "chordal_variation", "gear_reduction", "held_torque_nm", "lbf_in_to_nm",
    "motor_torque_nm", "nm_to_lbf_in", "output_torque_nm", "pitch_diameter",
]  # fmt: skip

STANDARD_GRAVITY_M_S2 = 9.80665
"""CGPM 1901; ISO 80000-3."""

N_PER_LBF = 0.45359237 * STANDARD_GRAVITY_M_S2
"""One pound-force in newtons: the avoirdupois pound of 1959 in standard gravity."""

_M_PER_IN = 0.0254
LBF_IN_PER_NM = 1 / (N_PER_LBF * _M_PER_IN)
"""Pound-force inches in one newton metre: 8.85."""

Value = TypeVar("Value", float, FloatArray)


def lbf_in_to_nm(torque_lbf_in: Value) -> Value:
    """Pound-force inches to newton metres."""
    return torque_lbf_in / LBF_IN_PER_NM


def nm_to_lbf_in(torque_nm: Value) -> Value:
    """Newton metres to pound-force inches."""
    return torque_nm * LBF_IN_PER_NM


def gear_reduction(stages: Iterable[tuple[float, float]]) -> float:
    """Turns of the first shaft per turn of the last; stages are (driving, driven) teeth.

    Source: train value as the product of tooth ratios (Shigley, Mechanical Engineering Design). A planetary
    stage of 5:1 is (1, 5).
    """
    return math.prod(driven / driving for driving, driven in stages)


def output_torque_nm(torque_nm: Value, reduction: float, *, efficiencies: Sequence[float] = ()) -> Value:
    """Torque after a reduction, each stage passing on the given share of the power (all, by default)."""
    return torque_nm * (reduction * math.prod(efficiencies))


def motor_torque_nm(output_nm: Value, reduction: float, *, efficiencies: Sequence[float] = ()) -> Value:
    """Torque the motor must give for a torque after the reduction: `output_torque_nm` backwards."""
    return output_nm / (reduction * math.prod(efficiencies))


def pitch_diameter(pitch: float, teeth: int) -> float:
    """Pitch diameter of a sprocket, in the unit of `pitch`: p / sin(180° / N). ISO 606:2015, Annex A."""
    if teeth < 3:
        raise ValueError(f"a sprocket needs at least 3 teeth, not {teeth}")
    return pitch / math.sin(math.pi / teeth)


def chain_pull_n(torque_nm: Value, *, pitch_in: float, teeth: int) -> Value:
    """Pull in the tight side of a chain under a torque at its sprocket, in newtons: 2·T / pitch diameter."""
    return 2 * torque_nm / (pitch_diameter(pitch_in, teeth) * _M_PER_IN)


def chordal_variation(teeth: int) -> float:
    """By how much, as a share, a chain's speed falls below its highest with every tooth: 1 − cos(180° / N).

    A sprocket is a polygon: the links run at its pitch radius and at that times the cosine by turns.
    """
    if teeth < 3:
        raise ValueError(f"a sprocket needs at least 3 teeth, not {teeth}")
    return 1 - math.cos(math.pi / teeth)


def chain_tensile_strength_lbf(pitch_in: float) -> float:
    """Least ultimate tensile strength of a standard single-strand roller chain: 12,500 p² (ASME B29.1).

    The light chain 41 (1,500 lbf) is the standard's own exception; bushing chain under 1/4 in is not covered.
    """
    return 12_500.0 * pitch_in**2


def chain_load_share(motor_torque: Value, reduction: float, chain: Chain) -> Value:
    """Chain pull as a share of the breaking load, from the motor's torque in N·m, without losses."""
    pull_n = chain_pull_n(motor_torque * reduction, pitch_in=chain.pitch_in, teeth=chain.sprocket_teeth)
    return pull_n / (chain.breaking_load_lbf * N_PER_LBF)


def held_torque_nm(mass_kg: float, arm_m: float, *, angle_deg: float = 0.0) -> float:
    """Torque that holds a mass at the end of an arm, `angle_deg` above level: m·g·r·cos(angle)."""
    return mass_kg * STANDARD_GRAVITY_M_S2 * arm_m * math.cos(math.radians(angle_deg))

"""Sprockets, chain, arm and gears against published numbers."""

from __future__ import annotations

import numpy as np

from telemetry.drivetrain import (
    chain_tensile_strength_lbf,
    gear_reduction,
    held_torque_nm,
    output_torque_nm,
    pitch_diameter,
)
from tests.checks.published import approx, published


def test_ch_01_pitch_diameters_in_millimetres() -> None:
    """A printed sprocket table for 1 in pitch; the function of ISO 606:2015, Annex A."""
    check = published("ch-01")
    assert [pitch_diameter(check["inputs"]["p_mm"], n) for n in check["inputs"]["N"]] == approx(check)


def test_ch_02_pitch_diameters_in_inches() -> None:
    """ISO 606:2015, Annex A; a page prints 2.721 in for 1/2 in and 17 teeth."""
    check = published("ch-02")
    pairs = zip(check["inputs"]["p_in"], check["inputs"]["N"], strict=True)
    assert [pitch_diameter(pitch, teeth) for pitch, teeth in pairs] == approx(check)


def test_ch_04_least_tensile_strength_of_chain() -> None:
    """ASME B29.1, chains 25, 35, 40, 50, 60 and 80."""
    check = published("ch-04")
    assert [chain_tensile_strength_lbf(pitch) for pitch in check["inputs"]["p_in"]] == approx(check)


def test_ge_01_two_stage_reduction() -> None:
    """Train value as the product of tooth ratios (Shigley, Mechanical Engineering Design); worked."""
    check = published("ge-01")
    given = check["inputs"]
    ratio = gear_reduction(given["stages"])
    torque = output_torque_nm(given["T_Nm"], ratio, efficiencies=given["eff"])
    assert [ratio, given["rpm"] / ratio, torque] == approx(check)


def test_ar_01_a_held_arm() -> None:
    """Statics in standard gravity (CGPM 1901)."""
    check = published("ar-01")
    given = check["inputs"]
    torques = [held_torque_nm(given["m_kg"], given["r_m"], angle_deg=angle) for angle in given["angle_deg"]]
    assert np.asarray(torques) == approx(check, np.asarray(check["expected"]))

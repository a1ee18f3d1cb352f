"""The colours of the page on both grounds, and the contrast each pair must hold.

Contrast after WCAG 2.2 (W3C Recommendation 2023), "relative luminance" and "contrast ratio".
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["DARK", "GROUNDS", "LIGHT", "MARKS", "PRINT", "TEXTS", "contrast", "css_variables"]

TEXTS = ("ink", "soft", "fix", "watch", "note", "clear", "link")
"""Colours of text: at least 4.5:1 on every ground."""

MARKS = (
    "current", "heat", "voltage", "beam", "limit", "pieces", "band-edge", "contact", "cycle", "frame",
    "cursor", "phase-edge",
)  # fmt: skip
"""Colours of lines and marks that carry meaning: at least 3:1 on every ground."""

GROUNDS = ("paper", "sheet", "tint")
"""What text and marks stand on."""

LIGHT: Mapping[str, str] = MappingProxyType(
    {
        "paper": "#f1f4ee", "sheet": "#fbfcf9", "tint": "#e6ece3",
        "ink": "#17211c", "soft": "#47544c", "link": "#15508a",
        "fix": "#a3231a", "watch": "#7a4a00", "note": "#3a5368", "clear": "#22653a",
        "rule": "#b4c1b6", "grid": "#d3ddd3", "frame": "#5d6d62",
        "current": "#1c5488", "heat": "#b04a12", "voltage": "#6a3f8c", "beam": "#1d6b57",
        "limit": "#6b5a16", "pieces": "#17211c", "band": "#bfd3c4", "band-edge": "#5b7a66",
        "contact": "#8a2557", "cycle": "#3f6474", "cursor": "#a3231a", "phase-edge": "#5d6d62",
    }
)  # fmt: skip
"""By day: ink on the pale green of chart paper."""

DARK: Mapping[str, str] = MappingProxyType(
    {
        "paper": "#0f1512", "sheet": "#161e1a", "tint": "#202a25",
        "ink": "#e4ebe5", "soft": "#a7b5ab", "link": "#8cc0f0",
        "fix": "#ff9a8a", "watch": "#e9b45c", "note": "#a6c3da", "clear": "#83cf9b",
        "rule": "#3d4b43", "grid": "#29352f", "frame": "#83958a",
        "current": "#7fb8ee", "heat": "#f39a63", "voltage": "#c9a3ea", "beam": "#6cc9ac",
        "limit": "#cfb962", "pieces": "#e4ebe5", "band": "#32483c", "band-edge": "#7c9c88",
        "contact": "#ec8fbd", "cycle": "#8fb6c6", "cursor": "#ff9a8a", "phase-edge": "#83958a",
    }
)  # fmt: skip
"""By night: chalk on a dark board."""

PRINT: Mapping[str, str] = MappingProxyType(
    {**LIGHT, "paper": "#ffffff", "sheet": "#ffffff", "tint": "#f2f2f2", "ink": "#000000", "soft": "#333333"}
)
"""On paper: black on white."""


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours `#rgb` or `#rrggbb`: 1 to 21."""
    darker, lighter = sorted((_luminance(one), _luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    digits = colour.removeprefix("#")
    digits = "".join(digit * 2 for digit in digits) if len(digits) == 3 else digits
    red, green, blue = (_linear(int(digits[at : at + 2], 16) / 255) for at in (0, 2, 4))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4


def css_variables() -> str:
    """The three sets as custom properties of the root."""
    return (
        f":root{{color-scheme:light dark;{_declared(LIGHT)}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{_declared(DARK)}}}}}\n"
        f"@media print{{:root{{{_declared(PRINT)}}}}}\n"
    )


def _declared(colours: Mapping[str, str]) -> str:
    return "".join(f"--{name}:{value};" for name, value in colours.items())

"""Every colour of the page can be told from its ground, by day, by night and on paper."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from reports.palette import DARK, GROUNDS, LIGHT, MARKS, PRINT, TEXTS, contrast, css_variables

SETS = {"light": LIGHT, "dark": DARK, "print": PRINT}


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("colour", TEXTS)
@pytest.mark.parametrize("name", SETS)
def test_text_stands_out_4_5_to_1(name: str, colour: str, ground: str) -> None:
    assert contrast(SETS[name][colour], SETS[name][ground]) >= 4.5


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("colour", MARKS)
@pytest.mark.parametrize("name", SETS)
def test_lines_and_marks_stand_out_3_to_1(name: str, colour: str, ground: str) -> None:
    assert contrast(SETS[name][colour], SETS[name][ground]) >= 3


@pytest.mark.parametrize("name", SETS)
def test_text_on_filled_marks_can_be_read(name: str) -> None:
    colours = SETS[name]

    assert contrast(colours["sheet"], colours["fix"]) >= 4.5
    assert contrast(colours["sheet"], colours["ink"]) >= 4.5
    assert contrast(colours["ink"], colours["band"]) >= 4.5


def test_all_sets_name_the_same_colours() -> None:
    assert LIGHT.keys() == DARK.keys() == PRINT.keys()


def test_the_style_takes_every_colour_from_the_palette() -> None:
    style = files("reports").joinpath("assets", "page.css").read_text()
    own = {"text", "head", "label", "edge", "zoom", "at", "bar"}

    assert set(re.findall(r"var\(--([\w-]+)", style)) - own <= LIGHT.keys()
    assert re.findall(r":\s*#[0-9a-f]{3,6}", style) == []
    assert all(f"--{name}:{value}" in css_variables() for name, value in DARK.items())

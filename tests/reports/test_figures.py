"""Figures on request: which there are, the same bytes twice, names of a log as plain text."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from reports.figures import figure_files
from reports.writing import write_figures
from tests.reports.synthetic_match import bare_analysis, synthetic_analysis

STARTS = {"png": b"\x89PNG", "pdf": b"%PDF", "svg": b"<?xml"}


@pytest.mark.parametrize("kind", STARTS)
def test_every_kind_is_what_it_says(kind: str, tmp_path: Path) -> None:
    write_figures(synthetic_analysis(rate_hz=10), tmp_path, kind)

    files = {path.name: path.read_bytes() for path in (tmp_path / "figures").iterdir()}
    assert set(files) >= {f"{name}.{kind}" for name in ("strip", "cycles", "dwells")}
    assert all(content.startswith(STARTS[kind]) for content in files.values())


@pytest.mark.parametrize("kind", ["svg", "pdf"])
def test_the_same_match_gives_the_same_bytes(kind: str) -> None:
    analysis = replace(synthetic_analysis(rate_hz=10), motors={})

    assert dict(figure_files(analysis, kind)) == dict(figure_files(analysis, kind))


def test_a_hostile_name_is_plain_text() -> None:
    plain = synthetic_analysis(rate_hz=10)
    name = r"$\frac{1}{0}$ <script>"
    analysis = replace(plain, motors={name: plain.motors["feed"]}, match=replace(plain.match, name=name))

    drawn = dict(figure_files(analysis, "svg"))["strip.svg"].decode()

    assert r"$\frac{1}{0}$ &lt;script&gt;" in drawn
    assert not re.search("<script", drawn)


def test_a_match_of_which_nothing_is_known_has_no_figure() -> None:
    assert list(figure_files(bare_analysis(), "png")) == []


def test_another_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="choose png, pdf, svg"):
        next(figure_files(synthetic_analysis(rate_hz=10), "bmp"))

"""Compiled templates are kept like compiled modules, and never trusted when they do not fit."""

import sys
from pathlib import Path

import jinja2
import pytest

from reports.template_cache import TemplateCache


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(sys, "pycache_prefix", None)
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    (tmp_path / "page.j2").write_text("{{ word }}!")
    return tmp_path


def rendered(folder: Path, *, trim_blocks: bool = False) -> str:
    loader = jinja2.FileSystemLoader(folder)
    made = jinja2.Environment(
        loader=loader, bytecode_cache=TemplateCache(), autoescape=True, trim_blocks=trim_blocks
    )
    return made.get_template("page.j2").render(word="acorn")


def kept(folder: Path) -> list[Path]:
    return sorted((folder / "__pycache__").glob("*"))


def test_code_is_kept_once_and_used_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert rendered(folder) == "acorn!"
    assert len(kept(folder)) == 1

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("compiled again")

    monkeypatch.setattr(jinja2.Environment, "compile", refuse)
    assert rendered(folder) == "acorn!"


def test_a_changed_template_is_compiled_anew(folder: Path) -> None:
    rendered(folder)
    (folder / "page.j2").write_text("{{ word }}?")
    assert rendered(folder) == "acorn?"


def test_other_settings_are_compiled_anew(folder: Path) -> None:
    rendered(folder)
    before = kept(folder)[0].read_bytes()
    assert rendered(folder, trim_blocks=True) == "acorn!"
    assert kept(folder)[0].read_bytes() != before


@pytest.mark.parametrize("damage", [b"", b"garbage", None])
def test_a_damaged_file_is_compiled_anew(folder: Path, damage: bytes | None) -> None:
    rendered(folder)
    (file,) = kept(folder)
    file.write_bytes(file.read_bytes()[:-20] if damage is None else damage)
    assert rendered(folder) == "acorn!"


def test_where_nothing_may_be_written_nothing_is_kept(folder: Path) -> None:
    (folder / "__pycache__").write_text("a file where the folder should be")
    assert rendered(folder) == "acorn!"


def test_python_may_be_told_to_keep_nothing(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    assert rendered(folder) == "acorn!"
    assert not (folder / "__pycache__").exists()

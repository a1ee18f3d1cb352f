"""The house: arrows run one way, bare imports are light, public faces are what they say."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("telemetry", "parsers", "reports")
FORBIDDEN = {
    "telemetry": {"parsers", "reports"},
    "parsers": {"reports"},
    "reports": {"parsers"},
}
_OUTSIDE = {"io", "os", "pathlib", "random", "shutil", "subprocess", "time"}
HEAVY = ("numpy", "polars", "pyarrow", "scipy", "matplotlib", "pydantic", "jinja2", "rich", "pandas")


def _modules(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


def _imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            found.add(node.module)
    return found


@pytest.mark.parametrize("package", PACKAGES)
def test_arrows_run_one_way(package: str) -> None:
    for path in _modules(package):
        if _is_command(path):
            continue
        tops = {name.partition(".")[0] for name in _imports(path)}
        assert not tops & FORBIDDEN[package], f"{path.relative_to(ROOT)} imports {tops & FORBIDDEN[package]}"


def _is_command(path: Path) -> bool:
    return path.name == "cli.py" or path.parent.name == "commands"


@pytest.mark.parametrize("path", [*filter(_is_command, _modules("telemetry"))], ids=lambda path: path.stem)
def test_the_command_imports_other_packages_inside_its_commands_only(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    at_top = {
        (node.module if isinstance(node, ast.ImportFrom) else node.names[0].name).partition(".")[0]
        for node in tree.body
        if isinstance(node, ast.Import | ast.ImportFrom)
    }
    assert not at_top & {"parsers", "reports"}


def test_simulator_and_analysis_share_nothing() -> None:
    own = {"telemetry.simulator"}
    for path in _modules("telemetry"):
        ours = {name for name in _imports(path) if name.startswith("telemetry")}
        if "simulator" in path.relative_to(ROOT).parts:
            assert all(name.startswith("telemetry.simulator") for name in ours), path
        elif not _is_command(path):
            assert not any(name.startswith("telemetry.simulator") for name in ours - own), path
            assert not ours & own, path


def test_no_detector_or_estimator_reads_or_writes_files() -> None:
    for folder in ("detectors", "estimators"):
        for path in sorted((ROOT / "telemetry" / folder).rglob("*.py")):
            assert not _imports(path) & {"os", "pathlib", "io", "subprocess", "shutil", "random", "time"}, (
                path
            )


@pytest.mark.parametrize("package", PACKAGES)
def test_every_name_in_all_exists_and_every_module_says_what_it_is(package: str) -> None:
    root = importlib.import_module(package)
    names = [package, *(found.name for found in pkgutil.walk_packages(root.__path__, f"{package}."))]
    for name in names:
        module = importlib.import_module(name)
        assert module.__doc__, name
        for public in getattr(module, "__all__", ()):
            assert hasattr(module, public), f"{name}.{public}"


def _loaded_by(code: str) -> set[str]:
    listing = f"import sys\n{code}\nprint(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", listing], capture_output=True, text=True, check=True)  # noqa: S603
    return {name.partition(".")[0] for name in done.stdout.splitlines()[-1].split()}


@pytest.mark.parametrize("name", ["telemetry", "parsers", "reports", "telemetry.cli"])
def test_a_bare_import_is_light(name: str) -> None:
    assert not _loaded_by(f"import {name}") & set(HEAVY)


@pytest.mark.parametrize("words", [["--help"], ["report", "--help"], ["simulate", "--help"]])
def test_help_imports_nothing_heavy(words: list[str]) -> None:
    asking = (
        f"sys.argv = ['rattletrace', *{words!r}]\n"
        "from telemetry.cli import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code"
    )
    assert not _loaded_by(asking) & set(HEAVY)

"""The simulator imports nothing of the analysis: it would prove only that the code agrees with itself."""

import ast
from pathlib import Path

import telemetry.simulator

FOLDER = Path(telemetry.simulator.__file__).parent


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            names.add(node.module or "")
    return names


def test_simulator_imports_of_our_own_packages_only_itself() -> None:
    ours = ("telemetry", "parsers", "reports")
    files = sorted(FOLDER.glob("*.py"))
    assert len(files) > 10
    for path in files:
        own = {name for name in imported(path) if name.split(".")[0] in ours}
        assert all(name.startswith("telemetry.simulator") for name in own), path.name


def test_public_names_are_all_there() -> None:
    for name in telemetry.simulator.__all__:
        assert hasattr(telemetry.simulator, name)

"""What all tests share: patience of property tests, and the report on the sample event, made once."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")

SAMPLES = Path(__file__).parents[1] / "sample_logs"


@pytest.fixture(scope="session")
def sample_report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that the command as a user runs it writes for the sample event."""
    out = tmp_path_factory.mktemp("sample") / "report"
    words = [sys.executable, "-m", "telemetry", "report", str(SAMPLES), "--out", str(out)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)  # noqa: S603
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return out

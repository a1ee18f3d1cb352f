"""`rattletrace replay`, as a user runs it: piped, as JSON, and on a terminal with keys."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

SAMPLES = Path(__file__).parents[2] / "sample_logs"
WORDS = [sys.executable, "-m", "telemetry", "replay", str(SAMPLES / "match-01.csv"),
         "--robot", str(SAMPLES / "robot.toml")]  # fmt: skip


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*WORDS, *words], capture_output=True, text=True, check=False)  # noqa: S603 - our own


def test_piped_it_writes_plain_lines_at_once() -> None:
    begun = time.monotonic()
    done = run("--from", "0:20", "--to", "1:20")

    lines = done.stdout.splitlines()
    assert done.returncode == 0
    assert lines[0] == "match-01, robot Jay"
    assert lines[1].split()[:3] == ["time", "phase", "aboard"]
    assert sum("teleop" in line and not line.startswith("  ") for line in lines) == 61
    assert "\x1b" not in done.stdout
    assert time.monotonic() - begun < 30


def test_as_json_it_writes_one_object_a_tick() -> None:
    told = [json.loads(line) for line in run("--from", "20", "--to", "22", "--json").stdout.splitlines()]

    assert [state["match_time_s"] for state in told] == [20.0, 21.0, 22.0]
    assert {"aboard", "beams", "limits", "hottest", "voltage_v", "events"} <= set(told[0])


def test_a_time_that_is_none_is_one_line() -> None:
    done = run("--from", "soon")

    assert done.returncode == 2
    assert done.stderr.startswith("rattletrace: ")
    assert done.stderr.count("\n") == 1


@pytest.mark.skipif(os.name != "posix", reason="a pseudo terminal is needed")
@pytest.mark.parametrize("no_colour", [False, True])
def test_on_a_terminal_keys_pause_step_and_quit(no_colour: bool) -> None:
    import pty

    leader, follower = pty.openpty()
    environment = {key: value for key, value in os.environ.items() if key != "NO_COLOR"}
    environment |= {"NO_COLOR": "1"} if no_colour else {}
    process = subprocess.Popen(  # noqa: S603 - our own
        [*WORDS, "--speed", "0.01"], stdin=follower, stdout=follower, stderr=follower, env=environment
    )
    os.close(follower)
    told = read_until(leader, "0:00.0")
    os.write(leader, b"n")
    told += read_until(leader, "0:01.0")
    os.write(leader, b"g")
    os.write(leader, b"q")
    told += read_until(leader, None)

    assert process.wait(timeout=20) == 0
    assert "g go or pause" in told
    assert "0:02.0" not in told
    assert ("\x1b[" in told) == (not no_colour)


def read_until(leader: int, wanted: str | None) -> str:
    """What the terminal showed until a text came, or until it was closed."""
    told = ""
    until = time.monotonic() + 30
    while time.monotonic() < until and (wanted is None or wanted not in told):
        try:
            told += os.read(leader, 4096).decode()
        except OSError:
            break
    return told

"""A replay at its own pace: waits between ticks, and keys that pause, step, hurry and quit.

Where input is no terminal there are no keys, where output is none there is no waiting.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

__all__ = ["KEYS", "Pace", "play", "single_keys"]

KEYS = "g go or pause, n next tick, s slower, f faster, q quit"

_PACES = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)

Listen = Callable[[float], str]
"""Waits for a key so many seconds at most; an empty text where none came."""


class Pace:
    """How fast the match runs again, whether it runs, and what the keys do to it."""

    def __init__(self, speed: float = 1.0) -> None:
        self.speed = speed
        self.paused = False
        self.over = False
        self.step = False

    def press(self, key: str) -> str:
        """Take one key; returns what to tell about it, empty for nothing."""
        if key == "q":
            self.over = True
            return ""
        if key == "g":
            self.paused = not self.paused
            return f"paused: {KEYS}" if self.paused else ""
        if key == "n":
            self.paused = self.step = True
            return ""
        if key in ("s", "f"):
            self.speed = _next_pace(self.speed, 1 if key == "f" else -1)
            return f"speed ×{self.speed:g}"
        return ""


def _next_pace(speed: float, way: int) -> float:
    ahead = [pace for pace in _PACES if (pace - speed) * way > 1e-9]
    return (min if way > 0 else max)(ahead) if ahead else speed


def play(
    ticks: Iterable[list[str]],
    pace: Pace,
    *,
    tick_s: float,
    listen: Listen,
    show: Callable[[str], None],
    now: Callable[[], float] = time.monotonic,
) -> None:
    """Show the lines of each tick, then wait for the next: `tick_s` over the speed, or as the keys say."""
    for lines in ticks:
        for line in lines:
            show(line)
        _wait(pace, tick_s, listen, show, now)
        if pace.over:
            return


def _wait(
    pace: Pace, tick_s: float, listen: Listen, show: Callable[[str], None], now: Callable[[], float]
) -> None:
    pace.step = False
    begun = now()
    while not pace.over and not pace.step:
        left = 0.5 if pace.paused else tick_s / pace.speed - (now() - begun)
        if left <= 0:
            return
        key = listen(left)
        told = pace.press(key) if key else ""
        if told:
            show(told)


@contextmanager
def single_keys() -> Iterator[Listen]:
    """Keys one by one from a terminal, without Enter; its settings are put back whatever happens."""
    if not sys.stdin.isatty():
        yield _no_keys
        return
    try:
        import termios
        import tty
    except ImportError:
        yield _windows_key
        return
    before = termios.tcgetattr(sys.stdin)
    try:
        tty.setcbreak(sys.stdin)
        yield _posix_key
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)


def _no_keys(most_s: float) -> str:
    time.sleep(most_s)
    return ""


def _posix_key(most_s: float) -> str:
    import os
    import select

    ready, _, _ = select.select([sys.stdin], [], [], most_s)
    return os.read(sys.stdin.fileno(), 1).decode("latin-1") or "q" if ready else ""


def _windows_key(most_s: float) -> str:
    import importlib

    console = importlib.import_module("msvcrt")
    until = time.monotonic() + most_s
    while time.monotonic() < until:
        if console.kbhit():
            return str(console.getwch())
        time.sleep(0.02)
    return ""

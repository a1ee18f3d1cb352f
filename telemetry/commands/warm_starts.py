"""The logs whose matches began warm, to be judged again with what the match before left in their motors.

In which order matches were played, and how long the pauses were, is known only when all have been read; a
match that began cold, as most do, is judged once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from telemetry.commands.batch import Done, Task
from telemetry.event import Event
from telemetry.records.start_heat import StartHeat

__all__ = ["LEAST_WARMTH", "warm_tasks"]

LEAST_WARMTH = 0.02
"""Less left of the limit than this changes no figure that anyone reads (our choice)."""


def warm_tasks(tasks: Sequence[Task], done: Sequence[Done], event: Event) -> dict[int, Task]:
    """The tasks to do again, by their place: each with the heat that its matches began with."""
    starts = _start_heat(event)
    again = {}
    for place, (task, one) in enumerate(zip(tasks, done, strict=True)):
        heat = tuple(starts.get(facts.name) for facts in one.facts)
        if any(heat):
            again[place] = replace(task, start_heat=heat)
    return again


def _start_heat(event: Event) -> dict[str, StartHeat]:
    found = {}
    for before, match, record in zip(event.matches, event.matches[1:], event.records[1:], strict=False):
        levels = {name: heat.start for name, heat in record.heat.items() if heat.start}
        if record.pause_s is not None and max(levels.values(), default=0.0) >= LEAST_WARMTH:
            found[match.name] = StartHeat(before.name, record.pause_s, levels)
    return found

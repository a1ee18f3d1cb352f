"""`rattletrace compare`: did the fix work?"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from telemetry.commands.options import (
    EXIT_DONE,
    EXIT_UNUSABLE,
    HELP,
    complain,
    json_option,
    limit_options,
    reader_limits,
    robot_option,
)

__all__ = ["compare"]


class _Several(click.Command):
    """Lets `--before` and `--after` take all words that follow, up to the next option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        spread: list[str] = []
        current: str | None = None
        for word in args:
            if word.startswith("-") and word != "-":
                option, equals, _ = word.partition("=")
                current = option if option in ("--before", "--after") else None
                if current and not equals:
                    continue
                spread.append(word)
            else:
                spread += [current, word] if current else [word]
        return super().parse_args(ctx, spread)


@click.command(cls=_Several, context_settings=HELP)
@click.option("--before", multiple=True, required=True, type=click.Path(path_type=Path), metavar="LOG...",
              help="Logs or folders from before the fix.")  # fmt: skip
@click.option("--after", multiple=True, required=True, type=click.Path(path_type=Path), metavar="LOG...",
              help="Logs or folders from after it.")  # fmt: skip
@robot_option
@json_option
@limit_options
def compare(
    before: Sequence[Path], after: Sequence[Path], robot_path: Path | None, as_json: bool, **limits: float
) -> int:
    """Tell of each fault whether it got better or worse after a fix, and whether that may be chance.

    Faults are compared by their rate over the time the robot was enabled (exact test). A verdict of undecided
    comes with the number of further clean matches that would prove the fix.
    """
    from reports.comparison import comparison_json, comparison_text
    from reports.json_values import json_text
    from telemetry.commands.batch import run_all, tasks_of
    from telemetry.comparison import compare_matches
    from telemetry.errors import UsageError

    shared = {path.resolve() for path in before} & {path.resolve() for path in after}
    if shared:
        raise UsageError(f"{min(shared).name}: named both before and after the fix; name it on one side")
    sides, complaints, guessed = [], [], False
    for paths in (before, after):
        tasks = tasks_of(paths, robot_path, reader_limits(limits), None)
        guessed = guessed or any(task.robot_path is None for task in tasks)
        done = run_all(tasks, jobs=1, tell=lambda: None)
        sides.append([facts for one in done for facts in one.facts])
        complaints += [line for one in done for line in one.complaints]
    for line in dict.fromkeys(complaints):
        complain(line)
    if not all(sides):
        empty = "before" if not sides[0] else "after"
        raise UsageError(f"no match could be read {empty} the fix; name logs that can be")
    comparison = compare_matches(*sides)
    if as_json:
        click.echo(json_text(comparison_json(comparison)), nl=False)
    else:
        click.echo(comparison_text(comparison))
        if guessed:
            click.echo("Roles are guessed, and much cannot be judged so: name the robot file with --robot.")
    return EXIT_UNUSABLE if complaints else EXIT_DONE

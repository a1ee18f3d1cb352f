"""`rattletrace watch`: report each new log as it lands."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.commands.batch import Task, run_task
from telemetry.commands.films import with_films
from telemetry.commands.loading import sheet_for, stem
from telemetry.commands.options import (
    EXIT_DONE,
    HELP,
    complain,
    limit_options,
    out_option,
    reader_limits,
    robot_option,
    sheet_option,
)
from telemetry.errors import RattletraceError, UsageError
from telemetry.watching import Stamp, Watch, look, unreported

if TYPE_CHECKING:
    from parsers import Limits
    from telemetry.commands.batch import Done
    from telemetry.event import Event

__all__ = ["watch"]


@click.command(context_settings=HELP)
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path))
@robot_option
@sheet_option
@out_option
@click.option("--every", type=click.FloatRange(0.05, 3600), default=2.0, show_default=True, metavar="S",
              help="Look so often, in seconds.")  # fmt: skip
@click.option("--rest", type=click.FloatRange(0, 3600), default=3.0, show_default=True, metavar="S",
              help="A file is complete when it has not changed for so long.")  # fmt: skip
@click.option("--for", "for_s", type=click.FloatRange(min=0), metavar="S", help="Stop after so many seconds.")
@limit_options
def watch(
    folder: Path, robot_path: Path | None, sheet_path: Path | None, out: Path, every: float, rest: float,
    for_s: float | None, **limits: float,
) -> int:  # fmt: skip
    """Report each new log in FOLDER when it is complete, and refresh the event page. Stop with Ctrl-C.

    Looks again and again, so it works on sticks and network drives too. A stick that is pulled, a file that
    is still being copied and a log that cannot be used are said and survived.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder}: looked for a folder to watch, found none; name the folder logs land in")
    desk = _Desk(folder, robot_path, sheet_path, out, reader_limits(limits))
    click.echo(f"Watching {folder}; stop with Ctrl-C")
    known, began_s = Watch(), time.monotonic()
    try:
        while True:
            now_s = time.monotonic()
            before = known
            known, ready = look(known, _listing(folder), now_s, rest_s=rest)
            _tell_presence(folder, before.present, known.present)
            _tell_growing(known.growing - before.growing)
            for name in ready:
                if not desk.report(name):
                    known = unreported(known, name)
            if for_s is not None and now_s - began_s >= for_s:
                return EXIT_DONE
            time.sleep(every)
    except KeyboardInterrupt:
        click.echo("Stopped; what was reported is complete.")
        return EXIT_DONE


class _Desk:
    """Where new logs are reported: keeps the facts of each, and the event page up to date."""

    def __init__(
        self, folder: Path, robot: Path | None, sheet: Path | None, out: Path, limits: Limits
    ) -> None:
        self._folder, self._robot, self._sheet = folder, robot, sheet
        self._out, self._limits = out, limits
        self._names: dict[str, str] = {}
        self._tasks: dict[str, Task] = {}
        self._done: dict[str, Done] = {}

    def report(self, file: str) -> bool:
        """Judge one log, write its pages and the event's, and print a line; never raises for a bad log.

        False where the file went away meanwhile, so that nothing can be said of it.
        """
        from telemetry.plain import shown

        try:
            (task,), missing = self._with_film(self._task(file))
            done = run_task(task)
            if done.complaints and not task.log_path.exists():
                complain(f"{shown(file)}: went away while it was read; it will be read when it is back")
                return False
            self._tasks[file], self._done[file] = task, done
            self._carry_heat()
            self._refresh()
        except RattletraceError as error:
            complain(str(error))
            return True
        for line in [*missing, *done.complaints]:
            complain(line)
        for one in self._done[file].facts:
            counts = {str(level): number for level, number in one.summary.counts.items()}
            click.echo(f"{one.name}: {counts['fix']} to fix, {counts['watch']} to watch")
        return True

    def _carry_heat(self) -> None:
        """Judges those logs again whose matches began with another heat than they were judged with.

        That is the new one itself, and those after it where it was played before them.
        """
        from telemetry.commands.warm_starts import warm_tasks

        files = list(self._tasks)
        warm = warm_tasks(list(self._tasks.values()), list(self._done.values()), self._event())
        for place, file in enumerate(files):
            task = warm.get(place, replace(self._tasks[file], start_heat=()))
            if task.start_heat != self._tasks[file].start_heat:
                again = run_task(task)
                if not again.complaints:
                    self._tasks[file], self._done[file] = task, again

    def _task(self, file: str) -> Task:
        if file not in self._names:
            from reports.names import unique_names

            known = [*self._names, file]
            self._names = dict(zip(known, unique_names([stem(Path(name)) for name in known]), strict=True))
        beside = self._folder / "robot.toml"
        robot = self._robot or (beside if beside.is_file() else None)
        taken = frozenset(name.lower() for other, name in self._names.items() if other != file)
        return Task(self._folder / file, robot, self._names[file], taken, self._limits, self._out)

    def _with_film(self, task: Task) -> tuple[list[Task], list[str]]:
        sheet, _ = sheet_for([self._folder], self._sheet)
        return with_films([task], sheet, self._sheet.parent if self._sheet else None)

    def _refresh(self) -> None:
        from reports.writing import write_event_page

        for line in sheet_for([self._folder], self._sheet)[1]:
            complain(line)
        write_event_page(self._event(), self._out)

    def _event(self) -> Event:
        from telemetry.event import Unusable, event_from

        facts = [facts for done in self._done.values() for facts in done.facts]
        unusable = [Unusable(done.file, line) for done in self._done.values() for line in done.complaints]
        return event_from(facts, unusable=unusable, sheet=sheet_for([self._folder], self._sheet)[0])


def _listing(folder: Path) -> dict[str, Stamp] | None:
    """Size and time of every log in the folder; None where it cannot be read."""
    import parsers

    found = {}
    try:
        for entry in folder.iterdir():
            if parsers.is_log_name(entry.name):
                try:
                    status = entry.stat()
                except FileNotFoundError:
                    continue
                if entry.is_file():
                    found[entry.name] = status.st_size, status.st_mtime_ns
    except OSError:
        return None
    return found


def _tell_growing(names: frozenset[str]) -> None:
    from telemetry.plain import shown

    for name in sorted(names):
        click.echo(f"{shown(name)} is still being copied; it will be read when it stands still")


def _tell_presence(folder: Path, was_present: bool, is_present: bool) -> None:
    if was_present and not is_present:
        complain(f"{folder}: the folder cannot be read any more; waiting until it is back")
    elif is_present and not was_present:
        click.echo(f"{folder} is back")

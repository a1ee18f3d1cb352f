"""Many logs, one after the other or on several processes: each is judged, its pages written, and let go.

Of each log only the facts of its matches stay, so that memory does not grow with the number of logs. A log
that cannot be used, and one that breaks what reads it, leaves the others alone.
"""

from __future__ import annotations

import gc
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from telemetry.commands.loading import judged, logs_with_robots, stem
from telemetry.dataclass import dataclass
from telemetry.errors import RattletraceError, RobotFileError

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor

    from parsers import Limits
    from telemetry.analysis import Analysis
    from telemetry.match_facts import MatchFacts
    from telemetry.records.start_heat import StartHeat

__all__ = ["Done", "Extras", "Task", "run_all", "run_task", "tasks_of"]


Film = tuple[str, str, float]
"""The match beside which a video lies, its file name there, and when on the log's clock that match starts."""


@dataclass(frozen=True)
class Extras:
    """What goes with the pages on request: figures of a kind, a video and where in it the match starts."""

    figures: str | None = None
    video: Path | None = None
    video_start_s: float = 0.0


_NO_EXTRAS = Extras()


@dataclass(frozen=True)
class Task:
    """One log: where it lies, whose robot it is, what its matches are called, where its pages go.

    `out` is None where no page is wanted; `taken` are the names of the other logs, in lower case;
    `start_heat` is what each of its matches began with, where that is known.
    """

    log_path: Path
    robot_path: Path | None
    name: str
    taken: frozenset[str]
    limits: Limits
    out: Path | None
    extras: Extras = _NO_EXTRAS
    start_heat: tuple[StartHeat | None, ...] = ()


@dataclass(frozen=True)
class Done:
    """What came of a task: the facts of each match, or the lines that say why there are none."""

    file: str
    facts: tuple[MatchFacts, ...] = ()
    complaints: tuple[str, ...] = ()


def tasks_of(
    log_paths: Sequence[Path],
    robot_path: Path | None,
    limits: Limits,
    out: Path | None,
    extras: Extras = _NO_EXTRAS,
) -> list[Task]:
    """A task for each log, each file once, in an order of their own: that of the call changes nothing."""
    from reports.names import unique_names
    from telemetry.match_sheet import natural_key

    pairs = {path.resolve(): (path, robot) for path, robot in logs_with_robots(log_paths, robot_path)}
    in_order = [pairs[key] for key in sorted(pairs, key=lambda key: (natural_key(key.name), str(key)))]
    names = unique_names([stem(path) for path, _ in in_order])
    everyone = frozenset(name.lower() for name in names)
    return [
        Task(path, robot, name, everyone - {name.lower()}, limits, out, extras)
        for (path, robot), name in zip(in_order, names, strict=True)
    ]


def run_task(task: Task) -> Done:
    """Judges one log, writes the pages of its matches, and lets what it took be collected.

    Raises WriteError where those cannot be written: that concerns every log.
    """
    done = _done(task)
    if not gc.isenabled():
        gc.freeze()
        gc.enable()
    return done


def _done(task: Task) -> Done:
    from reports.writing import WriteError
    from telemetry.match_facts import facts_of

    facts = []
    film: Film | None = None
    try:
        matches = judged(
            task.log_path, task.robot_path, task.limits, name=task.name, start_heat=task.start_heat
        )
        for analysis in matches:
            name = _free(analysis, task.taken)
            film = _write(analysis, name, task, film)
            facts.append(facts_of(analysis, name=name))
    except WriteError:
        raise
    except RobotFileError as error:
        return Done(task.log_path.name, complaints=error.mistakes or (str(error),))
    except RattletraceError as error:
        return Done(task.log_path.name, complaints=(str(error),))
    except Exception as error:
        if os.environ.get("RATTLETRACE_DEBUG"):
            raise
        return Done(task.log_path.name, complaints=(_mistake_of_ours(task, error),))
    return Done(task.log_path.name, tuple(facts))


def run_all(tasks: Sequence[Task], *, jobs: int, tell: Callable[[], None]) -> list[Done]:
    """All tasks, on `jobs` processes where there are several; `tell` is called after each."""
    if jobs <= 1 or len(tasks) < 2:
        done = []
        for task in tasks:
            done.append(run_task(task))
            tell()
        return done
    return _in_processes(tasks, jobs, tell)


def _in_processes(tasks: Sequence[Task], jobs: int, tell: Callable[[], None]) -> list[Done]:
    """A process that dies takes no other log with it: what it left undone is tried again, each alone."""
    from concurrent.futures import as_completed
    from concurrent.futures.process import BrokenProcessPool

    done: dict[int, Done] = {}
    with _pool(min(jobs, len(tasks))) as pool:
        waiting = {pool.submit(run_task, task): number for number, task in enumerate(tasks)}
        try:
            for future in as_completed(waiting):
                done[waiting[future]] = future.result()
                tell()
        except BrokenProcessPool:
            pass
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
    for number, task in enumerate(tasks):
        if number not in done:
            done[number] = _alone(task)
            tell()
    return [done[number] for number in range(len(tasks))]


def _alone(task: Task) -> Done:
    from concurrent.futures.process import BrokenProcessPool

    from telemetry.plain import shown

    with _pool(1) as pool:
        try:
            return pool.submit(run_task, task).result()
        except BrokenProcessPool:
            name = shown(task.log_path.name)
            line = (
                f"{name}: looked for its matches, the process that read it was ended; free memory or split it"
            )
            return Done(task.log_path.name, complaints=(line,))


@contextmanager
def _pool(processes: int) -> Iterator[ProcessPoolExecutor]:
    """Processes of one thread each: more threads than cores only get into each other's way."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    variable = "POLARS_MAX_THREADS"
    before = os.environ.get(variable)
    os.environ.setdefault(variable, "1")
    try:
        with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
            yield pool
    finally:
        if before is None:
            os.environ.pop(variable, None)


def _write(analysis: Analysis, name: str, task: Task, film: Film | None) -> Film | None:
    """Writes one match; the video of a log stands beside its first match, whose start it is timed by."""
    if task.out is None:
        return None
    from reports.page import Video
    from reports.writing import write_figures, write_match, write_video

    folder, extras, video = task.out / name, task.extras, None
    if extras.video is not None:
        start_s = analysis.match.start_s
        film = film or (name, write_video(extras.video, folder), start_s)
        href = film[1] if film[0] == name else f"../{film[0]}/{film[1]}"
        video = Video(href, extras.video_start_s + start_s - film[2])
    write_match(analysis, folder, event_href="../index.html", video=video)
    if extras.figures is not None:
        write_figures(analysis, folder, extras.figures)
    return film


def _free(analysis: Analysis, taken: frozenset[str]) -> str:
    """The match's name, or another where a log is called so."""
    name, number = analysis.match.name, 1
    while name.lower() in taken:
        number += 1
        name = f"{analysis.match.name}-{number}"
    return name


def _mistake_of_ours(task: Task, error: Exception) -> str:
    from telemetry.plain import shown

    what = f"{type(error).__name__}: {shown(str(error), 120)}"
    return (
        f"{shown(task.log_path.name)}: judging it broke down ({what}); this is our mistake: "
        "RATTLETRACE_DEBUG=1 shows it whole, please report it"
    )

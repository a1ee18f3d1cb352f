"""Results to disk: each file whole or not at all, the same input always giving the same bytes."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path

from reports.event import event_page
from reports.event_records import event_json
from reports.json_values import json_text
from reports.names import unique_names
from reports.page import Video, match_page
from reports.results import analysis_json, findings_csv
from telemetry.analysis import Analysis
from telemetry.errors import RattletraceError
from telemetry.event import Event, Unusable, event_of

__all__ = [
    "WriteError",
    "write_event",
    "write_event_figures",
    "write_event_page",
    "write_figures",
    "write_match",
    "write_video",
    "write_whole",
]


class WriteError(RattletraceError):
    """A result that could not be written: names the place and the reason."""


def write_match(
    analysis: Analysis, folder: Path, *, event_href: str | None = None, video: Video | None = None
) -> Path:
    """Writes `index.html`, `analysis.json` and `findings.csv` into a match's own folder; returns the page."""
    page = folder / "index.html"
    write_whole(folder / "analysis.json", json_text(analysis_json(analysis)))
    write_whole(folder / "findings.csv", findings_csv(analysis))
    write_whole(page, match_page(analysis, event_href=event_href, video=video))
    return page


def write_event(analyses: Sequence[Analysis], folder: Path, *, unusable: Sequence[Unusable] = ()) -> Path:
    """Writes every match into its folder, then the event's `index.html` and `event.json`; returns the page.

    Matches of one name get folders of their own, so that none overwrites another.
    """
    names = unique_names([analysis.match.name for analysis in analyses])
    for name, analysis in zip(names, analyses, strict=True):
        write_match(analysis, folder / name, event_href="../index.html")
    return write_event_page(event_of(analyses, names=names, unusable=unusable), folder)


def write_event_page(event: Event, folder: Path) -> Path:
    """Writes the event's `event.json` and `index.html`, whose links lead to matches beside it."""
    write_whole(folder / "event.json", json_text(event_json(event)))
    write_whole(folder / "index.html", event_page(event))
    return folder / "index.html"


def write_figures(analysis: Analysis, folder: Path, kind: str) -> None:
    """Writes the figures of a match as `kind` (png, pdf or svg) into `figures/` of its own folder."""
    from reports.figures import figure_files

    for name, content in figure_files(analysis, kind):
        _write_whole(folder / "figures" / name, partial(_write_synced, content=content))


def write_event_figures(event: Event, folder: Path, kind: str) -> None:
    """Writes the figures of the event as `kind` (png, pdf or svg) into `figures/` beside its page."""
    from reports.event_figures import event_figure_files

    for name, content in event_figure_files(event, kind):
        _write_whole(folder / "figures" / name, partial(_write_synced, content=content))


def write_video(source: Path, folder: Path) -> str:
    """Copies a video beside a match's page, under a name of our own; returns that name."""
    name = f"video{source.suffix.lower()}"
    _write_whole(folder / name, lambda part: _copy_synced(source, part))
    return name


def write_whole(path: Path, text: str) -> None:
    """Writes a file beside its place, syncs it and moves it over; a killed run leaves no half file there.

    Raises `WriteError` where the place cannot be written.
    """
    _write_whole(path, lambda part: _write_synced(part, text.encode("utf-8", "backslashreplace")))


def _write_whole(path: Path, write: Callable[[Path], None]) -> None:
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write(part)
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        reason = error.strerror or type(error).__name__
        raise WriteError(f"{path}: cannot be written ({reason}); choose another folder with --out") from error


def _write_synced(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _copy_synced(source: Path, path: Path) -> None:
    with source.open("rb") as given, path.open("wb") as file:
        shutil.copyfileobj(given, file, 1 << 20)
        file.flush()
        os.fsync(file.fileno())

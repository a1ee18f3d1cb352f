"""Videos that the match sheet names, each beside the page of its match.

In the sheet's video column stands the name of a file beside the sheet, and after an `@` the second of the
video at which the match starts: `match-02.mp4 @ 12.5`. Only a bare file name counts, so that a sheet leads
nowhere else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from telemetry.plain import shown

if TYPE_CHECKING:
    from telemetry.commands.batch import Task
    from telemetry.match_sheet import MatchSheet, SheetRow

__all__ = ["VIDEO_ENDINGS", "with_films"]

VIDEO_ENDINGS = (".mp4", ".m4v", ".webm", ".mov", ".ogv", ".mkv")
"""What browsers play, in lower case."""


def with_films(
    tasks: Sequence[Task], sheet: MatchSheet | None, folder: Path | None
) -> tuple[list[Task], list[str]]:
    """The tasks with the videos that the sheet names, and a line for each that cannot be used.

    `folder` is that of the sheet; None where each log has its sheet beside it. A task with a video keeps it.
    """
    matched, complaints = [], []
    for task in tasks:
        row = sheet.row_named(task.log_path.name, task.name) if sheet else None
        if row is None or not row.video or task.extras.video is not None:
            matched.append(task)
            continue
        path, start_s, wrong = _film(row, folder or task.log_path.parent)
        if wrong:
            complaints.append(wrong)
            matched.append(task)
        else:
            extras = replace(task.extras, video=path, video_start_s=start_s)
            matched.append(replace(task, extras=extras))
    return matched, complaints


def _film(row: SheetRow, folder: Path) -> tuple[Path, float, str]:
    """Where a row's video lies, the second at which the match starts in it, and what is wrong with it."""
    cell = row.video if "@" in row.video else f"{row.video}@0"
    name, told = (part.strip() for part in cell.rsplit("@", 1))
    start_s, path = _seconds(told), folder / name
    what = f"match sheet: video {shown(row.video, 80)} of {shown(row.file or row.match, 80)}: "
    if start_s is None:
        return path, 0.0, what + "looked for seconds after the @, found none; write it like match.mp4 @ 12.5"
    if name != Path(name.replace("\\", "/")).name or path.suffix.lower() not in VIDEO_ENDINGS:
        endings = ", ".join(VIDEO_ENDINGS)
        wanted = f"the bare name of a file ({endings})"
        return path, 0.0, what + f"looked for {wanted}, found another; put the video beside the sheet"
    if not path.is_file():
        return path, 0.0, what + "looked for it beside the sheet, found none; copy it there or empty the cell"
    return path, start_s, ""


def _seconds(text: str) -> float | None:
    try:
        value = float(text.replace(",", ".").removesuffix("s"))
    except ValueError:
        return None
    return value if math.isfinite(value) and abs(value) <= 86_400 else None

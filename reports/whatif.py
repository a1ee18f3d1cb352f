"""The log through other settings: a table for the terminal, JSON, and a figure."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from reports.palette import LIGHT
from telemetry.plain import shown
from telemetry.whatif import Outcome, Replay

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["whatif_figure", "whatif_json", "whatif_text"]

_WORDS = {
    "debounce": ("counted", "missed", "extra"),
    "stall current": ("stopped", "missed", "healthy work stopped"),
    "distance": ("counted", "missed", "extra"),
}


def whatif_text(replays: Sequence[Replay]) -> str:
    """A sentence for each part, then a row for each setting that was asked for."""
    lines = []
    for replay in replays:
        lines.append(shown(replay.text, 300))
        words = _WORDS[replay.what]
        lines += [
            f"  {_setting(one, replay):>10}: {one.counted} {words[0]}, {one.missed} {words[1]}, "
            f"{one.extra} {words[2]}"
            for one in replay.asked
        ]
    return "\n".join(lines) or "No beam, limit, motor or distance sensor here has such a setting."


def whatif_json(replays: Sequence[Replay], files: Sequence[str]) -> dict[str, Any]:
    """All replays as a document; settings in the unit named (seconds, amperes, or as logged)."""
    return {"schema": 1, "logs": list(files), "settings": [_record(replay) for replay in replays]}


def whatif_figure(replays: Sequence[Replay]) -> bytes:
    """Mistakes against the setting for every part, its plateau shaded, as PNG; the same input, same bytes."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    columns = min(3, max(len(replays), 1))
    rows = max(1, math.ceil(len(replays) / columns))
    figure = Figure(figsize=(3.6 * columns, 2.3 * rows), dpi=130, facecolor="#ffffff", layout="constrained")
    FigureCanvasAgg(figure)
    for place, replay in enumerate(replays, 1):
        _panel(figure.add_subplot(rows, columns, place), replay)
    written = io.BytesIO()
    figure.savefig(written, format="png", metadata={"Software": None})
    return written.getvalue()


def _panel(axes: Axes, replay: Replay) -> None:
    scale = 1000.0 if replay.unit == "s" else 1.0
    at = [one.setting * scale for one in replay.scale]
    axes.step(at, [one.missed for one in replay.scale], where="mid", color=LIGHT["fix"], label="missed")
    axes.step(
        at, [one.extra for one in replay.scale], where="mid", color=LIGHT["current"], linestyle="--",
        label=_WORDS[replay.what][2],
    )  # fmt: skip
    if replay.plateau is not None:
        axes.axvspan(replay.plateau.low * scale, replay.plateau.high * scale, color=LIGHT["band"], alpha=0.6)
        axes.axvline(replay.plateau.recommended * scale, color=LIGHT["ink"], linewidth=1.0, linestyle=":")
    axes.set_xscale("log")
    unit = "ms" if replay.unit == "s" else replay.unit or "as logged"
    axes.set_title(shown(replay.subject, 40).replace("$", r"\$"), fontsize=9.5, loc="left")
    axes.set_xlabel(f"{replay.what}, {unit}", fontsize=8.5)
    axes.set_ylabel("mistakes", fontsize=8.5)
    axes.set_ylim(bottom=0)
    axes.tick_params(labelsize=8)
    axes.legend(fontsize=7.5, frameon=False)
    axes.spines[["top", "right"]].set_visible(False)


def _setting(one: Outcome, replay: Replay) -> str:
    if replay.unit == "s":
        return f"{one.setting * 1000:g} ms"
    return f"{one.setting:g} {replay.unit}".rstrip()


def _record(replay: Replay) -> dict[str, Any]:
    return {
        "subject": replay.subject,
        "role": replay.role,
        "what": replay.what,
        "unit": replay.unit,
        "held": replay.held,
        "expected": replay.expected,
        "asked": [dict(vars(one)) for one in replay.asked],
        "plateau": None if replay.plateau is None else dict(vars(replay.plateau)),
        "text": replay.text,
    }

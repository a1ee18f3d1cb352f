"""Numbers, times and kinds of trouble as a reader in the pit wants them: short, with unit, no jargon."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from telemetry.dataclass import dataclass
from telemetry.plain import shown
from telemetry.wording import counted

__all__ = [
    "KIND_WORDS", "KindWords", "clock", "counted", "duration", "evidence_list", "evidence_words", "fixed",
    "heading", "kind_words",
    "listed", "log_words", "number", "percent", "sureness", "visible",
]  # fmt: skip

_LONGEST = 2000
_MOST_INSTANTS = 8
_UNIT_GAP = re.compile(r"(?<=\d) (?=(?:A|V|Ω|mΩ|W|Wh|s|ms|min|g|mm|rpm|Hz|%|of)(?:[^\w]|$))")


@dataclass(frozen=True)
class KindWords:
    """A kind of finding in two or three words, and what it means in one sentence."""

    title: str
    meaning: str


_KINDS = {
    "dropout": ("dropped out", "The sensor stopped telling the truth, as if unplugged."),
    "chatter": ("chattered", "It switched more often than a moving piece or a hand could make it."),
    "flatline": ("flat line", "A signal that should move stayed at one value."),
    "log_gap": ("gap in the log", "Nothing was recorded; no sensor is blamed for it."),
    "stall": ("stalled", "The motor was driven but did not turn: full current, all of it heat."),
    "near_stall": ("nearly stalled", "The motor turned, but far too slowly for its drive."),
    "no_draw": ("drew nothing", "The motor was driven but took almost no current: unplugged, or off."),
    "breaker_cycling": ("breaker opened", "Current came, went and came back while driven."),
    "overheat": ("too hot", "The heat worked out from its current passed what the motor can shed."),
    "breaker_risk": ("breaker near trip", "The current lasted nearly long enough to open its breaker."),
    "chain_risk": ("chain overloaded", "The pull on the chain came near what breaks it."),
    "load_share": ("uneven load", "Motors of one mechanism do not share its work evenly."),
    "friction_trend": ("drags more", "It takes more current than before for the same work."),
    "limit_overrun": ("driven past its limit", "The motor went on pushing after the limit closed."),
    "limit_bounce": ("limit bounced", "The limit let go again while it was still being pushed."),
    "limit_conflict": ("both ends at once", "Both ends of one travel were reported together."),
    "limit_missed": ("limit not reached", "The motor stopped against something; the limit stayed open."),
    "limit_stray": ("limit closed by itself", "It closed though nothing drove it there."),
    "voltage_dip": ("voltage dip", "The supply sagged for a moment."),
    "brownout": ("brownout", "The supply fell so low that outputs may have been cut."),
    "source_resistance": ("resistance went up", "The battery or its lugs hold back more current."),
    "noisy_range": ("noisy distance", "The distance sensor jumps about more than it should."),
    "indicator_tell": ("light gives it away", "Hits came more often while the light was lit."),
}

KIND_WORDS: Mapping[str, KindWords] = MappingProxyType(
    {kind: KindWords(*words) for kind, words in _KINDS.items()}
)
"""What every kind of finding is called, and what it means."""

_CONFIDENCE_WORDS = ((0.95, "almost certain"), (0.85, "very likely"), (0.65, "likely"), (0.4, "possible"))
_LABELS = {
    "limit_a": "suggested current limit", "limit_after_s": "it acts after",
    "limit_trips": "stalls it would have stopped", "limit_wrong_trips": "sound starts it would have stopped",
    "limit_saved_j": "heat it would have saved",
    "healthy_above_limit_s": "longest above it in sound work",
    "honest_dwell_ms": "shortest time a piece takes", "contradictions": "times other sensors disagreed",
    "first_contradiction_s": "first disagreed", "spin_up_s": "time this motor takes to start",
    "median_speed_share": "median speed, of free speed", "extra_edges": "extra switchings",
    "shortest_ms": "shortest switching", "median_ms": "median switching",
    "before_interval_ohm": "before, 95 % sure between", "after_interval_ohm": "after, 95 % sure between",
    "like_16_mm2_lead_m": "m of 16 mm² lead with as much",
    "onset_unseen": "no edge shows when it began",
    "open_at_end": "still so at the end of the log",
}  # fmt: skip
_NAMES = ("limit", "motor", "other_end")
_INSTANTS = ("_t_s", "first_contradiction_s", "peak_s")
_UNITS = (
    ("_ohm", "Ω"), ("_mohm", "mΩ"), ("_wh", "Wh"), ("_nm", "N·m"), ("_lbf", "lbf"), ("_rpm", "rpm"),
    ("_mm", "mm"), ("_ms", "ms"), ("_hz", "Hz"), ("_deg", "°"), ("_s", "s"),
    ("_as", "A·s"), ("_a", "A"), ("_v", "V"), ("_g", "g"), ("_c", "C"), ("_j", "J"),
)  # fmt: skip


def visible(text: object) -> str:
    """Text in which every character shows: controls and direction marks spelled out, overlong text cut."""
    return _visible(str(text))


@lru_cache(maxsize=4096)
def _visible(text: str) -> str:
    return _UNIT_GAP.sub("\u00a0", shown(text, _LONGEST))


def clock(t_s: float, start_s: float = 0.0) -> str:
    """Match time of an instant as m:ss.s, counted from `start_s`; before it with a minus."""
    tenths = round((t_s - start_s) * 10)
    minutes, rest = divmod(abs(tenths), 600)
    return f"{'−' if tenths < 0 else ''}{minutes}:{rest // 10:02d}.{rest % 10}"


def duration(seconds: float | None) -> str:
    """A length of time: `12 ms`, `1.4 s`, `74 s`, `12 min`."""
    if seconds is None or not math.isfinite(seconds):
        return "–"
    if 0 < abs(seconds) < 0.0995:
        return f"{seconds * 1000:.3g} ms"
    if abs(seconds) >= 600:
        return f"{seconds / 60:.0f} min"
    return f"{seconds:.1f} s" if abs(seconds) < 99.95 else f"{seconds:.0f} s"


def number(value: float | None, unit: str = "", digits: int = 3) -> str:
    """A figure with its unit, `digits` significant; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return "–"
    return f"{_rounded(float(value), digits)} {unit}".replace("-", "−").rstrip()


def fixed(value: float | None, places: int) -> str:
    """A figure to a fixed number of places, for columns of like figures; a dash where there is none."""
    return "–" if value is None or not math.isfinite(value) else f"{value:.{places}f}".replace("-", "−")


def _rounded(value: float, digits: int) -> str:
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits - 1}e}")
    places = digits - 1 - math.floor(math.log10(abs(rounded)))
    return f"{rounded:.{min(max(places, 0), 6)}f}"


def percent(share: float) -> str:
    """A share as whole percent, never rounded up to certainty: `97 %`, `over 99 %`."""
    if not math.isfinite(share):
        return "–"
    if 0.99 < share < 1:
        return "over 99 %"
    if 0 < share < 0.01:
        return "under 1 %"
    return f"{share * 100:.0f} %"


def sureness(confidence: float) -> str:
    """How sure, in words and percent: `very likely (92 %)`."""
    words = next((word for least, word in _CONFIDENCE_WORDS if confidence >= least), "a guess")
    return f"{words} ({percent(confidence)})"


def listed(items: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}" if items else "none"


def kind_words(kind: str) -> KindWords:
    """The words for a kind of finding; an unknown kind is spelled as it is."""
    return KIND_WORDS.get(kind, KindWords(kind.replace("_", " "), ""))


def heading(kind: str, subject: str, role: str) -> str:
    """What a finding is called: `entry: dropped out`, `Supply: brownout`, `Gap in the log`."""
    title = kind_words(kind).title
    if role == "log":
        return title.capitalize()
    return f"{subject.capitalize() if role in ('supply', 'indicator') else subject}: {title}"


def log_words(repairs: int, gaps: int) -> str:
    """How a log is: `healthy`, or what was mended and missing in it."""
    told = [counted(repairs, "repair")] if repairs else []
    told += [counted(gaps, "gap")] if gaps else []
    return ", ".join(told) or "healthy"


def evidence_list(evidence: Mapping[str, object], start_s: float) -> list[tuple[str, str]]:
    """All pieces of evidence as labels and figures, instants as match time counted from `start_s`."""
    return [
        _instant(key, value, start_s) or evidence_words(str(key), value)
        for key, value in evidence.items()
        if value is not None
    ]


def _instant(key: str, value: object, start_s: float) -> tuple[str, str] | None:
    if key in ("starts_s", "ends_s") and isinstance(value, list | tuple):
        return f"{key[:-3]}ed at", ", ".join(clock(t_s, start_s) for t_s in value[:_MOST_INSTANTS])
    if (
        not (key == "t_s" or key.endswith(_INSTANTS))
        or isinstance(value, bool)
        or not isinstance(value, int | float | None)
    ):
        return None
    label = (
        _LABELS.get(key) or key.removesuffix("_s").removesuffix("_t").replace("_", " ")
        if key != "t_s"
        else ""
    )
    return f"{label} at".strip(), "–" if value is None else clock(value, start_s)


def evidence_words(key: str, value: object) -> tuple[str, str]:
    """One piece of evidence as a label and a figure: (`peak_a`, 61.04) is (`peak`, `61.0 A`)."""
    unit = next(((ending, symbol) for ending, symbol in _UNITS if key.endswith(ending)), ("", ""))
    label = _LABELS.get(key) or key.removesuffix(unit[0]).replace("_", " ") or key
    if key in _NAMES and isinstance(value, str):
        return label, value
    if key.endswith("_ohm") and (small := _milliohms(value)) is not None:
        return label, _evidence_value(small, "mΩ", is_share=False)
    return label, _evidence_value(value, unit[1], "share" in key)


def _milliohms(value: object) -> object:
    """Resistances under 1 Ω, one or several, in mΩ; None for anything else."""
    several = list(value) if isinstance(value, list | tuple) else [value]
    figures = [float(one) for one in several if isinstance(one, int | float)]
    if not figures or len(figures) < len(several) or max(map(abs, figures)) >= 1:
        return None
    return [figure * 1000 for figure in figures] if isinstance(value, list | tuple) else figures[0] * 1000


def _evidence_value(value: object, unit: str, is_share: bool) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None:
        return "–"
    if isinstance(value, int | float):
        return _figure(value, unit, is_share)
    if isinstance(value, Mapping):
        return "; ".join(" ".join(evidence_words(str(key), item)) for key, item in value.items()) or "none"
    if isinstance(value, list | tuple):
        return ", ".join(_evidence_value(item, unit, is_share) for item in value) or "none"
    return str(value).replace("_", " ")


def _figure(value: float, unit: str, is_share: bool) -> str:
    if is_share and 0 <= value <= 1:
        return percent(value)
    if unit == "s":
        return number(value, "s", 2) if 0.0995 <= abs(value) < 1 else duration(value)
    return number(value, unit) if isinstance(value, float) else f"{value} {unit}".strip()
